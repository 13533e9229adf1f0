"""Drafts of plans: begin one, read its rows, edit them one act at a time, bring a file in, discard it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any
from uuid import UUID

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from qcapp.core.errors import Refused
from qcapp.people.roles import Act
from qcapp.plans import services
from qcapp.plans.comparison import differences
from qcapp.plans.draft_rows import Paper, ReadPaper
from qcapp.plans.plan_file import MAX_BYTES
from qcapp.plans.queries import revision_card
from qcapp.plans.queries.drafts import cards_for, draft_card
from qcapp.plans.services import editing, staging
from qcapp.plans.services.beginning import discard, revise
from qcapp.plans.services.editing import Edited

from ..acts import ActView, Refusal
from .drawings import Upload
from .plans import Reason, Revision, revision_json


class DraftRowShape(serializers.Serializer[Any]):
    id = serializers.IntegerField(help_text="stays with the row through every edit")
    cells = serializers.DictField(child=serializers.CharField(), help_text="by the columns of the plan file")
    findings = serializers.ListField(child=serializers.DictField(), help_text="what is wrong with it")


class DraftShape(serializers.Serializer[Any]):
    version = serializers.IntegerField()
    complete = serializers.BooleanField(help_text="nothing is wrong: it can go to review")
    rows = DraftRowShape(many=True)
    undo = serializers.CharField(allow_blank=True, help_text="what an undo would take back, in words")


class DraftEdit(serializers.Serializer[Any]):
    act = serializers.ChoiceField(
        choices=[
            "cell", "set", "insert", "duplicate", "delete", "up", "down", "place", "renumber", "undo",
            "add_stage", "change_stage",
        ]
    )  # fmt: skip
    row = serializers.IntegerField(required=False, allow_null=True, default=None, help_text="cell, insert, place")
    ids = serializers.ListField(child=serializers.IntegerField(), required=False, default=list, max_length=2000)
    column = serializers.CharField(required=False, default="", max_length=60)
    text = serializers.CharField(required=False, default="", allow_blank=True, max_length=1000)
    was = serializers.CharField(
        required=False, default="", allow_blank=True, max_length=1000, help_text="what the cell held when it was read"
    )
    below = serializers.BooleanField(required=False, default=True)
    version = serializers.IntegerField(required=False, default=0, help_text="undo: of the draft that was seen")
    stage = serializers.CharField(required=False, default="", allow_blank=True, max_length=6)
    name = serializers.CharField(required=False, default="", allow_blank=True, max_length=200)
    hold_point = serializers.BooleanField(required=False, default=False)
    witness_point = serializers.BooleanField(required=False, default=False)


class DraftEdited(serializers.Serializer[Any]):
    version = serializers.IntegerField()
    said = serializers.CharField(allow_blank=True, help_text="the step in words; empty when nothing changed")
    focus = serializers.IntegerField(allow_null=True)
    order = serializers.ListField(child=serializers.IntegerField(), help_text="every row's id, in order")
    changed = DraftRowShape(many=True)


class DraftFile(Upload):
    version = serializers.IntegerField(required=False, default=0, help_text="needed with “keep”")
    keep = serializers.BooleanField(required=False, default=False)


class DraftFileRead(serializers.Serializer[Any]):
    version = serializers.IntegerField()
    formulas = serializers.IntegerField(help_text="cells whose formula was taken as its value")
    differences = serializers.ListField(child=serializers.DictField())


class NextRevision(serializers.Serializer[Any]):
    change_note = serializers.CharField(max_length=300, required=False, allow_blank=True, default="")


class ReviseView(ActView):
    act = {"POST": Act.WRITE_PLAN}

    @extend_schema(request=NextRevision, responses={201: Revision, 403: Refusal, 404: Refusal, 409: Refusal})
    def post(self, request: Request, uuid: UUID) -> Response:
        """Begin the family's next revision as a draft with the content of this one."""
        card = revise(by=self.person, revision_uuid=uuid, at=self.at, **self.read(NextRevision))
        return Response(revision_json(card), status=201)


class DiscardView(ActView):
    act = {"POST": Act.WRITE_PLAN}

    @extend_schema(request=Reason, responses={200: Revision, 403: Refusal, 404: Refusal, 409: Refusal})
    def post(self, request: Request, uuid: UUID) -> Response:
        """Discard a draft; its letter and numbers are free again."""
        card = discard(by=self.person, revision_uuid=uuid, reason=self.read(Reason)["reason"], at=self.at)
        return Response(revision_json(card))


