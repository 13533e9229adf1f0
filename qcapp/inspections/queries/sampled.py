"""The drawn pieces of a lot beside each other: what is answered at which checkpoint. A handful of queries for all."""

from __future__ import annotations

import json
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any
from uuid import UUID

from qcapp.core.checkpoints.kinds import passes

from . import adopted, loading, plan_of
from .standing import due_checkpoints, inputs_of, is_answered

if TYPE_CHECKING:
    from qcapp.plans.queries import CheckpointCard, RevisionCard
    from qcapp.production.queries import UnitCard


@dataclass(frozen=True)
class Cell:
    """One checkpoint on one piece. `outcome` is None while nothing is answered."""

    due: bool
    done: bool
    round: int
    outcome: str | None
    passes: bool
    nearest_limit: str
    answer: dict[str, Any]
    operation: UUID | None


@dataclass(frozen=True)
class PieceStanding:
    """How far a drawn piece is answered, and of which criticality the checkpoints are that it does not pass."""

    due: int
    answered: int
    failing: frozenset[str]


@dataclass(frozen=True)
class Grid:
    """The plan that the pieces are inspected to, its checkpoints, and the cells by item and checkpoint."""

    revision: RevisionCard
    checkpoints: tuple[CheckpointCard, ...]
    cells: Mapping[int, Mapping[int, Cell]]


def grid_of(numbers: Mapping[int, int]) -> Grid:
    """The grid of these pieces, given as their number in the lot by item; all of them on the plan of the first.

    Raises NotFound `no_plan_adopted`.
    """
    items = list(numbers)
    plan = adopted(items[0])
    answers, reopened = loading.light_answers(items), loading.reopenings_of_items(items)
    excluded = loading.excluded_of_items(items)
    cells = {}
    for item in items:
        rounds = {checkpoint: opened[-1] for checkpoint, opened in reopened.get(item, {}).items()}
        due = due_checkpoints(
            plan.checkpoints, numbers[item], rounds, excluded=excluded.get(item, frozenset()), drawn=True
        )
        cells[item] = _row(plan.checkpoints, due, rounds, answers.get(item, ({}, set())))
    return Grid(plan.revision, plan.checkpoints, cells)


def standing_of_pieces(units: Collection[UnitCard]) -> dict[int, PieceStanding]:
    """Each drawn piece by its item, on the plan that it was opened to; those without a plan are left out.

    Four queries, however many pieces. What waits for a second inspection, or is derived from it, is not told.
    """
    items = [unit.item_id for unit in units]
    adoptions, answers = loading.adoptions_of_items(items), loading.light_answers(items)
    reopened, excluded = loading.reopenings_of_items(items), loading.excluded_of_items(items)
    found = {}
    for unit in units:
        item = unit.item_id
        if item not in adoptions:
            continue
        cards = plan_of(*adoptions[item]).checkpoints
        rounds = {checkpoint: opened[-1] for checkpoint, opened in reopened.get(item, {}).items()}
        due = due_checkpoints(
            cards, unit.number, rounds, variant=unit.variant, excluded=excluded.get(item, frozenset()), drawn=True
        )
        row = _row(cards, due, rounds, answers.get(item, ({}, set())))
        found[item] = _standing(cards, row)
    return found


def _standing(cards: tuple[CheckpointCard, ...], row: Mapping[int, Cell]) -> PieceStanding:
    due = [row[card.id] for card in cards if row[card.id].due]
    waiting = {card.key for card in cards if not row[card.id].done}
    while following := {c.key for c in cards if c.key not in waiting and waiting & set(inputs_of(c))}:
        waiting |= following
    failing = {card.criticality for card in cards if card.key not in waiting and not row[card.id].passes}
    return PieceStanding(len(due), sum(cell.done for cell in due), frozenset(failing))


def _row(
    cards: tuple[CheckpointCard, ...],
    due: Collection[int],
    rounds: Mapping[int, tuple[int, str]],
    standing: tuple[dict[loading.Slot, loading.Light], set[loading.Slot]],
) -> dict[int, Cell]:
    answers, conflicts = standing
    found = {}
    for card in cards:
        turn = rounds.get(card.id, (1, ""))[0]
        light = answers.get((card.id, turn, 3)) or answers.get((card.id, turn, 1))
        found[card.id] = Cell(
            due=card.id in due,
            done=is_answered(card, turn, answers, conflicts),
            round=turn,
            outcome=light.outcome if light else None,
            passes=light is not None and passes(light.outcome),
            nearest_limit=light.nearest_limit if light else "",
            answer=_answer(light.answer) if light else {},
            operation=light.operation if light else None,
        )
    return found


def _answer(stored: str) -> dict[str, Any]:
    return dict(json.loads(stored))
