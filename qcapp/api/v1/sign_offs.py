"""Signing a stage as recorded truly and completely."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from qcapp.inspections.services import sign_stage
from qcapp.people.roles import Act
from qcapp.people.services import require

from ..acts import ActView, Pin, Refusal


class SignOff(Pin):
    stage = serializers.IntegerField(min_value=1, max_value=999)


class SignedStage(serializers.Serializer[Any]):
    stage = serializers.IntegerField()
    name = serializers.CharField()
    state = serializers.CharField()
    signed_by = serializers.CharField(allow_null=True)
    signed_at = serializers.DateTimeField(allow_null=True)
    meaning = serializers.CharField()
    covers = serializers.CharField(help_text="SHA-256 over the sorted operation identifiers, one a line")
    answers = serializers.IntegerField()


class SignOffsView(ActView):
    act = {"POST": Act.SIGN_STAGE}

    @extend_schema(request=SignOff, responses={201: SignedStage, 403: Refusal, 409: Refusal, 429: Refusal})
    def post(self, request: Request, serial: str) -> Response:
        """Sign a stage with the PIN of the signed-in person."""
        given = self.read(SignOff)
        require(self.person, Act.SIGN_STAGE, self.at)
        proof = self.proof(given["pin"])
        standing = sign_stage(proof=proof, serial=serial, stage_number=given["stage"], at=self.at)
        signed = standing.sign_off
        body = {
            "stage": standing.number,
            "name": standing.name,
            "state": standing.state.value,
            "signed_by": signed.person_name if signed else None,
            "signed_at": signed.at.isoformat() if signed else None,
            "meaning": signed.meaning if signed else "",
            "covers": signed.covers if signed else "",
            "answers": signed.answers if signed else 0,
        }
        return Response(body, status=201)
