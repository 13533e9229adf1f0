"""Who welded which joints of a unit: what the second inspection of a weld is held against."""

from __future__ import annotations

from dataclasses import asdict
from datetime import datetime
from typing import Any

from django.conf import settings
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from qcapp.core.errors import Refused
from qcapp.lib.fields import uuid7
from qcapp.nonconformance.services.welding import start_weld_or_report
from qcapp.people.queries import person_by_badge
from qcapp.people.roles import Act
from qcapp.production.queries import unit_by_serial, welds_of
from qcapp.production.queries.welding import procedure_named
from qcapp.production.services.welding import Arc

from ..acts import ActView, Refusal
from ..errors import plain
from .gauges import decimal_field

CHECKED = {
    "procedure": "the procedure", "thickness": "the thickness in mm of the thinner part",
    "base_grade": "the base grade", "filler_lot": "the filler lot", "machine": "the machine",
}  # fmt: skip


class Weld(serializers.Serializer[Any]):
    """What the check before the arc needs is refused where it is missing, by name."""

    welder = serializers.CharField(max_length=20, help_text="badge")
    joints = serializers.ListField(child=serializers.CharField(max_length=12), min_length=1, max_length=100)
    procedure = serializers.CharField(
        max_length=40, required=False, allow_blank=True, default="", help_text="number of one in force; needed"
    )
    thickness = decimal_field(
        required=False, allow_null=True, default=None, help_text="mm, of the thinner part; needed"
    )
    base_grade = serializers.CharField(max_length=40, allow_blank=True, default="", help_text="needed")
    filler_lot = serializers.CharField(max_length=40, allow_blank=True, default="", help_text="needed")
    machine = serializers.CharField(max_length=40, allow_blank=True, default="", help_text="needed")
    fixture = serializers.CharField(max_length=40, allow_blank=True, default="")
    preheat = serializers.IntegerField(allow_null=True, default=None, help_text="°C, as measured")
    operation = serializers.UUIDField(
        allow_null=True, default=None, help_text="UUID version 7; with one, sending again changes nothing"
    )


class WeldList(serializers.Serializer[Any]):
    serial = serializers.CharField()
    welds = serializers.ListField(child=serializers.DictField(), help_text="the latest first; it counts for its joint")


class WeldsRecorded(WeldList):
    report = serializers.CharField(allow_null=True, help_text="the report about what did not fit")


class WeldsView(ActView):
    act = {"GET": Act.LOOK_UP_UNIT, "POST": Act.RECORD_RESULT}

    @extend_schema(responses={200: WeldList, 404: Refusal}, operation_id="WeldList")
    def get(self, request: Request, serial: str) -> Response:
        """Every weld record of a unit."""
        unit = unit_by_serial(serial)
        return Response({"serial": unit.serial, "welds": _welds(unit.item_id)})

    @extend_schema(request=Weld, responses={201: WeldsRecorded, 400: Refusal, 403: Refusal, 404: Refusal, 409: Refusal})
    def post(self, request: Request, serial: str) -> Response:
        """Write down who welds these joints, checked as at the bench: procedure's range, qualification, fixture.

        That person then gives no second inspection of them.
        """
        given = self.read(Weld)
        welder = person_by_badge(given.pop("welder"))
        report = self._record(serial, welder, given, self.at)
        unit = unit_by_serial(serial)
        return Response({"serial": unit.serial, "welds": _welds(unit.item_id), "report": report}, status=201)

    def _record(self, serial: str, welder: Any, given: dict[str, Any], at: datetime) -> str | None:
        missing = [said for name, said in CHECKED.items() if given[name] in (None, "")]
        if missing:
            message = f"A weld is checked before it is recorded; say {', '.join(missing)} as well."
            raise Refused("weld_not_checked", message)
        procedure = procedure_named(given.pop("procedure")).uuid
        operation = given.pop("operation") or uuid7()
        joints = tuple(given.pop("joints"))
        arc = Arc(operation=operation, serial=serial, joints=joints, procedure=procedure, **given)
        return start_weld_or_report(
            by=self.person, welder=welder, arc=arc, unqualified=settings.QCAPP_UNQUALIFIED_WELDS, at=at
        )


def _welds(item_id: int) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = [plain(asdict(weld)) for weld in welds_of(item_id)]
    for one in found:
        del one["welder_id"]
    return found
