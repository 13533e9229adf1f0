"""Trends: what to watch in a family, and everything about one characteristic."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from qcapp.people.roles import Act
from qcapp.trends.asking import sees_people, wanted_of, whole
from qcapp.trends.plain import believability_json, characteristic_json, distortion_json, watch_json, yield_json
from qcapp.trends.queries import USUAL_WEEKS, believability_page, distortion_page, page_of, watch_of, yield_page

from ..acts import ActView, Refusal


class Watch(serializers.Serializer[Any]):
    family = serializers.CharField()
    units = serializers.IntegerField(help_text="how many of the newest units were looked at")
    refusal = serializers.CharField(allow_blank=True, help_text="why there is nothing to watch")
    counts = serializers.DictField(child=serializers.IntegerField())
    characteristics = serializers.ListField(child=serializers.DictField(), help_text="worst first")


class Characteristic(serializers.Serializer[Any]):
    family = serializers.CharField()
    key = serializers.CharField()
    number = serializers.IntegerField()
    title = serializers.CharField()
    kind = serializers.CharField()
    unit_of_measure = serializers.CharField(allow_blank=True)
    limits = serializers.CharField()
    lower = serializers.CharField(allow_null=True)
    upper = serializers.CharField(allow_null=True)
    natural_boundaries = serializers.ListField(child=serializers.CharField())
    rule = serializers.CharField(help_text="which results count")
    summary = serializers.CharField()
    left_out = serializers.ListField(child=serializers.CharField())
    excluded = serializers.ListField(child=serializers.DictField(), help_text="values that a person left out, and why")
    values = serializers.ListField(child=serializers.DictField())
    events = serializers.ListField(child=serializers.DictField())
    chart = serializers.DictField()
    splits = serializers.ListField(child=serializers.DictField())
    capability = serializers.DictField(allow_null=True)
    gauge_studies = serializers.ListField(child=serializers.DictField(), help_text="the gauges' shares of the spread")
    drift = serializers.DictField(allow_null=True)
    histogram = serializers.DictField(allow_null=True)


class DistortionList(serializers.Serializer[Any]):
    family = serializers.CharField()
    units = serializers.IntegerField()
    refusal = serializers.CharField(allow_blank=True)
    pairs = serializers.ListField(child=serializers.DictField(), help_text="the largest shift against its band first")


class Yield(serializers.Serializer[Any]):
    family = serializers.CharField()
    weeks = serializers.IntegerField()
    refusal = serializers.CharField(allow_blank=True)
    rule = serializers.CharField()
    rolled_throughput = serializers.DictField(allow_null=True, child=serializers.FloatField())
    defects_per_unit = serializers.FloatField(allow_null=True)
    defects_per_million_opportunities = serializers.FloatField(allow_null=True)
    stages = serializers.ListField(child=serializers.DictField())


class WatchView(ActView):
    act = {"GET": Act.LOOK_AT_TRENDS}

    @extend_schema(responses={200: Watch, 401: Refusal, 403: Refusal, 404: Refusal}, operation_id="TrendWatch")
    def get(self, request: Request, family: str) -> Response:
        """Every characteristic of a family over its last units, worst first, each in one sentence."""
        return Response(watch_json(watch_of(family)))


class CharacteristicView(ActView):
    act = {"GET": Act.LOOK_AT_TRENDS}

    @extend_schema(
        parameters=[
            OpenApiParameter("last", int, description="how many values, 5 to 500; 100 unless said"),
            OpenApiParameter(
                "samples", int, description="where a point is a sample: how many of them, 2 to 100; 25 unless said"
            ),
            OpenApiParameter("base", int, description="take the limits from the first so many points and hold them"),
            OpenApiParameter("limits", str, description="between units, or within a unit of several readings"),
            OpenApiParameter(
                "group", str, description="what a point of attributes or counts is: units, lots, days or weeks"
            ),
            OpenApiParameter("size", int, description="attributes: units in a sample"),
        ],
        responses={200: Characteristic, 400: Refusal, 401: Refusal, 403: Refusal, 404: Refusal},
    )
    def get(self, request: Request, family: str, key: str) -> Response:
        """Values, control chart, signals, splits, capability and drift of one characteristic."""
        people = sees_people(self.person, self.at)
        found = page_of(family, key, wanted_of(request.query_params), people=people)
        return Response(characteristic_json(found, people=people))


class DistortionView(ActView):
    act = {"GET": Act.LOOK_AT_TRENDS}

    @extend_schema(responses={200: DistortionList, 401: Refusal, 403: Refusal, 404: Refusal})
    def get(self, request: Request, family: str) -> Response:
        """What welding moves: the same dimensions before and after, paired by unit."""
        people = sees_people(self.person, self.at)
        return Response(distortion_json(distortion_page(family, people=people), people=people))


class YieldView(ActView):
    act = {"GET": Act.LOOK_AT_TRENDS}

    @extend_schema(
        parameters=[OpenApiParameter("weeks", int, description="how many weeks, this one included; 12 unless said")],
        responses={200: Yield, 400: Refusal, 401: Refusal, 403: Refusal, 404: Refusal},
    )
    def get(self, request: Request, family: str) -> Response:
        """What passes the first time by stage and week, rolled throughput, and defects against opportunities."""
        weeks = whole(request.query_params, "weeks") or USUAL_WEEKS
        return Response(yield_json(yield_page(family, at=self.at, weeks=weeks)))


class Believable(serializers.Serializer[Any]):
    family = serializers.CharField()
    units = serializers.IntegerField()
    refusal = serializers.CharField(allow_blank=True)
    tests = serializers.IntegerField()
    answers = serializers.IntegerField()
    hints = serializers.ListField(child=serializers.DictField(), help_text="the strongest first")


class BelievableView(ActView):
    act = {"GET": Act.LOOK_AT_BELIEVABILITY}

    @extend_schema(responses={200: Believable, 401: Refusal, 403: Refusal, 404: Refusal})
    def get(self, request: Request, family: str) -> Response:
        """Hints to look at gauge and method, each with its test and the innocent reasons; never about a person."""
        return Response(believability_json(believability_page(family)))
