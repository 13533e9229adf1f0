"""Gauges, each with whether it may be used now."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from qcapp.gauges.queries import GaugeCard, all_gauges
from qcapp.gauges.services import add_gauge
from qcapp.people.roles import Act

from ..acts import ActView, Refusal


class Digits(serializers.DecimalField):
    """A number as typed: its digits are kept, not filled up to a number of places."""

    def quantize(self, value: Decimal) -> Decimal:
        return value


def decimal_field(**options: Any) -> serializers.DecimalField:
    """A number with at most eighteen digits."""
    return Digits(max_digits=18, decimal_places=9, **options)


class Gauge(serializers.Serializer[Any]):
    uuid = serializers.UUIDField()
    number = serializers.CharField()
    kind = serializers.CharField()
    kind_name = serializers.CharField()
    description = serializers.CharField(allow_blank=True)
    unit_of_measure = serializers.CharField(allow_blank=True)
    range = serializers.CharField(allow_blank=True)
    resolution = serializers.CharField(allow_null=True)
    due_on = serializers.DateField(allow_null=True)
    usable = serializers.BooleanField()
    reason = serializers.CharField(allow_blank=True)
    sentence = serializers.CharField()
    expanded_uncertainty = serializers.CharField(allow_null=True)


class GaugeList(serializers.Serializer[Any]):
    gauges = Gauge(many=True)


class GaugeBody(serializers.Serializer[Any]):
    number = serializers.CharField(max_length=20)
    kind_key = serializers.CharField(max_length=40)
    description = serializers.CharField(max_length=120, allow_blank=True, default="")
    unit_of_measure = serializers.CharField(max_length=12, allow_blank=True, default="")
    range_lower = decimal_field(allow_null=True, default=None)
    range_upper = decimal_field(allow_null=True, default=None)
    resolution = decimal_field(allow_null=True, default=None)
    interval_months = serializers.IntegerField(default=12)
    needs_calibration = serializers.BooleanField(default=True)


class GaugesView(ActView):
    act = {"GET": Act.LOOK_AT_GAUGES, "POST": Act.KEEP_GAUGES}

    @extend_schema(responses={200: GaugeList, 401: Refusal, 403: Refusal})
    def get(self, request: Request) -> Response:
        """Every gauge, those that may not be used first."""
        return Response({"gauges": [gauge_json(card) for card in all_gauges(self.at)]})

    @extend_schema(request=GaugeBody, responses={201: Gauge, 400: Refusal, 403: Refusal, 404: Refusal, 409: Refusal})
    def post(self, request: Request) -> Response:
        """Add a gauge under the number on its label."""
        return Response(gauge_json(add_gauge(by=self.person, at=self.at, **self.read(GaugeBody))), status=201)


def gauge_json(card: GaugeCard) -> dict[str, Any]:
    """One gauge as plain values; numbers as text."""
    return {
        "uuid": str(card.uuid),
        "number": card.number,
        "kind": card.kind_key,
        "kind_name": card.kind_name,
        "description": card.description,
        "unit_of_measure": card.unit_of_measure,
        "range": card.range_text,
        "resolution": None if card.resolution is None else format(card.resolution, "f"),
        "due_on": card.due_on.isoformat() if card.due_on else None,
        "usable": card.usable,
        "reason": card.reason,
        "sentence": card.sentence,
        "expanded_uncertainty": (None if card.expanded_uncertainty is None else format(card.expanded_uncertainty, "f")),
    }
