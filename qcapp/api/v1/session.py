"""Signing in and out, and what a client has to know before it sends: who, the token, the server's time and epoch."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING, Any

from django.contrib import auth
from django.http import QueryDict
from django.middleware.csrf import get_token
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from qcapp.audit.queries import head
from qcapp.core.errors import NotAllowed
from qcapp.lib.middleware import client_address
from qcapp.people.access import PUBLIC, SIGNED_IN, mark_changed
from qcapp.people.queries import acts_of, role_names
from qcapp.people.services import check_second_factor, identify, tablet_contact

from ..acts import ActView, Refusal
from ..authentication import SessionAuthentication

if TYPE_CHECKING:
    from qcapp.people.models import Person

BACKEND = "django.contrib.auth.backends.ModelBackend"
OLDEST_CLIENT = 1  # the oldest version of operations that is still read


class SignIn(serializers.Serializer[Any]):
    badge = serializers.CharField(max_length=20)
    password = serializers.CharField(max_length=200, trim_whitespace=False, write_only=True)
    code = serializers.CharField(
        max_length=40, default="", allow_blank=True, help_text="of the second factor, where the person has one"
    )


class SessionPerson(serializers.Serializer[Any]):
    uuid = serializers.UUIDField()
    badge = serializers.CharField()
    name = serializers.CharField()
    initials = serializers.CharField()
    language = serializers.CharField(help_text="of the floor pages: en, de or es")


class Session(serializers.Serializer[Any]):
    person = SessionPerson(allow_null=True)
    roles = serializers.ListField(child=serializers.CharField())
    acts = serializers.ListField(child=serializers.CharField(), help_text="what the person may do, in words")
    csrf_token = serializers.CharField(help_text="send it as X-CSRFToken with every change")
    server_time = serializers.DateTimeField()
    epoch = serializers.CharField(help_text="changes when a backup is restored: send again what you still have")
    oldest_client = serializers.IntegerField()
    tablet = serializers.DictField(allow_null=True, help_text="name and whether it is revoked; null where none is")


class SessionView(ActView):
    """The session of the caller."""

    act = {"GET": PUBLIC, "POST": PUBLIC, "DELETE": SIGNED_IN}

    @extend_schema(responses={200: Session}, summary="Who is signed in, the token, the server's time")
    def get(self, request: Request) -> Response:
        tablet = getattr(self.django_request, "tablet", None)
        if tablet is not None:
            note_contact(tablet, request.query_params, self.at)
        return Response(session_json(request, self.at))

    @extend_schema(request=SignIn, responses={200: Session, 400: Refusal, 403: Refusal, 429: Refusal})
    def post(self, request: Request) -> Response:
        """Sign in by badge and password, and a code where a second factor is set up (403 `code_needed` without).

        The answer carries a new token; the one before is void.
        """
        SessionAuthentication().enforce_csrf(request)
        given = self.read(SignIn)
        proof = identify(
            badge=given["badge"],
            secret=given["password"],
            at=self.at,
            address=client_address(self.django_request),
        )
        if proof.person.second_factor_at is not None:
            self._take_code(proof.person, given["code"])
        auth.login(self.django_request, proof.person, backend=BACKEND)
        request.user = proof.person
        return mark_changed(Response(session_json(request, self.at)))

    def _take_code(self, person: Person, code: str) -> None:
        if not code:
            raise NotAllowed("code_needed", "Send the code of your authenticator with badge and password.")
        check_second_factor(person=person, code=code, at=self.at, address=client_address(self.django_request))

    @extend_schema(responses={204: None, 401: Refusal, 403: Refusal})
    def delete(self, request: Request) -> Response:
        """Sign out."""
        auth.logout(self.django_request)
        return mark_changed(Response(status=204))


def session_json(request: Request, at: datetime) -> dict[str, Any]:
    """Who is signed in, the token, the server's time and epoch."""
    person: Any = request.user if request.user.is_authenticated else None
    tablet: Any = getattr(request._request, "tablet", None)
    return {
        "person": {
            "uuid": str(person.uuid),
            "badge": person.badge,
            "name": person.name,
            "initials": person.initials,
            "language": person.language,
        }
        if person
        else None,
        "roles": sorted(role_names(person, at)) if person else [],
        "acts": sorted(acts_of(person, at)) if person else [],
        "csrf_token": get_token(request._request),
        "server_time": at.isoformat(),
        "epoch": head().epoch,
        "oldest_client": OLDEST_CLIENT,
        "tablet": {"name": tablet.name, "revoked": tablet.revoked_at is not None} if tablet else None,
    }


def note_contact(tablet: Any, said: QueryDict, at: datetime) -> None:
    """What an enrolled tablet says of itself: how much it has not sent, since when, which version it keeps."""
    count = said.get("unsent", "0")
    try:
        since = datetime.fromisoformat(said.get("since", ""))
    except ValueError:
        since = None
    tablet_contact(
        tablet=tablet,
        at=at,
        unsent=int(count) if count.isascii() and count.isdigit() and len(count) < 7 else 0,
        since=since if since and since.tzinfo and 2000 < since.year < 2100 else None,
        version=said.get("version", "")[:40],
    )
