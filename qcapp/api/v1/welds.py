"""Who welded which joints of a unit: what the second inspection of a weld is held against."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from qcapp.people.queries import person_by_badge
from qcapp.people.roles import Act
from qcapp.production.queries import unit_by_serial, welds_of
from qcapp.production.services import record_weld

from ..acts import ActView, Refusal
from ..errors import plain


class Weld(serializers.Serializer[Any]):
    welder = serializers.CharField(max_length=20, help_text="badge")
    joints = serializers.ListField(child=serializers.CharField(max_length=12), min_length=1, max_length=100)
    procedure = serializers.CharField(max_length=40, required=False, allow_blank=True, default="")


class WeldList(serializers.Serializer[Any]):
    serial = serializers.CharField()
    welds = serializers.ListField(child=serializers.DictField(), help_text="the latest first; it counts for its joint")


class WeldsView(ActView):
    act = {"GET": Act.LOOK_UP_UNIT, "POST": Act.RECORD_RESULT}

    @extend_schema(responses={200: WeldList, 404: Refusal}, operation_id="WeldList")
    def get(self, request: Request, serial: str) -> Response:
        """Every weld record of a unit."""
        unit = unit_by_serial(serial)
        return Response({"serial": unit.serial, "welds": _welds(unit.item_id)})

    @extend_schema(request=Weld, responses={201: WeldList, 400: Refusal, 403: Refusal, 404: Refusal, 409: Refusal})
    def post(self, request: Request, serial: str) -> Response:
        """Write down who welded these joints; that person then gives no second inspection of them."""
        given = self.read(Weld)
        welder = person_by_badge(given.pop("welder"))
        unit = record_weld(by=self.person, welder=welder, serial=serial, at=self.at, **given)
        return Response({"serial": unit.serial, "welds": _welds(unit.item_id)}, status=201)


def _welds(item_id: int) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = [plain(asdict(weld)) for weld in welds_of(item_id)]
    for one in found:
        del one["welder_id"]
    return found
