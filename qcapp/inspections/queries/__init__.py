"""Readers of inspections: where a unit stands, what counts, what is not proven, what happened. Never a write.

The dataclasses are in `shapes`. `viewer` is the person who looks: without one, or for anyone who could still give the
second inspection, first answers stay hidden until the second is given.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from functools import lru_cache
from typing import TYPE_CHECKING
from uuid import UUID

from django.db import connection
from django.db.models import QuerySet
from django.utils import timezone

from qcapp.core.errors import NotFound
from qcapp.people.queries import may
from qcapp.people.roles import Act
from qcapp.plans.queries import CheckpointCard, RevisionCard, StageCard, checkpoints_of, revision_card
from qcapp.production.queries import (
    UnitCard,
    open_holds,
    unit_by_serial,
    unit_of_item,
    units_of_items,
)

from ..models import Result
from ..states import NEAR_LIMIT, CheckpointState, Flag
from . import loading
from .loading import adopted_revision, standing_answers
from .shapes import AnswerView, CheckpointView, InspectionView, Progress, StageStanding, StageView, Unproven
from .standing import (
    checkpoint_view,
    covers,
    due_checkpoints,
    inputs_of,
    is_answered,
    owes_second,
    stage_operations,
    stage_view,
)
from .witnesses import latest_witnesses

if TYPE_CHECKING:
    from qcapp.people.models import Person

TRACE_LENGTH = 20


@dataclass(frozen=True)
class Adopted:
    """The plan revision that an item is inspected to, with its cards."""

    revision: RevisionCard
    stages: tuple[StageCard, ...]
    checkpoints: tuple[CheckpointCard, ...]


@dataclass(frozen=True)
class Place:
    """The result, item and checkpoint of a stored operation."""

    operation: UUID
    result_id: int
    item_id: int
    checkpoint_id: int


def adopted(item_id: int) -> Adopted:
    """The plan of an item. Raises NotFound `no_plan_adopted`."""
    found = adopted_revision(item_id)
    if found is None:
        raise NotFound("no_plan_adopted", "No inspection plan was adopted for this unit; open it as a unit first.")
    return plan_of(*found)


def plan_of(uuid: UUID, revision_id: int, state: str) -> Adopted:
    """The plan of an adopted revision that stands in `state` now."""
    plan = _frozen_plan(uuid, revision_id)
    if plan.revision.state == state:
        return plan
    return replace(plan, revision=revision_card(uuid))


@lru_cache(maxsize=64)
def _frozen_plan(uuid: UUID, revision_id: int) -> Adopted:
    """A plan is adopted once it is released, and then only its state changes. Kept by uuid and key."""
    card = revision_card(uuid)
    return Adopted(card, card.stages, tuple(checkpoints_of(revision_id)))


def rounds_of(item_id: int) -> dict[int, tuple[int, str]]:
    """The current round of each reopened checkpoint and what reopened it, by checkpoint; others are in round 1."""
    return loading.rounds_of(item_id)


def inspection_of(serial: str, *, viewer: Person | None = None, at: datetime | None = None) -> InspectionView:
    """The whole inspection of the unit. Raises NotFound `serial_unknown` or `no_plan_adopted`."""
    return inspection_of_unit(unit_by_serial(serial), viewer=viewer, at=at)


def inspection_of_unit(unit: UnitCard, *, viewer: Person | None = None, at: datetime | None = None) -> InspectionView:
    """As `inspection_of`, for a unit at hand."""
    view = _whole(unit)
    pending = any(owes_second(checkpoint) for checkpoint in view.checkpoints)
    if not pending or (viewer and not may(viewer, Act.RECORD_RESULT, at or timezone.now())):
        return view
    return _with_secrets_kept(view, viewer.pk if viewer else None)


def _whole(unit: UnitCard) -> InspectionView:
    plan = adopted(unit.item_id)
    cards = {card.id: card for card in plan.checkpoints}
    reopened = loading.reopenings_of(unit.item_id)
    rounds = {checkpoint: opened[-1] for checkpoint, opened in reopened.items()}
    answers = standing_answers(unit.item_id, cards)
    excluded = loading.not_applicable(unit.item_id)
    due_ids = due_checkpoints(
        plan.checkpoints, unit.number, rounds, variant=unit.variant, excluded=excluded, drawn=unit.is_piece
    )
    views = [
        checkpoint_view(
            card,
            is_due=card.id in due_ids,
            opened=reopened.get(card.id, ()),
            answers=answers,
            excluded=excluded.get(card.characteristic_id),
        )
        for card in plan.checkpoints
    ]
    operations = {slot: rows[-1].operation for slot, rows in answers.items()}
    holds = open_holds(unit.item_id) if unit.on_hold else []
    signed = loading.sign_offs_of(unit.item_id)
    witnesses = latest_witnesses(unit.item_id) if any(one.witness_point for one in plan.stages) else {}
    stages = tuple(
        stage_view(
            stage,
            [view for view in views if view.card.stage_id == stage.id],
            operations=stage_operations(stage.id, plan.checkpoints, rounds, operations),
            holds=holds,
            signed=signed.get(stage.id),
            witness=witnesses.get(stage.number),
        )
        for stage in plan.stages
    )
    return InspectionView(unit, plan.revision, tuple(holds), stages, _progress(stages))


def _progress(stages: Iterable[StageView]) -> Progress:
    stages = list(stages)
    return Progress(
        due=sum(stage.due for stage in stages),
        answered=sum(stage.answered for stage in stages),
        stages=len(stages),
        stages_signed=sum(stage.signed for stage in stages),
    )


def _with_secrets_kept(view: InspectionView, viewer_id: int | None) -> InspectionView:
    """The view without first answers that wait for a second, and without what is derived from them."""
    secret = {
        checkpoint.card.key
        for checkpoint in view.checkpoints
        if owes_second(checkpoint) and not (checkpoint.first and checkpoint.first.person_id == viewer_id)
    }
    derived = {c.card.key: set(inputs_of(c.card)) for c in view.checkpoints}
    while following := {key for key, inputs in derived.items() if key not in secret and inputs & secret}:
        secret |= following
    stages = tuple(
        replace(
            stage,
            failing=0 if any(c.card.key in secret for c in stage.checkpoints) else stage.failing,
            near_limit=0 if any(c.card.key in secret for c in stage.checkpoints) else stage.near_limit,
            checkpoints=tuple(c.kept_secret() if c.card.key in secret else c for c in stage.checkpoints),
        )
        for stage in view.stages
    )
    return replace(view, stages=stages)


def stage_state(item_id: int) -> list[StageStanding]:
    """Each stage of the item in a line, in the plan's order."""
    return [standing_of(stage) for stage in _whole(unit_of_item(item_id)).stages]


