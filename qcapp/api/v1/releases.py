"""Releasing a unit: what is missing, the signed act, and taking it back."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from qcapp.certificates.queries import release_state
from qcapp.certificates.services.releasing import release, withdraw_release
from qcapp.people.roles import Act
from qcapp.production.queries import unit_by_serial

from ..acts import ActView, Pin, Refusal, SignedReason
from ..errors import plain


class Link(serializers.Serializer[Any]):
    text = serializers.CharField()
    url = serializers.CharField()


class Check(serializers.Serializer[Any]):
    code = serializers.CharField()
    title = serializers.CharField()
    ok = serializers.BooleanField()
    sentence = serializers.CharField()
    links = Link(many=True)


class ReleaseState(serializers.Serializer[Any]):
    serial = serializers.CharField()
    ready = serializers.BooleanField()
    released = serializers.BooleanField()
    checks = Check(many=True)
    releases = serializers.ListField(child=serializers.DictField())


class ReleasesView(ActView):
    act = {"GET": Act.LOOK_UP_UNIT, "POST": Act.RELEASE_UNIT}

    @extend_schema(responses={200: ReleaseState, 404: Refusal})
    def get(self, request: Request, serial: str) -> Response:
        """Every release check with a sentence that says what is missing, and the releases so far."""
        return Response(_state(serial))

    @extend_schema(request=Pin, responses={201: ReleaseState, 403: Refusal, 409: Refusal})
    def post(self, request: Request, serial: str) -> Response:
        """Release the unit, signed. Refused with the findings while anything is unproven."""
        given = self.read(Pin)
        release(proof=self.proof(given["pin"]), serial=serial, at=self.at)
        return Response(_state(serial), status=201)


class ReleaseWithdrawalView(ActView):
    act = {"POST": Act.RELEASE_UNIT}

    @extend_schema(request=SignedReason, responses={200: ReleaseState, 403: Refusal, 409: Refusal})
    def post(self, request: Request, serial: str) -> Response:
        """Take the release back, signed."""
        given = self.read(SignedReason)
        withdraw_release(proof=self.proof(given["pin"]), serial=serial, reason=given["reason"], at=self.at)
        return Response(_state(serial))


def _state(serial: str) -> dict[str, Any]:
    state = release_state(serial)
    return {
        "serial": unit_by_serial(serial).serial,
        "ready": state.ready,
        "released": state.released,
        "checks": [plain(asdict(finding)) for finding in state.findings],
        "releases": [plain(asdict(card)) for card in state.releases],
    }
