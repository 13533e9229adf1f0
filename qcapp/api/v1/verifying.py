"""Where grade verification is asked at issue."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from qcapp.goods.queries.verifying import DemandCard, demands
from qcapp.goods.services.verifying import ask_verification, end_verification
from qcapp.people.roles import Act

from ..acts import ActView, Refusal
from ..shapes import answer, answer_shape, as_json, shape_of

BAD = {400: Refusal, 403: Refusal, 404: Refusal, 409: Refusal}
Demands = answer_shape("GradeDemands", demands=list[DemandCard])


class DemandBody(serializers.Serializer[Any]):
    grade = serializers.CharField(max_length=20, allow_blank=True, default="", help_text="empty: any")
    size = serializers.CharField(max_length=40, allow_blank=True, default="", help_text="empty: any")
    family_code = serializers.CharField(max_length=20, allow_blank=True, default="", help_text="empty: any")
    reason = serializers.CharField(max_length=300)


class DemandEndBody(serializers.Serializer[Any]):
    reason = serializers.CharField(max_length=300)


class DemandsView(ActView):
    act = {"GET": Act.LOOK_AT_GOODS, "POST": Act.ASK_VERIFICATION}

    @extend_schema(operation_id="GradeDemandList", responses={200: Demands})
    def get(self, request: Request) -> Response:
        """What is verified at issue, the latest first."""
        return Response(answer(demands=demands()))

    @extend_schema(request=DemandBody, responses={201: shape_of(DemandCard)} | BAD)
    def post(self, request: Request) -> Response:
        """Ask that the grade of this is verified before each issue."""
        return Response(as_json(ask_verification(by=self.person, at=self.at, **self.read(DemandBody))), status=201)


class DemandEndView(ActView):
    act = {"POST": Act.ASK_VERIFICATION}

    @extend_schema(request=DemandEndBody, responses={200: Demands} | BAD)
    def post(self, request: Request, uuid: UUID) -> Response:
        """Ask for it no longer."""
        end_verification(by=self.person, uuid=uuid, at=self.at, **self.read(DemandEndBody))
        return Response(answer(demands=demands()))
