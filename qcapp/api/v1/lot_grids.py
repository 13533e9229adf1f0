"""The sample of a lot as a grid: pieces beside checkpoints, and the numbers that accept and refuse."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from qcapp.core.errors import NotFound
from qcapp.gauges.queries import all_gauges
from qcapp.goods.queries.lots import SampleCard, sample_of
from qcapp.inspections.queries.sampled import Cell, grid_of
from qcapp.people.roles import Act
from qcapp.production.queries.as_built import lot_by_code, pieces_of

from ..acts import ActView, Refusal
from .bench import gauge_on_bench, limits_of
from .bench_shapes import BenchGauge, BenchPerson, BenchRevision

if TYPE_CHECKING:
    from qcapp.plans.queries import CheckpointCard


class GridLot(serializers.Serializer[Any]):
    code = serializers.CharField()
    family_name = serializers.CharField()
    quantity = serializers.IntegerField()
    severity = serializers.CharField()
    sentence = serializers.CharField(allow_blank=True, help_text="the verdict, once the lot is judged")


class GridClass(serializers.Serializer[Any]):
    name = serializers.CharField(help_text="major, minor")
    pieces = serializers.ListField(child=serializers.IntegerField(), help_text="numbers of the pieces that count")
    accept = serializers.IntegerField()
    reject = serializers.IntegerField()


class GridCheckpoint(serializers.Serializer[Any]):
    key = serializers.CharField()
    number = serializers.IntegerField()
    title = serializers.CharField()
    kind = serializers.CharField()
    criticality = serializers.CharField()
    band = serializers.DictField(allow_null=True)
    rule = serializers.CharField(allow_null=True)
    limits = serializers.CharField()
    unit_of_measure = serializers.CharField(allow_blank=True)
    decimals = serializers.IntegerField(allow_null=True)
    count_at_most = serializers.IntegerField(allow_null=True)
    count_at_least = serializers.IntegerField(allow_null=True)
    gauge_kinds = serializers.ListField(child=serializers.CharField())
    method = serializers.CharField(allow_blank=True)
    instruction = serializers.CharField(allow_blank=True)
    caution = serializers.CharField(allow_blank=True)
    on_bench = serializers.BooleanField(help_text="asks for more than one answer: it is given on the piece's bench")


class GridCell(serializers.Serializer[Any]):
    due = serializers.BooleanField()
    done = serializers.BooleanField()
    round = serializers.IntegerField()
    outcome = serializers.CharField(allow_null=True)
    nearest_limit = serializers.CharField(allow_blank=True)
    value = serializers.CharField(allow_null=True)
    operation = serializers.UUIDField(allow_null=True)


class GridPiece(serializers.Serializer[Any]):
    number = serializers.IntegerField()
    serial = serializers.CharField()
    cells = serializers.DictField(child=GridCell(), help_text="by the checkpoint's key")


class LotGrid(serializers.Serializer[Any]):
    lot = GridLot()
    person = BenchPerson()
    revision = BenchRevision()
    server_time = serializers.DateTimeField()
    classes = GridClass(many=True)
    checkpoints = GridCheckpoint(many=True)
    pieces = GridPiece(many=True)
    gauges = BenchGauge(many=True)


class LotSampleView(ActView):
    """The sample of one lot."""

    act = {"GET": Act.RECORD_RESULT}

    @extend_schema(responses={200: LotGrid, 401: Refusal, 403: Refusal, 404: Refusal})
    def get(self, request: Request, code: str) -> Response:
        """The drawn pieces with what is answered, and how many nonconforming ones accept or refuse the lot."""
        lot = lot_by_code(code)
        sample = sample_of(lot.id)
        if sample is None:
            raise NotFound("lot_not_sampled", f"No sample of lot {lot.code} is drawn yet; draw it first.")
        drawn = pieces_of(lot.id)
        grid = grid_of({unit.item_id: unit.number for _, unit in drawn})
        kinds = {kind for card in grid.checkpoints for kind in card.gauge_kinds}
        person, revision = self.person, grid.revision
        names = ("badge", "name", "initials", "language")
        return Response({
            "lot": {
                "code": lot.code, "family_name": lot.family_name, "quantity": lot.quantity,
                "severity": sample.severity, "sentence": sample.sentence,
            },
            "person": {name: getattr(person, name) for name in names},
            "revision": {"uuid": str(revision.uuid), "letter": revision.letter, "state": revision.state},
            "server_time": self.at.isoformat(),
            "classes": _classes(sample),
            "checkpoints": [_asked(card) for card in grid.checkpoints],
            "pieces": [
                {"number": number, "serial": unit.serial, "cells": _cells(grid.checkpoints, grid.cells[unit.item_id])}
                for number, unit in drawn
            ],
            "gauges": [gauge_on_bench(card) for card in all_gauges(self.at) if card.kind_key in kinds],
        })  # fmt: skip


def _classes(sample: SampleCard) -> list[dict[str, Any]]:
    return [
        {"name": name, "pieces": plan["pieces"], "accept": plan["accept"], "reject": plan["reject"]}
        for name, plan in sample.plans.items()
    ]


def _asked(card: CheckpointCard) -> dict[str, Any]:
    spec = card.spec_json
    band = getattr(card.spec, "band", None) if card.kind != "count" else None
    names = ("key", "number", "title", "kind", "criticality", "unit_of_measure", "method", "instruction", "caution")
    more = card.second_inspection or card.photo or bool(card.setup or card.temperature_text)
    more = more or (spec.get("readings") or 1) > 1
    return {name: getattr(card, name) for name in names} | {
        "band": band.to_json() if band else None,
        "rule": spec.get("rule"),
        "limits": limits_of(card),
        "decimals": spec.get("decimals"),
        "count_at_most": spec.get("accept"),
        "count_at_least": spec.get("at_least"),
        "gauge_kinds": list(card.gauge_kinds),
        "on_bench": more or card.kind == "derived",
    }


def _cells(cards: tuple[CheckpointCard, ...], row: Mapping[int, Cell]) -> dict[str, Any]:
    return {card.key: _cell(row[card.id]) for card in cards}


def _cell(cell: Cell) -> dict[str, Any]:
    hidden = not cell.done  # a first answer stays away from who gives the second
    said = next((cell.answer[name] for name in ("value", "count", "text") if name in cell.answer), None)
    return {
        "due": cell.due,
        "done": cell.done,
        "round": cell.round,
        "outcome": None if hidden else cell.outcome,
        "nearest_limit": "" if hidden else cell.nearest_limit,
        "value": None if hidden or said is None else str(said),
        "operation": str(cell.operation) if cell.operation and not hidden else None,
    }
