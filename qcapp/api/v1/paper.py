"""Results keyed in from paper, and the second person's check of the keying."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from qcapp.inspections.queries.paper import PaperCard, papers_of
from qcapp.inspections.services.keying import Keyed, check_keying, key_in
from qcapp.people.roles import Act
from qcapp.production.queries import unit_by_serial

from ..acts import ActView, Pin, Refusal
from .drawings import Upload, file_address


class Paper(serializers.Serializer[Any]):
    uuid = serializers.UUIDField()
    stage = serializers.IntegerField()
    inspection = serializers.IntegerField()
    measured_by = serializers.CharField()
    measured_at = serializers.DateTimeField()
    keyed_by = serializers.CharField()
    keyed_at = serializers.DateTimeField()
    scan = serializers.CharField(help_text="address of the sheet's scan")
    operations = serializers.ListField(child=serializers.UUIDField())
    checked_by = serializers.CharField(allow_blank=True)
    checked_at = serializers.DateTimeField(allow_null=True)
    differing = serializers.ListField(child=serializers.UUIDField())
    reason = serializers.CharField(allow_blank=True)


class Papers(serializers.Serializer[Any]):
    sheets = Paper(many=True)


class KeyedAnswer(serializers.Serializer[Any]):
    checkpoint = serializers.CharField(max_length=60)
    value = serializers.CharField(max_length=1000, help_text="several readings are separated by “|”")
    gauge = serializers.CharField(max_length=20, required=False, allow_blank=True, default="")
    temperature = serializers.CharField(
        max_length=12, required=False, allow_blank=True, default="", help_text="of the part in °C, where the plan asks"
    )


class NewPaper(Upload):
    stage = serializers.IntegerField()
    inspection = serializers.IntegerField(min_value=1, max_value=3, default=1)
    measured_by = serializers.CharField(max_length=20, help_text="a badge")
    measured_at = serializers.DateTimeField()
    answers = KeyedAnswer(many=True)


class KeyingCheck(Pin):
    differing = serializers.ListField(child=serializers.UUIDField(), default=list)
    reason = serializers.CharField(max_length=300, required=False, allow_blank=True, default="")


class PapersView(ActView):
    act = {"GET": Act.LOOK_UP_UNIT, "POST": Act.RECORD_RESULT}

    @extend_schema(responses={200: Papers, 404: Refusal})
    def get(self, request: Request, serial: str) -> Response:
        """The sheets keyed in for a unit, the latest first."""
        return Response({"sheets": [_paper(one) for one in papers_of(unit_by_serial(serial).item_id)]})

    @extend_schema(request=NewPaper, responses={201: Paper, 400: Refusal, 403: Refusal, 404: Refusal})
    def post(self, request: Request, serial: str) -> Response:
        """Key a stage's sheet in, with its scan: all of its answers or none."""
        given = self.read(NewPaper)
        found = key_in(
            by=self.person, serial=serial, stage_number=given["stage"], inspection=given["inspection"],
            measured_by=given["measured_by"], measured_at=given["measured_at"],
            answers=[Keyed(**one) for one in given["answers"]], scan=given["content"], scan_name=given["name"],
            at=self.at,
        )  # fmt: skip
        return Response(_paper(found), status=201)


class PaperCheckView(ActView):
    act = {"POST": Act.CHECK_KEYING}

    @extend_schema(request=KeyingCheck, responses={200: Paper, 403: Refusal, 404: Refusal, 409: Refusal})
    def post(self, request: Request, serial: str, uuid: UUID) -> Response:
        """Sign that what was keyed is what the sheet says, but for the answers named in `differing`."""
        given = self.read(KeyingCheck)
        proof = self.proof(given["pin"])
        checked = check_keying(
            proof=proof, sheet_uuid=uuid, differing=given["differing"], reason=given["reason"], at=self.at
        )
        return Response(_paper(checked))


def _paper(card: PaperCard) -> dict[str, Any]:
    return {
        "uuid": str(card.uuid),
        "stage": card.stage_number,
        "inspection": card.inspection,
        "measured_by": card.measured_by_name,
        "measured_at": card.measured_at.isoformat(),
        "keyed_by": card.keyed_by_name,
        "keyed_at": card.keyed_at.isoformat(),
        "scan": file_address(card.scan_uuid),
        "operations": [str(one) for one in card.operations],
        "checked_by": card.checked_by_name,
        "checked_at": card.checked_at.isoformat() if card.checked_at else None,
        "differing": [str(one) for one in card.differing],
        "reason": card.reason,
    }
