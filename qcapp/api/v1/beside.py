"""What a tablet sends beside its results: photos, remarks, a gauge that nobody shall measure with."""

from __future__ import annotations

import base64
import binascii
from datetime import datetime
from typing import Any
from uuid import UUID

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from qcapp.core.errors import Invalid
from qcapp.gauges.services import set_aside
from qcapp.inspections.services.beside import Spot, keep_photo, write_remark
from qcapp.people.roles import Act

from ..acts import ActView, Refusal
from .gauges import Gauge, gauge_json


class Where(serializers.Serializer[Any]):
    """Where it belongs. Never changes between tries: the same id with another body is refused (`key_reused`)."""

    id = serializers.UUIDField(help_text="UUID version 7, made on the tablet")
    serial = serializers.CharField(max_length=40)
    checkpoint = serializers.CharField(max_length=60, help_text="the checkpoint's key")
    round = serializers.IntegerField(min_value=1, max_value=99, default=1)
    inspection = serializers.IntegerField(min_value=1, max_value=3, default=1)
    device = serializers.CharField(max_length=60)
    recorded_at = serializers.DateTimeField()


class Photo(Where):
    content = serializers.CharField(help_text="the JPEG, PNG or WebP file in base64")
    name = serializers.CharField(max_length=120, default="photo.jpg")
    marks = serializers.ListField(
        child=serializers.ListField(child=serializers.IntegerField()), default=list, help_text="points in thousandths"
    )
    note = serializers.CharField(max_length=200, allow_blank=True, default="")
    of_result = serializers.UUIDField(allow_null=True, default=None, help_text="id of the operation it belongs to")


class Remark(Where):
    kind = serializers.CharField(max_length=8, help_text="note, not_now or setup")
    text = serializers.CharField(max_length=300)


class Kept(serializers.Serializer[Any]):
    id = serializers.UUIDField()
    outcome = serializers.ChoiceField(choices=["applied", "duplicate"])


class Doubt(serializers.Serializer[Any]):
    reason = serializers.CharField(max_length=200)


class PhotosView(ActView):
    act = {"POST": Act.RECORD_RESULT}

    @extend_schema(request=Photo, responses={200: Kept, 400: Refusal, 403: Refusal, 404: Refusal, 409: Refusal})
    def post(self, request: Request) -> Response:
        """Keep a photo taken at a checkpoint. Sending again is harmless."""
        given = self.read(Photo)
        spot = _spot(given)
        content = _decoded(given.pop("content"))
        return _kept(spot.operation, keep_photo(by=self.person, spot=spot, content=content, at=self.at, **given))


class RemarksView(ActView):
    act = {"POST": Act.RECORD_RESULT}

    @extend_schema(request=Remark, responses={200: Kept, 400: Refusal, 403: Refusal, 404: Refusal, 409: Refusal})
    def post(self, request: Request) -> Response:
        """Write a note at a checkpoint, why it cannot be checked now, or how the part stood."""
        given = self.read(Remark)
        spot = _spot(given)
        return _kept(spot.operation, write_remark(by=self.person, spot=spot, at=self.at, **given))


class GaugeDoubtView(ActView):
    act = {"POST": Act.DOUBT_GAUGE}

    @extend_schema(request=Doubt, responses={200: Gauge, 400: Refusal, 403: Refusal, 404: Refusal})
    def post(self, request: Request, number: str) -> Response:
        """Take a dropped or doubtful gauge out of use. Only metrology puts it back."""
        card = set_aside(by=self.person, number=number, reason=self.read(Doubt)["reason"], at=self.at)
        return Response(gauge_json(card))


def _spot(given: dict[str, Any]) -> Spot:
    """Where it belongs, taken out of what was given."""
    said_at: datetime = given.pop("recorded_at")
    names = ("serial", "checkpoint", "round", "inspection", "device")
    return Spot(operation=given.pop("id"), said_at=said_at, **{name: given.pop(name) for name in names})


def _decoded(text: str) -> bytes:
    try:
        return base64.b64decode(text, validate=True)
    except (binascii.Error, ValueError) as error:
        raise Invalid("content_unreadable", "“content” is not base64; send the file's bytes so.") from error


def _kept(operation: UUID, new: bool) -> Response:
    return Response({"id": str(operation), "outcome": "applied" if new else "duplicate"})
