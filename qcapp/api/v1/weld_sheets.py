"""What a welder's tablet takes along, so that range and qualification can be checked without network."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING, Any

from django.conf import settings
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from qcapp.people.queries import role_names
from qcapp.people.roles import Act, Role
from qcapp.production.queries.fixtures import fixtures
from qcapp.production.queries.welding import qualifications, weld_procedures

from ..acts import ActView, Refusal

if TYPE_CHECKING:
    from qcapp.people.models import Person


class SheetProcedure(serializers.Serializer[Any]):
    uuid = serializers.UUIDField()
    name = serializers.CharField(help_text="number and revision")
    title = serializers.CharField()
    process = serializers.CharField(help_text="its number in ISO 4063")
    thickness_from = serializers.CharField(help_text="mm")
    thickness_to = serializers.CharField(help_text="mm")
    base_grades = serializers.ListField(child=serializers.CharField())
    preheat = serializers.IntegerField(allow_null=True, help_text="°C, at least")


class SheetQualification(serializers.Serializer[Any]):
    process = serializers.CharField()
    thickness_from = serializers.CharField(help_text="mm")
    thickness_to = serializers.CharField(help_text="mm")
    issued_on = serializers.DateField()
    holds_until = serializers.DateField(help_text="by its end and by the six-monthly confirmations known now")


class SheetFixture(serializers.Serializer[Any]):
    number = serializers.CharField()
    name = serializers.CharField()
    due_on = serializers.DateField(allow_null=True)
    sentence = serializers.CharField(allow_blank=True, help_text="why it may not be used; empty when it may")


class WeldSheet(serializers.Serializer[Any]):
    welder = serializers.BooleanField(help_text="this person is a welder today")
    unqualified = serializers.ChoiceField(choices=["refuse", "report"])
    server_time = serializers.DateTimeField()
    procedures = SheetProcedure(many=True)
    qualifications = SheetQualification(many=True, help_text="this person's own")
    fixtures = SheetFixture(many=True)


class WeldSheetView(ActView):
    act = {"GET": Act.RECORD_RESULT}

    @extend_schema(responses={200: WeldSheet, 401: Refusal, 403: Refusal})
    def get(self, request: Request) -> Response:
        """The procedures in force, the fixtures, and what the signed-in person may weld."""
        return Response(sheet_of(self.person, self.at))


def sheet_of(person: Person, at: datetime) -> dict[str, Any]:
    """Everything that is not about a unit. Somebody who is no welder gets empty lists."""
    welds = Role.WELDER in role_names(person, at)
    return {
        "welder": welds,
        "unqualified": settings.QCAPP_UNQUALIFIED_WELDS,
        "server_time": at.isoformat(),
        "procedures": _procedures() if welds else [],
        "qualifications": _qualifications(person.pk) if welds else [],
        "fixtures": _fixtures(at) if welds else [],
    }


def _procedures() -> list[dict[str, Any]]:
    return [
        {
            "uuid": str(one.uuid),
            "name": str(one),
            "title": one.title,
            "process": one.process,
            "thickness_from": format(one.thickness_from, "f"),
            "thickness_to": format(one.thickness_to, "f"),
            "base_grades": list(one.base_grades),
            "preheat": one.preheat,
        }
        for one in weld_procedures()
    ]


def _qualifications(person_id: int) -> list[dict[str, Any]]:
    return [
        {
            "process": one.process,
            "thickness_from": format(one.thickness_from, "f"),
            "thickness_to": format(one.thickness_to, "f"),
            "issued_on": one.issued_on.isoformat(),
            "holds_until": one.due_on.isoformat(),
        }
        for one in qualifications(person_id)
    ]


def _fixtures(at: datetime) -> list[dict[str, Any]]:
    return [
        {
            "number": one.number,
            "name": one.name,
            "due_on": one.due_on.isoformat() if one.due_on else None,
            "sentence": "" if one.usable else one.sentence,
        }
        for one in fixtures(at)
    ]