class DraftView(ActView):
    act = {"GET": Act.LOOK_AT_PLAN, "POST": Act.WRITE_PLAN}

    @extend_schema(responses={200: DraftShape, 404: Refusal, 409: Refusal}, operation_id="PlanDraft")
    def get(self, request: Request, uuid: UUID) -> Response:
        """The rows of a draft with what is wrong with each."""
        card = revision_card(uuid)
        found = draft_card(card.id, card.family_id)
        if found is None:
            raise Refused("not_a_draft", f"Revision {card.letter} is {card.state_label}; it has no draft.")
        body = {
            "version": found.version,
            "complete": found.read.complete,
            "rows": [_row(found.read, row.id) for row in found.paper.rows],
            "undo": found.last.said if found.last else "",
        }
        return Response(body)

    @extend_schema(
        request=DraftEdit, responses={200: DraftEdited, 400: Refusal, 403: Refusal, 409: Refusal},
        operation_id="PlanDraftEdit",
    )  # fmt: skip
    def post(self, request: Request, uuid: UUID) -> Response:
        """One edit: a cell, rows, a stage, or an undo. It is one step that can be undone."""
        given = self.read(DraftEdit)
        edited = EDITS[given["act"]](given, {"by": self.person, "revision_uuid": uuid, "at": self.at})
        return Response(_edited(edited))


Known = dict[str, Any]
EDITS: dict[str, Callable[[Known, Known], Edited]] = {
    "cell": lambda given, known: editing.set_cell(
        row_id=given["row"] or 0, column=given["column"], text=given["text"], was=given["was"], **known
    ),
    "set": lambda given, known: editing.set_field(
        ids=given["ids"], column=given["column"], text=given["text"], **known
    ),
    "insert": lambda given, known: editing.insert_row(
        beside=given["row"], below=given["below"], stage=given["stage"], **known
    ),
    "duplicate": lambda given, known: editing.duplicate_rows(ids=given["ids"], **known),
    "delete": lambda given, known: editing.delete_rows(ids=given["ids"], **known),
    "up": lambda given, known: editing.move_rows(ids=given["ids"], step=-1, **known),
    "down": lambda given, known: editing.move_rows(ids=given["ids"], step=1, **known),
    "place": lambda given, known: editing.place_rows(
        ids=given["ids"], beside=given["row"] or 0, below=given["below"], **known
    ),
    "renumber": lambda given, known: editing.renumber_stage(stage=given["stage"], **known),
    "undo": lambda given, known: editing.undo(version=given["version"], **known),
    "add_stage": lambda given, known: staging.add_stage(number=given["stage"], name=given["name"], **known),
    "change_stage": lambda given, known: staging.change_stage(
        number=given["stage"], name=given["name"], hold_point=given["hold_point"],
        witness_point=given["witness_point"], **known,
    ),
}  # fmt: skip


class DraftFileView(ActView):
    act = {"POST": Act.WRITE_PLAN}

    @extend_schema(request=DraftFile, responses={200: DraftFileRead, 400: Refusal, 403: Refusal, 409: Refusal})
    def post(self, request: Request, uuid: UUID) -> Response:
        """What a plan file (CSV or XLSX in base64) would change in the draft; with `keep` the change itself."""
        given = self.read(DraftFile)
        card = revision_card(uuid)
        source = services.read_file(card.family_id, given["content"][: MAX_BYTES + 1])
        edited = editing.replace_rows(
            by=self.person, revision_uuid=uuid, version=given["version"], said="plan file imported",
            make=lambda paper, family_id, numbers: Paper.of_cells(source.rows, paper), keep=given["keep"], at=self.at,
        )  # fmt: skip
        before, after = (cards_for(card.family_id, read) for read in (edited.before, edited.after))
        found = [one.to_json() for one in differences(before, after)]
        return Response({"version": edited.version, "formulas": source.formulas, "differences": found})


def _edited(edited: Edited) -> dict[str, Any]:
    return {
        "version": edited.version,
        "said": edited.said,
        "focus": edited.focus,
        "order": [row.id for row in edited.after.paper.rows],
        "changed": [_row(edited.after, row_id) for row_id in edited.changed],
    }


def _row(read: ReadPaper, row_id: int) -> dict[str, Any]:
    row = read.paper.row(row_id)
    findings = read.findings.get(row_id, ())
    return {
        "id": row_id,
        "cells": {name: text for name, text in row.cells.items() if text} if row else {},
        "findings": [{"column": one.column, "code": one.code, "message": one.message} for one in findings],
    }
