"""The drawn pieces of a lot beside each other: what is answered at which checkpoint. A handful of queries for all."""

from __future__ import annotations

import json
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any
from uuid import UUID

from qcapp.core.checkpoints.kinds import passes

from . import adopted, loading
from .standing import due_checkpoints, is_answered

if TYPE_CHECKING:
    from qcapp.plans.queries import CheckpointCard, RevisionCard


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
        due = due_checkpoints(plan.checkpoints, numbers[item], rounds, excluded=excluded.get(item, frozenset()))
        cells[item] = _row(plan.checkpoints, due, rounds, answers.get(item, ({}, set())))
    return Grid(plan.revision, plan.checkpoints, cells)


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
