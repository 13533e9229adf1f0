"""What a tablet sends beside its results: photos, remarks, a gauge that nobody shall measure with."""

from __future__ import annotations

import hashlib
from datetime import datetime
from typing import TYPE_CHECKING, Any
from uuid import UUID

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from qcapp.core.errors import Invalid
from qcapp.gauges.services import set_aside
from qcapp.inspections.services.beside import Spot, keep_photo, write_remark
from qcapp.people.roles import Act

from ..acts import Refusal
from ..owned import OwnedView, decoded
from .gauges import Gauge, gauge_json

if TYPE_CHECKING:
    from qcapp.people.models import Person


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
    sha256 = serializers.RegexField(
        "^[0-9a-f]{64}$", required=False, help_text="of the file; another one is refused (`content_changed`)"
    )
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


class PhotosView(OwnedView):
    act = {"POST": Act.RECORD_RESULT}
    shape = Photo

    @staticmethod
    def take(by: Person, given: dict[str, Any], at: datetime) -> dict[str, Any]:
        spot, content, said = _spot(given), decoded(given.pop("content")), given.pop("sha256", None)
        if said and said != hashlib.sha256(content).hexdigest():
            raise Invalid("content_changed", "The picture is not the one that was taken: its digest differs.")
        return _kept(spot.operation, keep_photo(by=by, spot=spot, content=content, at=at, **given))

    @extend_schema(request=Photo, responses={200: Kept, 400: Refusal, 403: Refusal, 404: Refusal, 409: Refusal})
    def post(self, request: Request) -> Response:
        """Keep a photo taken at a checkpoint. Sending again is harmless."""
        return Response(self.taken())


class RemarksView(OwnedView):
    act = {"POST": Act.RECORD_RESULT}
    shape = Remark

    @staticmethod
    def take(by: Person, given: dict[str, Any], at: datetime) -> dict[str, Any]:
        spot = _spot(given)
        return _kept(spot.operation, write_remark(by=by, spot=spot, at=at, **given))

    @extend_schema(request=Remark, responses={200: Kept, 400: Refusal, 403: Refusal, 404: Refusal, 409: Refusal})
    def post(self, request: Request) -> Response:
        """Write a note at a checkpoint, why it cannot be checked now, or how the part stood."""
        return Response(self.taken())


class GaugeDoubtView(OwnedView):
    act = {"POST": Act.DOUBT_GAUGE}
    shape = Doubt

    @staticmethod
    def take(by: Person, given: dict[str, Any], at: datetime, number: str) -> dict[str, Any]:
        return gauge_json(set_aside(by=by, number=number, reason=given["reason"], at=at))

    @extend_schema(request=Doubt, responses={200: Gauge, 400: Refusal, 403: Refusal, 404: Refusal})
    def post(self, request: Request, number: str) -> Response:
        """Take a dropped or doubtful gauge out of use. Only metrology puts it back."""
        return Response(self.taken(number=number))


def _spot(given: dict[str, Any]) -> Spot:
    """Where it belongs, taken out of what was given."""
    said_at: datetime = given.pop("recorded_at")
    names = ("serial", "checkpoint", "round", "inspection", "device")
    return Spot(operation=given.pop("id"), said_at=said_at, **{name: given.pop(name) for name in names})


def _kept(operation: UUID, new: bool) -> dict[str, Any]:
    return {"id": str(operation), "outcome": "applied" if new else "duplicate"}
