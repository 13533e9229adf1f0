"""Stored rows as answers: the only place that reads the result tables for screens."""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any
from uuid import UUID

from django.db.models import Q, QuerySet

from qcapp.core.checkpoints.kinds import kind, passes

from ..models import (
    Adoption,
    Applicability,
    CarriedAnswer,
    CurrentAnswer,
    Reinspection,
    Result,
    ResultDecision,
    StageSignOff,
)
from ..states import NEAR_LIMIT
from .shapes import AnswerView, DecisionView, NotApplicable

if TYPE_CHECKING:
    from qcapp.plans.queries import CheckpointCard

Slot = tuple[int, int, int]  # checkpoint, round, inspection

COLUMNS = (
    "id", "operation", "checkpoint_id", "round", "inspection", "purpose", "answer", "raw", "outcome", "excess",
    "nearest_limit", "gauge__number", "expanded_uncertainty", "person_id", "person__uuid", "person__name",
    "person__initials", "device", "recorded_at", "received_at", "reason", "flags", "replaces",
)  # fmt: skip
FLAGS_AT, OUTCOME_AT, PURPOSE_AT = COLUMNS.index("flags"), COLUMNS.index("outcome"), COLUMNS.index("purpose")


@dataclass(frozen=True)
class SignOffRow:
    """A sign-off as stored; whether it still holds depends on the answers that count now."""

    stage_id: int
    uuid: UUID
    covers: str
    answers: int
    at: Any
    person_id: int
    person_name: str
    role: str
    deputy_for_name: str
    meaning: str
    method: str


def adopted_revision(item_id: int) -> tuple[UUID, int, str] | None:
    """Identifier, key and present state of the plan revision that the item is inspected to now."""
    rows = Adoption.objects.filter(item=item_id).order_by("-id")
    return rows.values_list("revision__uuid", "revision_id", "revision__status__state").first()


def units_adopted(serials: Iterable[str]) -> dict[str, tuple[int, UUID, int, str]]:
    """For each serial that is a unit with a plan: the unit's key, and its revision as `adopted_revision` gives it."""
    rows = Adoption.objects.filter(item__unit__serial__in=list(serials)).order_by("id")
    columns = (
        "item__unit__serial", "item__unit__id", "revision__uuid", "revision_id", "revision__status__state",
    )  # fmt: skip
    return {serial: (unit, uuid, key, state) for serial, unit, uuid, key, state in rows.values_list(*columns)}


def current_slots(item_id: int) -> dict[Slot, UUID]:
    """The operation that stands in each slot of the item."""
    rows = CurrentAnswer.objects.filter(item=item_id)
    columns = ("checkpoint_id", "round", "inspection", "result__operation")
    return {(checkpoint, turn, inspection): op for checkpoint, turn, inspection, op in rows.values_list(*columns)}


Rounds = Mapping[int, Sequence[tuple[int, str]]]


def reopenings_of(item_id: int) -> dict[int, list[tuple[int, str]]]:
    """For each reopened checkpoint the rounds opened and what opened them, the current one last."""
    return reopenings_of_items([item_id]).get(item_id, {})


def reopenings_of_items(item_ids: Collection[int]) -> dict[int, dict[int, list[tuple[int, str]]]]:
    """`reopenings_of` for several items in one query."""
    found: dict[int, dict[int, list[tuple[int, str]]]] = defaultdict(lambda: defaultdict(list))
    rows = Reinspection.objects.filter(item__in=item_ids).order_by("round")
    for item, checkpoint, turn, source in rows.values_list("item_id", "checkpoint_id", "round", "source"):
        found[item][checkpoint].append((turn, source))
    return {item: dict(of_item) for item, of_item in found.items()}


def rounds_of(item_id: int) -> dict[int, tuple[int, str]]:
    """The current round of each reopened checkpoint, and what reopened it; the others are in round 1."""
    return {checkpoint: opened[-1] for checkpoint, opened in reopenings_of(item_id).items()}


