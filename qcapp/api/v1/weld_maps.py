"""Weld maps: where the joints of a plan are on its drawing, and what was said of each joint of a unit."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from qcapp.inspections.queries.weld_map import unit_weld_map
from qcapp.people.roles import Act
from qcapp.plans.cards import PARTS, Balloon
from qcapp.plans.queries import revision_card
from qcapp.plans.queries.weld_maps import weld_map
from qcapp.plans.services.weld_maps import place_joint, take_joint_away
from qcapp.production.queries.joints import JointWeld

from ..acts import ActView, Refusal
from ..shapes import as_json, shape_of
from .drawings import Sheet, sheet_json

BAD = {400: Refusal, 403: Refusal, 404: Refusal, 409: Refusal}


class JointPlaceShape(serializers.Serializer[Any]):
    sheet = serializers.UUIDField()
    across = serializers.CharField(help_text="from the left, 0 to 1 of the width")
    down = serializers.CharField(help_text="from the top, 0 to 1 of the height")
    seen = serializers.CharField(help_text="what a change names in “was”")


class PlannedJoint(serializers.Serializer[Any]):
    joint = serializers.CharField()
    what = serializers.CharField(help_text="what it joins")
    place = JointPlaceShape(allow_null=True)


class PlanWeldMap(serializers.Serializer[Any]):
    sheets = Sheet(many=True)
    joints = PlannedJoint(many=True)
    without_mark = serializers.ListField(child=serializers.CharField())


class UnitJoint(PlannedJoint):
    planned = serializers.BooleanField(help_text="whether the unit's plan names it")
    weld = shape_of(JointWeld)(allow_null=True, help_text="null while the joint is open")


class UnitWeldMapShape(serializers.Serializer[Any]):
    serial = serializers.CharField()
    sheets = Sheet(many=True)
    joints = UnitJoint(many=True)
    open = serializers.ListField(child=serializers.CharField())


class NewJointPlace(serializers.Serializer[Any]):
    sheet = serializers.UUIDField()
    across = serializers.DecimalField(max_digits=12, decimal_places=10, min_value=0, max_value=1)
    down = serializers.DecimalField(max_digits=12, decimal_places=10, min_value=0, max_value=1)
    was = serializers.CharField(required=False, allow_null=True, allow_blank=True, default=None, max_length=60)


class PlanWeldMapView(ActView):
    act = {"GET": Act.LOOK_AT_PLAN}

    @extend_schema(operation_id="PlanWeldMap", responses={200: PlanWeldMap, 404: Refusal})
    def get(self, request: Request, uuid: UUID) -> Response:
        """The joints that a plan names, where they are on its sheets, and which have no mark."""
        return Response(_planned(uuid))


class JointView(ActView):
    act = {"POST": Act.PLACE_JOINTS, "DELETE": Act.PLACE_JOINTS}

    @extend_schema(request=NewJointPlace, responses={200: PlanWeldMap} | BAD)
    def post(self, request: Request, uuid: UUID, joint: str) -> Response:
        """Set or move a joint on a sheet of the plan."""
        given = self.read(NewJointPlace)
        across, down = (round(given[name] * PARTS) for name in ("across", "down"))
        place_joint(
            by=self.person, revision_uuid=uuid, joint=joint, sheet_uuid=given["sheet"], across=across, down=down,
            was=given["was"], at=self.at,
        )  # fmt: skip
        return Response(_planned(uuid))

    @extend_schema(operation_id="JointTakenAway", responses={200: PlanWeldMap, 403: Refusal, 404: Refusal})
    def delete(self, request: Request, uuid: UUID, joint: str) -> Response:
        """Take a joint's mark away."""
        take_joint_away(by=self.person, revision_uuid=uuid, joint=joint, at=self.at)
        return Response(_planned(uuid))


class UnitWeldMapView(ActView):
    act = {"GET": Act.LOOK_UP_UNIT}

    @extend_schema(operation_id="UnitWeldMap", responses={200: UnitWeldMapShape, 404: Refusal})
    def get(self, request: Request, serial: str) -> Response:
        """Every joint of a unit: welder, procedure, filler lot, fixture, date, and where it is on the drawing."""
        found = unit_weld_map(serial)
        joints = [
            {"joint": one.joint, "what": one.what, "place": _place(one.place), "planned": one.planned}
            | {"weld": as_json(one.weld) if one.weld else None}
            for one in found.joints
        ]
        sheets = [sheet_json(one) for one in found.sheets]
        return Response({"serial": found.unit.serial, "sheets": sheets, "joints": joints, "open": found.open})


def _planned(uuid: UUID) -> dict[str, Any]:
    found = weld_map(revision_card(uuid))
    joints = [
        {"joint": joint, "what": what, "place": _place(found.places.get(joint))} for joint, what in found.joints.items()
    ]
    return {"sheets": [sheet_json(one) for one in found.sheets], "joints": joints, "without_mark": found.missing}


def _place(place: Balloon | None) -> dict[str, str] | None:
    if place is None:
        return None
    across, down = (f"{part / PARTS:.5f}" for part in (place.across, place.down))
    return {"sheet": str(place.sheet.uuid), "across": across, "down": down, "seen": place.seen}
