"""Shared tablets: who is known on this one, adding a person, opening a person's session by the key the PIN unlocked."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.contrib import auth
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from qcapp.core.errors import NotAllowed
from qcapp.lib.middleware import client_address
from qcapp.people.access import PUBLIC, mark_changed
from qcapp.people.roles import Act
from qcapp.people.services import add_person_to_tablet, discard_entry, identify, nonce_for, person_by_key
from qcapp.people.tablet_guard import IN_SESSION

from ..acts import ActView, Pin, Refusal
from ..authentication import SessionAuthentication
from ..owned import ProvenView
from .session import BACKEND, Session, session_json

if TYPE_CHECKING:
    from qcapp.people.models import Person, Tablet


class TabletAnswer(serializers.Serializer[Any]):
    name = serializers.CharField(allow_null=True, help_text="null in a browser that is not enrolled")
    place = serializers.CharField(allow_blank=True)
    nonce = serializers.CharField(allow_blank=True, help_text="to be signed at a switch; valid for two minutes")


class NewPerson(Pin):
    badge = serializers.CharField(max_length=20)
    entry_key = serializers.CharField(max_length=100, help_text="P-256 public key, uncompressed point in base64")
    sign_key = serializers.CharField(max_length=100)


class Switch(serializers.Serializer[Any]):
    key = serializers.CharField(max_length=40)
    nonce = serializers.CharField(max_length=200)
    signature = serializers.CharField(max_length=100, help_text="over “qcapp switch 1”, a line feed and the nonce")


class OpenedSession(Session):
    key = serializers.CharField(help_text="the person's key on this tablet")


class Discard(serializers.Serializer[Any]):
    operation = serializers.DictField()
    reason = serializers.CharField(max_length=300)


class _OnTablet(ActView):
    """A view for enrolled tablets alone. Raises NotAllowed (`not_enrolled`)."""

    @property
    def tablet(self) -> Tablet:
        tablet: Any = getattr(self.django_request, "tablet", None)
        if tablet is None:
            raise NotAllowed("not_enrolled", "This browser is not an enrolled tablet. The keeper enrols it.")
        return tablet

    def opened(self, request: Request, person: Person, key: str) -> Response:
        """The session of the person, marked as this tablet's."""
        auth.login(self.django_request, person, backend=BACKEND)
        self.django_request.session[IN_SESSION] = str(self.tablet.uuid)
        request.user = person
        return mark_changed(Response(session_json(request, self.at) | {"key": key}))


class TabletView(ActView):
    """What this browser is."""

    act = {"GET": PUBLIC}

    @extend_schema(responses={200: TabletAnswer})
    def get(self, request: Request) -> Response:
        """Name and place of the enrolled tablet, and what it has to sign at a switch."""
        tablet: Any = getattr(self.django_request, "tablet", None)
        if tablet is None:
            return Response({"name": None, "place": "", "nonce": ""})
        return Response({"name": tablet.name, "place": tablet.place, "nonce": nonce_for(tablet)})


class TabletPeopleView(_OnTablet):
    """People on this tablet."""

    act = {"POST": PUBLIC}

    @extend_schema(request=NewPerson, responses={200: OpenedSession, 400: Refusal, 403: Refusal, 429: Refusal})
    def post(self, request: Request) -> Response:
        """Add a person by badge and PIN: the tablet has made two key pairs and sends the public ones."""
        SessionAuthentication().enforce_csrf(request)
        given = self.read(NewPerson)
        tablet = self.tablet
        proof = identify(
            badge=given["badge"],
            secret=given["pin"],
            method="pin",
            at=self.at,
            address=client_address(self.django_request),
        )
        if proof.person.pin_is_temporary or proof.person.password_is_temporary:
            raise NotAllowed("secret_is_temporary", "Somebody else set your PIN or password; set your own first.")
        key = add_person_to_tablet(
            proof=proof, tablet=tablet, entry_key=given["entry_key"], sign_key=given["sign_key"], at=self.at
        )
        return self.opened(request, proof.person, str(key.uuid))


class TabletSwitchView(_OnTablet):
    """Another person works on this tablet."""

    act = {"POST": PUBLIC}

    @extend_schema(request=Switch, responses={200: OpenedSession, 400: Refusal, 403: Refusal})
    def post(self, request: Request) -> Response:
        """Open the session of whoever unlocked the tablet; the PIN itself does not travel."""
        SessionAuthentication().enforce_csrf(request)
        given = self.read(Switch)
        proof = person_by_key(tablet=self.tablet, at=self.at, **given)
        return self.opened(request, proof.person, given["key"])


class DiscardsView(ProvenView):
    """Entries that a person gave up."""

    act = {"POST": Act.RECORD_RESULT}

    @extend_schema(request=Discard, responses={204: None, 400: Refusal, 401: Refusal, 403: Refusal})
    def post(self, request: Request) -> Response:
        """Discard a refused entry, with the reason for the audit. Sending again is harmless."""
        given = self.read(Discard)
        discard_entry(
            by=self.person,
            body=dict(request.data)["operation"],
            reason=given["reason"],
            tablet=getattr(self.django_request, "tablet", None),
            at=self.at,
        )
        return Response(status=204)
