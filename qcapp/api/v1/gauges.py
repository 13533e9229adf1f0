"""Gauges, each with whether it may be used now."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from qcapp.gauges.queries import GaugeCard, all_gauges
from qcapp.people.roles import Act

from ..acts import ActView, Refusal


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


class GaugesView(ActView):
    act = {"GET": Act.LOOK_AT_GAUGES}

    @extend_schema(responses={200: GaugeList, 401: Refusal, 403: Refusal})
    def get(self, request: Request) -> Response:
        """Every gauge, those that may not be used first."""
        return Response({"gauges": [gauge_json(card) for card in all_gauges(self.at)]})


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
