"""What is drawn beside a plan: sheets, balloons, reference pictures."""

from __future__ import annotations

import base64
import binascii
from typing import Any
from uuid import UUID

from django.http import HttpResponse
from django.urls import reverse
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from qcapp.core.errors import Invalid
from qcapp.people.roles import Act
from qcapp.plans.cards import PARTS, Balloon, CheckpointCard, SheetCard
from qcapp.plans.drawing_files import MOST_AT_ONCE, small_pages
from qcapp.plans.prints import drawing_pdf
from qcapp.plans.queries import checkpoints_of, revision_card
from qcapp.plans.queries.marks import marks_of, sheets_of
from qcapp.plans.services import drawings

from ..acts import ActView, Refusal


class Sheet(serializers.Serializer[Any]):
    uuid = serializers.UUIDField()
    number = serializers.CharField()
    document_revision = serializers.CharField()
    sheet = serializers.IntegerField()
    title = serializers.CharField()
    media_type = serializers.CharField()
    width = serializers.IntegerField()
    height = serializers.IntegerField()
    digest = serializers.CharField()
    address = serializers.CharField(help_text="of its picture")


class BalloonPlace(serializers.Serializer[Any]):
    checkpoint = serializers.CharField(help_text="its key")
    number = serializers.IntegerField()
    sheet = serializers.UUIDField()
    across = serializers.CharField(help_text="from the left, 0 to 1 of the width")
    down = serializers.CharField(help_text="from the top, 0 to 1 of the height")
    seen = serializers.CharField(help_text="what a change names in “was”")


class Drawings(serializers.Serializer[Any]):
    sheets = Sheet(many=True)
    balloons = BalloonPlace(many=True)
    without_balloon = serializers.ListField(child=serializers.CharField())
    without_checkpoint = serializers.IntegerField()
    pictures = serializers.DictField(child=serializers.CharField(), help_text="addresses by the checkpoint's key")


class Upload(serializers.Serializer[Any]):
    name = serializers.CharField(max_length=120, help_text="of the file")
    content = serializers.CharField(trim_whitespace=False, help_text="the file in base64")

    def validate_content(self, text: str) -> bytes:
        """The file's bytes."""
        try:
            return base64.b64decode(text, validate=True)
        except (binascii.Error, ValueError) as error:
            raise Invalid("content_not_base64", "Send the file's content in base64.", field="content") from error


class NewSheet(Upload):
    number = serializers.CharField(max_length=60)
    document_revision = serializers.CharField(max_length=12)
    sheet = serializers.IntegerField(default=1)
    title = serializers.CharField(max_length=80, required=False, allow_blank=True, default="")
    pages = serializers.CharField(max_length=60, required=False, allow_blank=True, default="")
    takes_place_of = serializers.UUIDField(required=False, allow_null=True, default=None)


class AddedSheets(serializers.Serializer[Any]):
    sheets = Sheet(many=True)
    left_out = serializers.DictField(child=serializers.IntegerField())


class DocumentPage(serializers.Serializer[Any]):
    page = serializers.IntegerField()
    width = serializers.IntegerField()
    height = serializers.IntegerField()
    picture = serializers.CharField(help_text="a small PNG in base64")


class DocumentPages(serializers.Serializer[Any]):
    pages = DocumentPage(many=True)
    most = serializers.IntegerField(help_text="so many are added at once")


class NewBalloon(serializers.Serializer[Any]):
    checkpoint = serializers.CharField(max_length=60)
    sheet = serializers.UUIDField()
    across = serializers.DecimalField(max_digits=12, decimal_places=10, min_value=0, max_value=1)
    down = serializers.DecimalField(max_digits=12, decimal_places=10, min_value=0, max_value=1)
    was = serializers.CharField(required=False, allow_null=True, allow_blank=True, default=None, max_length=60)


class NewPicture(Upload):
    checkpoint = serializers.CharField(max_length=60)


class Removed(serializers.Serializer[Any]):
    balloons = serializers.IntegerField()


class PictureKept(serializers.Serializer[Any]):
    checkpoint = serializers.CharField()
    address = serializers.CharField()


class DrawingsView(ActView):
    act = {"GET": Act.LOOK_AT_PLAN, "POST": Act.WRITE_PLAN}

    @extend_schema(responses={200: Drawings, 404: Refusal}, operation_id="PlanDrawings")
    def get(self, request: Request, uuid: UUID) -> Response:
        """The sheets of a revision, its balloons and reference pictures, and what lacks a balloon."""
        card = revision_card(uuid)
        checkpoints = checkpoints_of(card.id)
        body = {
            "sheets": [sheet_json(one) for one in sheets_of(card.id)],
            "balloons": [_balloon(one, one.balloon) for one in checkpoints if one.balloon],
            "without_balloon": [one.key for one in checkpoints if not one.balloon],
            "without_checkpoint": len(marks_of(card.id).astray),
            "pictures": {one.key: file_address(one.picture.file_uuid) for one in checkpoints if one.picture},
        }
        return Response(body)

    @extend_schema(request=NewSheet, responses={201: AddedSheets, 400: Refusal, 403: Refusal, 409: Refusal})
    def post(self, request: Request, uuid: UUID) -> Response:
        """Add a drawing to a draft: SVG, PNG, JPEG, or pages of a PDF, at most 3 MB here."""
        added = drawings.add_sheets(by=self.person, revision_uuid=uuid, at=self.at, **self.read(NewSheet))
        body = {"sheets": [sheet_json(one) for one in added.cards], "left_out": added.left_out}
        return Response(body, status=201)


