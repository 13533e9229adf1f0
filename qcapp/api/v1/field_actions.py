"""Field actions: units that have left, letters, and what became of each."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from django.http import HttpResponse
from drf_spectacular.utils import OpenApiTypes, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from qcapp.improvement.queries.field import field_action, field_actions
from qcapp.improvement.services import field
from qcapp.people.roles import Act

from ..acts import ActView, Refusal
from ..errors import plain

BAD = {400: Refusal, 401: Refusal, 403: Refusal, 404: Refusal, 409: Refusal}


class FieldActionList(serializers.Serializer[Any]):
    field_actions = serializers.ListField(child=serializers.DictField())


class FieldAction(serializers.Serializer[Any]):
    field_action = serializers.DictField()


class OpenField(serializers.Serializer[Any]):
    title = serializers.CharField(max_length=160)
    reason = serializers.CharField(max_length=600)
    action = serializers.CharField(max_length=20, required=False, allow_blank=True, default="")


class FieldUnits(serializers.Serializer[Any]):
    serials = serializers.ListField(child=serializers.CharField(max_length=40), max_length=1000)
    customer = serializers.CharField(max_length=160, required=False, allow_blank=True, default="")
    address = serializers.CharField(max_length=300, required=False, allow_blank=True, default="")


class Letter(serializers.Serializer[Any]):
    subject = serializers.CharField(max_length=160)
    text = serializers.CharField(max_length=6000)


class Followed(serializers.Serializer[Any]):
    unit = serializers.IntegerField()
    kind = serializers.CharField(max_length=12)
    note = serializers.CharField(max_length=300, required=False, allow_blank=True, default="")


class FieldActionsView(ActView):
    act = {"GET": Act.LOOK_AT_IMPROVEMENT, "POST": Act.LEAD_FIELD_ACTION}

    @extend_schema(responses={200: FieldActionList} | BAD, operation_id="FieldActionList")
    def get(self, request: Request) -> Response:
        """Every field action with how many units are closed."""
        return Response({"field_actions": [plain(asdict(one)) for one in field_actions()]})

    @extend_schema(request=OpenField, responses={201: FieldAction} | BAD)
    def post(self, request: Request) -> Response:
        """Open a field action."""
        number = field.open_field_action(by=self.person, at=self.at, **self.read(OpenField))
        return Response(_told(number), status=201)


class FieldActionView(ActView):
    act = {"GET": Act.LOOK_AT_IMPROVEMENT}

    @extend_schema(responses={200: FieldAction} | BAD)
    def get(self, request: Request, number: str) -> Response:
        """One field action with its units by customer."""
        return Response(_told(number))


class FieldUnitsView(ActView):
    act = {"POST": Act.LEAD_FIELD_ACTION}

    @extend_schema(request=FieldUnits, responses={200: FieldAction} | BAD)
    def post(self, request: Request, number: str) -> Response:
        """List units that have left."""
        field.list_units(by=self.person, number=number, at=self.at, **self.read(FieldUnits))
        return Response(_told(number))


class FieldLetterView(ActView):
    act = {"POST": Act.LEAD_FIELD_ACTION}

    @extend_schema(request=Letter, responses={200: FieldAction} | BAD)
    def post(self, request: Request, number: str) -> Response:
        """Write the letter."""
        field.write_letter(by=self.person, number=number, at=self.at, **self.read(Letter))
        return Response(_told(number))


class FieldFollowView(ActView):
    act = {"POST": Act.FOLLOW_FIELD_ACTION}

    @extend_schema(request=Followed, responses={200: FieldAction} | BAD)
    def post(self, request: Request, number: str) -> Response:
        """Say what became of a unit."""
        given = self.read(Followed)
        field.follow_unit(by=self.person, number=number, unit_id=given.pop("unit"), at=self.at, **given)
        return Response(_told(number))


class FieldLettersView(ActView):
    act = {"GET": Act.LOOK_AT_IMPROVEMENT}

    @extend_schema(responses={(200, "application/pdf"): OpenApiTypes.BINARY} | BAD)
    def get(self, request: Request, number: str) -> HttpResponse:
        """The letters as PDF, a sheet for each customer."""
        data = field.letters_pdf(number=number, customer=request.query_params.get("customer", "")[:160])
        return HttpResponse(data, content_type="application/pdf")


def _told(number: str) -> dict[str, Any]:
    return {"field_action": plain(asdict(field_action(number)))}
