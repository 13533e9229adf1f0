"""Where a component, lot, heat, delivery, certificate, filler lot, gauge or fixture was used."""

from __future__ import annotations

from typing import Any

from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from qcapp.affected.using import LONGEST, Uses, things_named, uses_of
from qcapp.people.roles import Act

from ..acts import ActView, Refusal
from ..shapes import as_json


class UsedUnit(serializers.Serializer[Any]):
    serial = serializers.CharField()
    family = serializers.CharField()
    standing = serializers.CharField(help_text="in build, in stock, shipped or scrapped; of the outermost unit")
    holder = serializers.CharField(help_text="the outermost unit that it is in, or empty")
    on_hold = serializers.BooleanField()
    place = serializers.CharField()


class UsedThing(serializers.Serializer[Any]):
    kind = serializers.CharField(help_text="component, lot, heat, delivery, certificate, filler, gauge or fixture")
    name = serializers.CharField()
    detail = serializers.CharField()
    ways = serializers.ListField(child=serializers.DictField(), help_text="what it went into, and that in turn")
    cut = serializers.BooleanField(help_text="whether only the latest ways are given; the units are all there")
    units = UsedUnit(many=True)


class WhereUsed(serializers.Serializer[Any]):
    name = serializers.CharField()
    serials = serializers.ListField(child=serializers.CharField())
    things = UsedThing(many=True)


class WhereUsedView(ActView):
    act = {"GET": Act.LOOK_UP_UNIT}

    @extend_schema(
        parameters=[OpenApiParameter("name", OpenApiTypes.STR)], responses={200: WhereUsed, 400: Refusal, 404: Refusal}
    )
    def get(self, request: Request) -> Response:
        """Everything of this name, each with the units that it is in, or that were measured with it or welded in it."""
        name = request.query_params.get("name", "")
        found = [uses_of(thing) for thing in things_named(name, self.at)]
        serials = sorted({row.serial for one in found for row in one.rows})
        return Response({"name": name[:LONGEST], "serials": serials, "things": [_thing(one) for one in found]})


def _thing(uses: Uses) -> dict[str, Any]:
    thing = uses.thing
    units = [{name: getattr(row, name) for name in UsedUnit().fields} for row in uses.rows]
    told = {"kind": thing.kind, "name": thing.name, "detail": thing.detail}
    return told | {"ways": as_json(uses.ways), "cut": uses.cut, "units": units}