class DrawingPagesView(ActView):
    act = {"POST": Act.WRITE_PLAN}

    @extend_schema(request=Upload, responses={200: DocumentPages, 400: Refusal, 403: Refusal})
    def post(self, request: Request, uuid: UUID) -> Response:
        """The pages of a PDF as small pictures, to choose from before any becomes a sheet; nothing is kept."""
        revision_card(uuid)
        pages = [
            {
                "page": one.page,
                "width": one.width,
                "height": one.height,
                "picture": base64.b64encode(one.content).decode(),
            }
            for one in small_pages(self.read(Upload)["content"])
        ]
        return Response({"pages": pages, "most": MOST_AT_ONCE})


class DrawingSheetView(ActView):
    act = {"DELETE": Act.WRITE_PLAN}

    @extend_schema(responses={200: Removed, 403: Refusal, 404: Refusal, 409: Refusal})
    def delete(self, request: Request, uuid: UUID, sheet: UUID) -> Response:
        """Take a sheet and its balloons out of a draft."""
        gone = drawings.remove_sheet(by=self.person, revision_uuid=uuid, sheet_uuid=sheet, at=self.at)
        return Response({"balloons": gone})


class BalloonsView(ActView):
    act = {"POST": Act.WRITE_PLAN}

    @extend_schema(request=NewBalloon, responses={200: BalloonPlace, 400: Refusal, 403: Refusal, 409: Refusal})
    def post(self, request: Request, uuid: UUID) -> Response:
        """Set or move a checkpoint's balloon in a draft."""
        given = self.read(NewBalloon)
        key = given["checkpoint"]
        across, down = (round(given[name] * PARTS) for name in ("across", "down"))
        drawings.place_balloon(
            by=self.person, revision_uuid=uuid, key=key, sheet_uuid=given["sheet"], across=across, down=down,
            was=given["was"], at=self.at,
        )  # fmt: skip
        placed = next(one for one in checkpoints_of(revision_card(uuid).id) if one.key == key)
        return Response(_balloon(placed, placed.balloon))


class BalloonView(ActView):
    act = {"DELETE": Act.WRITE_PLAN}

    @extend_schema(responses={204: None, 403: Refusal, 404: Refusal, 409: Refusal})
    def delete(self, request: Request, uuid: UUID, key: str) -> Response:
        """Take a checkpoint's balloon away in a draft."""
        drawings.remove_balloon(by=self.person, revision_uuid=uuid, key=key, at=self.at)
        return Response(status=204)


class PicturesView(ActView):
    act = {"POST": Act.WRITE_PLAN}

    @extend_schema(request=NewPicture, responses={201: PictureKept, 400: Refusal, 403: Refusal, 409: Refusal})
    def post(self, request: Request, uuid: UUID) -> Response:
        """Keep a checkpoint's reference picture in a draft: JPEG, PNG or WebP, at most 3 MB here."""
        given = self.read(NewPicture)
        key = given.pop("checkpoint")
        kept = drawings.set_picture(by=self.person, revision_uuid=uuid, key=key, at=self.at, **given)
        return Response({"checkpoint": key, "address": file_address(kept.file_uuid)}, status=201)


class PictureView(ActView):
    act = {"DELETE": Act.WRITE_PLAN}

    @extend_schema(responses={204: None, 403: Refusal, 404: Refusal, 409: Refusal})
    def delete(self, request: Request, uuid: UUID, key: str) -> Response:
        """Take a checkpoint's reference picture away in a draft."""
        drawings.remove_picture(by=self.person, revision_uuid=uuid, key=key, at=self.at)
        return Response(status=204)


class DrawingPdfView(ActView):
    act = {"GET": Act.LOOK_AT_PLAN}

    @extend_schema(responses={(200, "application/pdf"): OpenApiTypes.BINARY, 404: Refusal})
    def get(self, request: Request, uuid: UUID) -> HttpResponse:
        """The ballooned drawing as PDF; `?paper=letter`."""
        card = revision_card(uuid)
        paper = request.query_params.get("paper", "")
        data = drawing_pdf(card, checkpoints_of(card.id), sheets_of(card.id), paper)
        return HttpResponse(data, content_type="application/pdf")


def sheet_json(card: SheetCard) -> dict[str, Any]:
    """One sheet as plain values."""
    plain = ("number", "document_revision", "sheet", "title", "media_type", "width", "height", "digest")
    found = {name: getattr(card, name) for name in plain}
    return {"uuid": str(card.uuid), **found, "address": file_address(card.file_uuid)}


def file_address(uuid: UUID) -> str:
    """Where a kept file is read."""
    return reverse("evidence:file", args=[uuid])


def fraction(parts: int) -> str:
    """Hundred-thousandths as a fraction in text."""
    return f"{parts // PARTS}.{parts % PARTS:05d}"


def _balloon(card: CheckpointCard, balloon: Balloon | None) -> dict[str, Any]:
    assert balloon is not None  # noqa: S101 - the callers choose those that have one
    return {
        "checkpoint": card.key,
        "number": card.number,
        "sheet": str(balloon.sheet.uuid),
        "across": fraction(balloon.across),
        "down": fraction(balloon.down),
        "seen": balloon.seen,
    }