def standing_answers(item_id: int, cards: Mapping[int, CheckpointCard]) -> dict[Slot, list[AnswerView]]:
    """The heads of every slot of the item: one answer each, or all answers of a conflict, the latest last."""
    current = list(Result.objects.filter(current_for__item=item_id).values_list(*COLUMNS, "current_for__conflict"))
    decidable = any(row[FLAGS_AT] or row[OUTCOME_AT] == NEAR_LIMIT for row in current)
    decisions = decisions_of(Q(result__item=item_id)) if decidable else {}
    decisions = _inherited(current) | decisions if decidable else decisions
    found: dict[Slot, list[AnswerView]] = defaultdict(list)
    conflicts = []
    for row in current:
        if row[-1]:
            conflicts.append(row[2:5])
            continue
        if row[2] in cards:
            found[row[2:5]].append(view(row, cards[row[2]], decisions))
    if conflicts:
        found.update(_conflicting(item_id, conflicts, cards, decisions))
    return dict(found)


def _conflicting(
    item_id: int,
    slots: list[Slot],
    cards: Mapping[int, CheckpointCard],
    decisions: Mapping[int, tuple[DecisionView, ...]],
) -> dict[Slot, list[AnswerView]]:
    from .slots import heads

    wanted = Q()
    for checkpoint, turn, inspection in slots:
        wanted |= Q(checkpoint=checkpoint, round=turn, inspection=inspection)
    rows: dict[Slot, list[AnswerView]] = defaultdict(list)
    for row in Result.objects.filter(wanted, item=item_id).order_by("id").values_list(*COLUMNS):
        if row[2] in cards:
            rows[row[2:5]].append(view(row, cards[row[2]], decisions))
    return {slot: heads(answers) for slot, answers in rows.items()}


def answers(results: QuerySet[Result], cards: Mapping[int, CheckpointCard]) -> list[AnswerView]:
    """The results of a queryset as answers, in its order; those of checkpoints without a card are left out."""
    rows = list(results.values_list(*COLUMNS))
    decidable = [row[0] for row in rows if row[FLAGS_AT] or row[OUTCOME_AT] == NEAR_LIMIT]
    decisions = decisions_of(Q(result__in=decidable)) if decidable else {}
    return [view(row, cards[row[2]], decisions) for row in rows if row[2] in cards]


def view(row: tuple[Any, ...], card: CheckpointCard, decisions: Mapping[int, tuple[DecisionView, ...]]) -> AnswerView:
    """One row of COLUMNS as an answer."""
    fields = dict(zip(FIELDS, row, strict=False))
    answer = json.loads(fields["answer"])
    return AnswerView(
        **fields
        | {
            "answer": answer,
            "described": describe(answer, card),
            "passes": passes(fields["outcome"]),
            "gauge_number": fields["gauge_number"] or "",
            "flags": tuple(fields["flags"]),
            "replaces": tuple(fields["replaces"]),
            "decisions": decisions.get(fields["result_id"], ()),
        }
    )


FIELDS = (
    "result_id", "operation", "checkpoint_id", "round", "inspection", "purpose", "answer", "raw", "outcome", "excess",
    "nearest_limit", "gauge_number", "expanded_uncertainty", "person_id", "person_uuid", "person_name",
    "person_initials", "device", "recorded_at", "received_at", "reason", "flags", "replaces",
)  # fmt: skip


def describe(answer: dict[str, Any], card: CheckpointCard) -> str:
    """What was answered, in a few words with the unit of measure."""
    reader = kind(card.kind)
    return reader.describe_answer(reader.read_answer(answer, card.spec), card.spec)


def decisions_of(which: Q) -> dict[int, tuple[DecisionView, ...]]:
    """The decisions on each result, the oldest first."""
    rows = ResultDecision.objects.filter(which).order_by("id")
    found: dict[int, list[DecisionView]] = defaultdict(list)
    columns = ("result_id", "about", "accepted", "reason", "signature__person__name", "at")
    for row in _plain(rows, columns):
        found[row[0]].append(DecisionView(*row[1:]))
    return {result: tuple(decided) for result, decided in found.items()}


def excluded_of_items(item_ids: Collection[int]) -> dict[int, frozenset[int]]:
    """For each item the characteristics of which it was decided that they do not apply; one query."""
    latest: dict[int, dict[int, bool]] = defaultdict(dict)
    rows = Applicability.objects.filter(item__in=item_ids).order_by("id")
    for item, characteristic, applies in rows.values_list("item_id", "characteristic_id", "applies"):
        latest[item][characteristic] = applies
    return {item: frozenset(c for c, applies in of.items() if not applies) for item, of in latest.items()}