def standing_of(stage: StageView) -> StageStanding:
    """The stage in a line."""
    missing = tuple(
        view.card.number
        for view in stage.checkpoints
        if view.state in (CheckpointState.OPEN, CheckpointState.IN_CONFLICT)
    )
    card = stage.card
    return StageStanding(
        number=card.number,
        name=card.name,
        hold_point=card.hold_point,
        witness_point=card.witness_point,
        state=stage.state,
        due=stage.due,
        answered=stage.answered,
        missing=missing,
        sign_off=stage.sign_off,
    )


def units_in_build(limit: int) -> list[UnitCard]:
    """The units in build that were opened last."""
    items = loading.items_in_build(limit)
    cards = units_of_items(items)
    return [cards[item] for item in items if item in cards]


def progress_of(item_ids: Iterable[int]) -> dict[int, Progress]:
    """How far each item's inspection has come; items without a plan are left out. A handful of queries for all."""
    items = list(item_ids)
    units, adoptions = units_of_items(items), loading.adoptions_of_items(items)
    answers, reopened = loading.light_answers(items), loading.reopenings_of_items(items)
    signed, excluded = loading.sign_offs_of_items(items), loading.excluded_of_items(items)
    return {
        item: _progress_of_one(
            units[item],
            _frozen_plan(*adoptions[item][:2]),
            {checkpoint: opened[-1] for checkpoint, opened in reopened.get(item, {}).items()},
            answers.get(item, ({}, set())),
            signed.get(item, {}),
            excluded.get(item, frozenset()),
        )
        for item in items
        if item in units and item in adoptions
    }


def _progress_of_one(
    unit: UnitCard,
    plan: Adopted,
    rounds: dict[int, tuple[int, str]],
    standing: tuple[dict[loading.Slot, loading.Light], set[loading.Slot]],
    signed: dict[int, loading.SignOffRow],
    excluded: frozenset[int],
) -> Progress:
    answers, conflicts = standing
    due_ids = due_checkpoints(
        plan.checkpoints, unit.number, rounds, variant=unit.variant, excluded=excluded, drawn=unit.is_piece
    )
    due = [card for card in plan.checkpoints if card.id in due_ids]
    answered = sum(is_answered(card, rounds.get(card.id, (1, ""))[0], answers, conflicts) for card in due)
    operations = {slot: answer.operation for slot, answer in answers.items()}
    valid = sum(
        row.covers == covers(stage_operations(stage, plan.checkpoints, rounds, operations))
        for stage, row in signed.items()
    )
    return Progress(len(due), answered, len(plan.stages), valid)


# --------------------------------------------------------------------------------------------------- proof


def unproven(item_id: int) -> list[Unproven]:
    """The answers that count now and are flagged, without a signed decision that accepts them."""
    return [
        Unproven(
            operation=answer.operation,
            checkpoint_number=view.card.number,
            checkpoint_title=view.card.title,
            stage_number=view.card.stage_number,
            about=flag,
            sentence=Flag(flag).sentence,
            decided=answer.decision_about(flag) is not None,
        )
        for view in _due_views(item_id)
        for answer in view.given
        for flag in answer.flags
        if not _accepted(answer, flag)
    ]


