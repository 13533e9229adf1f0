"""What every view of the API shares: it names its act for each method, and checks the right before it starts."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import TYPE_CHECKING, Any, ClassVar, TypeVar

from django.http import HttpRequest
from django.utils import timezone
from django.utils.translation import get_language
from rest_framework import serializers
from rest_framework.permissions import BasePermission, IsAuthenticated
from rest_framework.request import Request
from rest_framework.views import APIView

from qcapp.core.errors import Invalid
from qcapp.lib.middleware import client_address
from qcapp.lib.spoken import OTHERS, SOURCE, said_within
from qcapp.people.access import PUBLIC, owes_second_factor, permit, second_factor_owed
from qcapp.people.queries import person_by_uuid
from qcapp.people.roles import Act
from qcapp.people.services import prove_identity

from .parsing import StrictJSONParser

if TYPE_CHECKING:
    from qcapp.people.models import Person
    from qcapp.people.services import Proof

# Where sentences stand in an answer; a refusal's own has been said in the language already.
SENTENCES = frozenset({"message", "sentence", "task_note", "blocked_by"})

S = TypeVar("S", bound=serializers.Serializer[Any])


class ActView(APIView):
    """A view whose `act` maps GET, POST and DELETE to an Act, SIGNED_IN or PUBLIC."""

    act: ClassVar[Mapping[str, Act | str]] = {}
    parser_classes = (StrictJSONParser,)
    http_method_names = ["get", "head", "post", "delete"]

    def get_permissions(self) -> list[BasePermission]:
        return [] if self._act() == PUBLIC else [IsAuthenticated()]

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        """Refuses what no handler should see: a NUL in the address, nobody signed in, a missing right."""
        if any("\0" in text for text in (request.path, *request.query_params.values())):
            raise Invalid("nul_character", "The address holds a NUL character; remove it.")
        super().initial(request, *args, **kwargs)
        act = self._act()
        if isinstance(act, Act):
            permit(self.person, act, self.at)
            if owes_second_factor(self.django_request, self.at):
                raise second_factor_owed()

    def finalize_response(self, request: Request, response: Any, *args: Any, **kwargs: Any) -> Any:
        response = super().finalize_response(request, response, *args, **kwargs)
        if (get_language() or SOURCE)[:2] in OTHERS:
            response.data = said_within(response.data, SENTENCES)
        response.headers.setdefault("Cache-Control", "private, no-store")
        return response

    @property
    def at(self) -> datetime:
        """The instant of the request, the same in everything it does."""
        if not hasattr(self, "_at"):
            self._at = timezone.now()
        return self._at

    @property
    def person(self) -> Person:
        return self.request.user  # type: ignore[return-value]  # behind an act nobody is anonymous

    def _act(self) -> Act | str | None:
        method = (self.request.method or "GET").upper()
        return self.act.get("GET" if method in ("HEAD", "OPTIONS") else method)

    def read(self, shape: type[S]) -> dict[str, Any]:
        """The body in the shape of a serializer. Raises ValidationError."""
        form = shape(data=self.request.data)
        form.is_valid(raise_exception=True)
        return dict(form.validated_data)

    def proof(self, secret: str, method: str = "pin") -> Proof:
        """Proof that the signed-in person is at the keyboard, before any transaction. Raises as `prove_identity`."""
        return prove_identity(
            person=person_by_uuid(self.person.uuid),
            secret=secret,
            method=method,
            at=self.at,
            address=client_address(self.django_request),
        )

    @property
    def django_request(self) -> HttpRequest:
        return self.request._request


class Pin(serializers.Serializer[Any]):
    """A body that is signed: the PIN travels in it and is kept nowhere."""

    pin = serializers.CharField(max_length=64, trim_whitespace=False, write_only=True)


class SignedReason(Pin):
    """A signed act that needs a reason."""

    reason = serializers.CharField(max_length=300)


class Refusal(serializers.Serializer[Any]):
    """How every refusal looks."""

    code = serializers.CharField(help_text="never changes")
    message = serializers.CharField(help_text="a sentence that says what happened and what to do")
    request_id = serializers.CharField(required=False)
    details = serializers.DictField(required=False, help_text="plain values, by code")