def not_applicable(item_id: int) -> dict[int, NotApplicable]:
    """The decisions in force that a characteristic does not apply to the item; one query."""
    found: dict[int, NotApplicable | None] = {}
    columns = ("characteristic_id", "applies", "reason", "signature__person__name", "signature__role", "at")
    for characteristic, applies, *said in _plain(Applicability.objects.filter(item=item_id).order_by("id"), columns):
        found[characteristic] = None if applies else NotApplicable(*said)
    return {characteristic: decision for characteristic, decision in found.items() if decision}


def _inherited(current: Sequence[tuple[Any, ...]]) -> dict[int, tuple[DecisionView, ...]]:
    """For answers near limit that were carried over unchanged: the decisions made on them before, however far back."""
    wanted = [row[0] for row in current if row[PURPOSE_AT] == "carried" and row[OUTCOME_AT] == NEAR_LIMIT]
    origin = {result: result for result in wanted}
    while wanted:
        rows = CarriedAnswer.objects.filter(result__in=wanted, how=CarriedAnswer.How.CARRIED)
        steps = dict(rows.values_list("result_id", "source_id"))
        origin = {result: steps.get(source, source) for result, source in origin.items()}
        wanted = list(steps.values())
    decided = decisions_of(Q(result__in=set(origin.values()), about=NEAR_LIMIT)) if origin else {}
    return {result: decided[source] for result, source in origin.items() if source in decided}


def sign_offs_of(item_id: int) -> dict[int, SignOffRow]:
    """The latest sign-off of each stage of the item, by stage."""
    return sign_offs_of_items([item_id]).get(item_id, {})


def sign_offs_of_items(item_ids: Collection[int]) -> dict[int, dict[int, SignOffRow]]:
    """The latest sign-off of each stage of each item."""
    rows = StageSignOff.objects.filter(item__in=item_ids).order_by("id")
    columns = (
        "item_id", "stage_id", "uuid", "covers", "answers", "at", "signature__person_id", "signature__person__name",
        "signature__role", "signature__deputy_for__name", "signature__meaning", "signature__method",
    )  # fmt: skip
    found: dict[int, dict[int, SignOffRow]] = defaultdict(dict)
    for row in _plain(rows, columns):
        found[row[0]][row[1]] = SignOffRow(*row[1:9], row[9] or "", *row[10:])  # type: ignore[call-arg]  # 11 in all
    return dict(found)


# ---------------------------------------------------------------------------------------------- many at once


@dataclass(frozen=True)
class Light:
    """As much of a standing answer as progress is counted by."""

    operation: UUID
    outcome: str
    nearest_limit: str
    answer: str


def light_answers(item_ids: Collection[int]) -> dict[int, tuple[dict[Slot, Light], set[Slot]]]:
    """The standing answers of several items, and which of their slots are in conflict; one query."""
    found: dict[int, tuple[dict[Slot, Light], set[Slot]]] = defaultdict(lambda: ({}, set()))
    columns = (
        "item_id", "checkpoint_id", "round", "inspection", "conflict", "result__operation", "result__outcome",
        "result__nearest_limit", "result__answer",
    )  # fmt: skip
    for row in _plain(CurrentAnswer.objects.filter(item__in=item_ids), columns):
        answers, conflicts = found[row[0]]
        answers[row[1:4]] = Light(*row[5:])
        if row[4]:
            conflicts.add(row[1:4])
    return dict(found)


def _plain(rows: QuerySet[Any], columns: Sequence[str]) -> Iterable[tuple[Any, ...]]:
    """The columns of the rows as tuples, whose types only the caller knows."""
    return rows.values_list(*columns)


def adoptions_of_items(item_ids: Collection[int]) -> dict[int, tuple[UUID, int, str]]:
    """`adopted_revision` for several items in one query."""
    rows = Adoption.objects.filter(item__in=item_ids).order_by("id")
    columns = ("item_id", "revision__uuid", "revision_id", "revision__status__state")
    return {item: (uuid, key, state) for item, uuid, key, state in rows.values_list(*columns)}


def items_in_build(limit: int) -> list[int]:
    """Items whose units are in build, the newest first."""
    rows = Adoption.objects.filter(item__unit__state="in_build").order_by("-item__unit__opened_at", "-item_id")
    return list(dict.fromkeys(rows.values_list("item_id", flat=True)[: limit * 2]))[:limit]