def open_near_limit_critical(item_id: int) -> list[Unproven]:
    """The answers near limit on critical checkpoints, without a signed decision that accepts them."""
    return [
        Unproven(
            operation=answer.operation,
            checkpoint_number=view.card.number,
            checkpoint_title=view.card.title,
            stage_number=view.card.stage_number,
            about=NEAR_LIMIT,
            sentence=f"{answer.described} is near its limit ({view.card.limits_text}).",
            decided=answer.decision_about(NEAR_LIMIT) is not None,
        )
        for view in _due_views(item_id)
        for answer in ([view.counts] if view.counts else [])
        if answer.outcome == NEAR_LIMIT and view.card.criticality == "critical"
        if not _accepted(answer, NEAR_LIMIT)
    ]


def failing(item_id: int) -> list[CheckpointView]:
    """The checkpoints due whose counting answer does not pass."""
    return [view for view in _due_views(item_id) if view.counts and not view.counts.passes]


def _accepted(answer: AnswerView, about: str) -> bool:
    decision = answer.decision_about(about)
    return decision is not None and decision.accepted


def _due_views(item_id: int) -> list[CheckpointView]:
    view = _whole(unit_of_item(item_id))
    return [c for c in view.checkpoints if c.state is not CheckpointState.NOT_DUE]


def counting_answer(item_id: int, key: str) -> CheckpointView:
    """One checkpoint of the item by its key. Raises NotFound `checkpoint_unknown`."""
    for view in _whole(unit_of_item(item_id)).checkpoints:
        if view.card.key == key:
            return view
    raise NotFound("checkpoint_unknown", f"The plan of this unit has no checkpoint {key}.", checkpoint=key)


def answer_of_operation(operation: UUID) -> AnswerView:
    """One stored answer by its operation. Raises NotFound `operation_unknown`."""
    result = Result.objects.filter(operation=operation).values_list("checkpoint__revision_id", flat=True).first()
    if result is None:
        raise NotFound("operation_unknown", "No result of that identifier is stored.", operation=str(operation))
    cards = {card.id: card for card in checkpoints_of(result)}
    return loading.answers(Result.objects.filter(operation=operation), cards)[0]


def places_of(operations: Iterable[str | UUID]) -> list[Place]:
    """Where each of these stored operations belongs; unknown ones are left out."""
    rows = Result.objects.filter(operation__in=list(operations))
    return [Place(*row) for row in rows.values_list("operation", "id", "item_id", "checkpoint_id")]


def answers_to(item_id: int, checkpoint_id: int) -> list[AnswerView]:
    """Every stored answer of the item to one checkpoint, superseded ones too, the oldest first."""
    results = Result.objects.filter(item=item_id, checkpoint=checkpoint_id).order_by("id")
    revision = results.values_list("checkpoint__revision_id", flat=True).first()
    if revision is None:
        return []
    return loading.answers(results, {card.id: card for card in checkpoints_of(revision)})


def trace(characteristic_id: int, before_result_id: int | None, n: int = TRACE_LENGTH) -> list[float]:
    """The last `n` plotted values of the characteristic before a result, the oldest first, one for each unit.

    What was replaced by a correction or a repeat is left out; charts only, never a verdict.
    """
    rows = _plotted(characteristic_id, before_result_id)[:n]
    return [value for _, value in reversed(rows) if value is not None]


def traces(before: Mapping[int, int], n: int = TRACE_LENGTH) -> dict[int, list[float]]:
    """`trace` for several characteristics, each before a result of its own; one query."""
    found: dict[int, list[float]] = {characteristic: [] for characteristic in before}
    parts = [_plotted(*pair)[:n].query.sql_with_params() for pair in before.items()]
    if parts:
        sql = " UNION ALL ".join(f"SELECT * FROM ({part}) AS t{place}" for place, (part, _) in enumerate(parts))  # noqa: S608
        with connection.cursor() as cursor:
            cursor.execute(sql, [parameter for _, parameters in parts for parameter in parameters])
            for characteristic, value in cursor.fetchall():
                found[characteristic].insert(0, value)
    return found


def _plotted(characteristic_id: int, before_result_id: int | None) -> QuerySet[Result, tuple[int, float | None]]:
    """The latest first."""
    rows = Result.objects.filter(
        characteristic=characteristic_id, plot__isnull=False, inspection=1, round=1, current_for__isnull=False
    )
    rows = rows.exclude(purpose=Result.Purpose.CARRIED)  # the same reading, which has its point already
    if before_result_id is not None:
        rows = rows.filter(id__lt=before_result_id)
    return rows.order_by("-id").values_list("characteristic_id", "plot")
