"""What is made of plans: comparisons, blank sheets, plan files, a draft tried on units, who cites a drawing."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any
from uuid import UUID

from django.http import HttpResponse
from django.utils.text import get_valid_filename
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from qcapp.core.errors import Invalid, NotFound
from qcapp.inspections.queries.paper import sheets_for_unit
from qcapp.inspections.queries.trying import tried_on, units_inspected_to
from qcapp.inspections.queries.trying_capability import changed_capability
from qcapp.lib.tables import XLSX
from qcapp.people.roles import Act
from qcapp.plans.cards import RevisionCard
from qcapp.plans.comparison import differences
from qcapp.plans.plan_file import COLUMNS
from qcapp.plans.prints import blank_sheets, comparison_pdf, stages_asked
from qcapp.plans.queries import checkpoints_of, checkpoints_of_card, previous_of, revision_card
from qcapp.plans.queries.citing import revisions_citing
from qcapp.plans.services.beginning import export_cells, export_plan
from qcapp.plans.workbook import write_workbook

from ..acts import ActView, Refusal
from ..errors import plain

PDF = {(200, "application/pdf"): OpenApiTypes.BINARY, 404: Refusal}
PAPER = OpenApiParameter("paper", OpenApiTypes.STR, description="“letter”; A4 otherwise")
STAGE = OpenApiParameter("stage", OpenApiTypes.STR, description="a stage's number; all of them otherwise")
WITH = OpenApiParameter("with", OpenApiTypes.UUID, description="another revision; otherwise the one released before")
MOST_UNITS = 200


class Comparison(serializers.Serializer[Any]):
    revision = serializers.CharField()
    other = serializers.CharField()
    differences = serializers.ListField(child=serializers.DictField())


class TriedOn(serializers.Serializer[Any]):
    units = serializers.ListField(child=serializers.CharField())
    judged = serializers.IntegerField()
    fall_out = serializers.IntegerField(help_text="values that pass as recorded and would not pass")
    others = serializers.ListField(child=serializers.DictField(), help_text="verdicts that would be other ones")
    capability = serializers.ListField(child=serializers.DictField())


class CitingList(serializers.Serializer[Any]):
    revisions = serializers.ListField(child=serializers.DictField())


def _pdf(data: bytes) -> HttpResponse:
    return HttpResponse(data, content_type="application/pdf")


def _pair(request: Request, uuid: UUID) -> tuple[RevisionCard, RevisionCard]:
    """The revision to compare with, and the revision. Raises NotFound `nothing_to_compare`."""
    card = revision_card(uuid)
    asked = request.query_params.get("with")
    other = revision_card(asked) if asked else previous_of(card.id)
    if other is None:
        raise NotFound("nothing_to_compare", "There is no other revision to hold this one against.")
    return other, card


class CompareView(ActView):
    act = {"GET": Act.LOOK_AT_PLAN}

    @extend_schema(parameters=[WITH], responses={200: Comparison, 404: Refusal}, operation_id="PlanCompare")
    def get(self, request: Request, uuid: UUID) -> Response:
        """What the revision changes against another one: added, removed, limits tightened or loosened, text."""
        other, card = _pair(request, uuid)
        found = differences(checkpoints_of_card(other), checkpoints_of_card(card))
        body = {"revision": card.letter, "other": other.letter, "differences": [one.to_json() for one in found]}
        return Response(body)


class ComparePdfView(ActView):
    act = {"GET": Act.LOOK_AT_PLAN}

    @extend_schema(parameters=[WITH, PAPER], responses=PDF)
    def get(self, request: Request, uuid: UUID) -> HttpResponse:
        """The comparison as PDF, with the limits drawn."""
        other, card = _pair(request, uuid)
        old, new = checkpoints_of_card(other), checkpoints_of_card(card)
        return _pdf(comparison_pdf(other, card, old, new, differences(old, new), request.query_params.get("paper", "")))


class BlankSheetsView(ActView):
    act = {"GET": Act.LOOK_AT_PLAN}

    @extend_schema(parameters=[STAGE, PAPER], responses=PDF)
    def get(self, request: Request, uuid: UUID) -> HttpResponse:
        """Blank inspection sheets of the plan."""
        card = revision_card(uuid)
        stages = stages_asked(card, request.query_params.get("stage", ""))
        return _pdf(blank_sheets(card, stages, checkpoints_of_card(card), request.query_params.get("paper", "")))


class UnitSheetsView(ActView):
    act = {"GET": Act.LOOK_UP_UNIT}

    @extend_schema(parameters=[STAGE, PAPER], responses=PDF)
    def get(self, request: Request, serial: str) -> HttpResponse:
        """Blank inspection sheets of a unit, with what is due on it and a code that leads to keying them in."""
        found = sheets_for_unit(serial, request.query_params.get("stage", ""), viewer=self.person, at=self.at)
        return _pdf(
            blank_sheets(
                found.revision, found.stages, found.checkpoints, request.query_params.get("paper", ""), found.wanted
            )
        )


class PlanFileView(ActView):
    act = {"GET": Act.LOOK_AT_PLAN}

    @extend_schema(
        responses={(200, "text/csv"): OpenApiTypes.STR, (200, XLSX): OpenApiTypes.BINARY, 404: Refusal},
        operation_id="PlanFile",
    )
    def get(self, request: Request, uuid: UUID, ending: str) -> HttpResponse:
        """The revision as a plan file that can be imported again: `csv` or `xlsx`."""
        card = revision_card(uuid)
        name = get_valid_filename(f"{card.family_code}-{card.letter}.{ending}")
        headers = {"Content-Disposition": f'attachment; filename="{name}"'}
        if ending == "csv":
            return HttpResponse(export_plan(card.id), content_type="text/csv; charset=utf-8", headers=headers)
        if ending != "xlsx":
            raise NotFound("file_unknown", "A plan file is csv or xlsx.")
        data = write_workbook(COLUMNS, export_cells(card.id), f"{card.family_code} revision {card.letter}")
        return HttpResponse(data, content_type=XLSX, headers=headers)


class TryView(ActView):
    act = {"GET": Act.LOOK_AT_PLAN}

    @extend_schema(
        parameters=[OpenApiParameter("units", OpenApiTypes.INT, description=f"the last 1 to {MOST_UNITS}; 40")],
        responses={200: TriedOn, 400: Refusal, 404: Refusal},
        operation_id="PlanTry",
    )
    def get(self, request: Request, uuid: UUID) -> Response:
        """What the revision's limits would have said about the last units."""
        card = revision_card(uuid)
        asked = request.query_params.get("units", "40")
        if not (asked.isascii() and asked.isdigit() and 1 <= int(asked[:6]) <= MOST_UNITS):
            raise Invalid("units_unreadable", f"Ask for 1 to {MOST_UNITS} units.", field="units")
        cards, before = checkpoints_of(card.id), previous_of(card.id)
        tried = tried_on(card.family_id, cards, int(asked), viewer=self.person)
        changed = changed_capability(card.family_id, checkpoints_of(before.id), cards, int(asked)) if before else []
        body = {
            "units": list(tried.units),
            "judged": tried.judged,
            "fall_out": tried.fall_out,
            "others": [plain(asdict(one)) for one in tried.others],
            "capability": [plain(asdict(one)) for one in changed],
        }
        return Response(body)


class CitingView(ActView):
    act = {"GET": Act.LOOK_UP_UNIT}

    @extend_schema(
        parameters=[OpenApiParameter("q", OpenApiTypes.STR, description="a number, or number and revision: “AQ-1 C”")],
        responses={200: CitingList},
        operation_id="Citing",
    )
    def get(self, request: Request) -> Response:
        """From a drawing's or specification's number to plan revisions that cite it, to units inspected to them."""
        asked = request.query_params.get("q", "").strip()[:60]
        found = revisions_citing(asked) if asked else []
        units = units_inspected_to([one.revision.id for one in found])
        rows = [
            {
                "uuid": str(one.revision.uuid),
                "family": one.revision.family_code,
                "letter": one.revision.letter,
                "state": one.revision.state,
                "documents": [asdict(document) for document in one.documents],
                "checkpoints": list(one.numbers),
                "units": [unit.serial for unit in units.get(one.revision.id, [])],
            }
            for one in found
        ]
        return Response({"revisions": rows})
