"""Customer service by program: finding a unit by anything that is read out, and one value among the family's."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from qcapp.customers.lookup import look_up
from qcapp.inspections.queries.outliers import value_view
from qcapp.people.queries import may
from qcapp.people.roles import Act

from ..acts import ActView, Refusal

LONGEST, MOST = 60, 40


class LookedUp(serializers.Serializer[Any]):
    units = serializers.ListField(child=serializers.DictField())


class UnitValue(serializers.Serializer[Any]):
    serial = serializers.CharField()
    checkpoint = serializers.IntegerField()
    title = serializers.CharField()
    value = serializers.CharField()
    limits = serializers.CharField(allow_blank=True)
    outcome = serializers.CharField()
    outlier = serializers.BooleanField(allow_null=True)
    verdict = serializers.CharField()
    share = serializers.CharField()
    percentile = serializers.IntegerField(allow_null=True)
    usual = serializers.CharField(allow_blank=True)


class LookUpView(ActView):
    act = {"GET": Act.LOOK_UP_UNIT}

    @extend_schema(
        parameters=[OpenApiParameter("q", str, required=True, description="part of a serial, VIN, tag, order, …")],
        responses={200: LookedUp, 401: Refusal},
    )
    def get(self, request: Request) -> Response:
        """Units by any fragment, best match first; customers for those who may see them."""
        fragment, names = request.query_params.get("q", "").strip(), may(self.person, Act.SEE_CUSTOMERS, self.at)
        found = look_up(fragment, names=names, limit=MOST) if len(fragment) <= LONGEST else []
        told = [
            {"serial": one.unit.serial, "family": one.unit.family_code, "state": one.unit.state, "found_by": one.by,
             "text": one.text, "place": one.place} | ({"customer": one.customer} if names else {})
            for one in found
        ]  # fmt: skip
        return Response({"units": told})


class UnitValueView(ActView):
    act = {"GET": Act.LOOK_UP_UNIT}

    @extend_schema(responses={200: UnitValue, 401: Refusal, 404: Refusal})
    def get(self, request: Request, serial: str, key: str) -> Response:
        """Was it an outlier? The value with its limits, and where it lies among the family's values."""
        view = value_view(serial, key, viewer=self.person, at=self.at)
        return Response(
            {
                "serial": view.unit.serial, "checkpoint": view.card.number, "title": view.card.title,
                "value": view.answer.described, "limits": view.card.limits_text, "outcome": view.answer.outcome,
                "outlier": view.spread.outlier if view.spread else None, "verdict": view.verdict, "share": view.share,
                "percentile": view.spread.percentile if view.spread else None, "usual": view.usual,
            }
        )  # fmt: skip
