"""A defect marked on the drawing, as a tablet sends it."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING, Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from qcapp.nonconformance.services.marking import mark_on_drawing
from qcapp.people.roles import Act

from ..acts import Refusal
from ..owned import OwnedView

if TYPE_CHECKING:
    from qcapp.people.models import Person


class DefectMark(serializers.Serializer[Any]):
    id = serializers.UUIDField(required=False, help_text="made on the tablet; sending again is harmless")
    serial = serializers.CharField(max_length=40)
    checkpoint = serializers.CharField(max_length=60, help_text="the checkpoint's key; a report about it is open")
    drawing = serializers.UUIDField()
    across = serializers.IntegerField(help_text="thousandths of the width")
    down = serializers.IntegerField(help_text="thousandths of the height")
    caption = serializers.CharField(max_length=160, allow_blank=True, default="")


class Marked(serializers.Serializer[Any]):
    report = serializers.CharField()
    outcome = serializers.ChoiceField(choices=["applied", "duplicate"])


class MarksView(OwnedView):
    act = {"POST": Act.RAISE_REPORT}
    shape = DefectMark

    @staticmethod
    def take(by: Person, given: dict[str, Any], at: datetime) -> dict[str, Any]:
        number, new = mark_on_drawing(
            by=by,
            serial=given["serial"],
            checkpoint_key=given["checkpoint"],
            sheet=given["drawing"],
            mark=(given["across"], given["down"]),
            caption=given["caption"],
            at=at,
        )
        return {"report": number, "outcome": "applied" if new else "duplicate"}

    @extend_schema(request=DefectMark, responses={200: Marked, 400: Refusal, 403: Refusal, 404: Refusal, 409: Refusal})
    def post(self, request: Request) -> Response:
        """Mark where the imperfection is, beside the open report about the checkpoint."""
        return Response(self.taken())
