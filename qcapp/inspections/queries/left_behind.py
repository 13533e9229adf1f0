"""Answers that did not pass and that the present plan of a unit no longer looks at. They stay known."""

from __future__ import annotations

import json
from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.db.models import Q

from qcapp.core.checkpoints.kinds import passes
from qcapp.plans.queries import checkpoints_of

from ..models import CurrentAnswer, ResultDecision
from ..states import CheckpointState
from .loading import describe

if TYPE_CHECKING:
    from .shapes import InspectionView


@dataclass(frozen=True)
class LeftBehind:
    """A known answer out of band to a checkpoint that is not asked on the unit any more."""

    number: int
    title: str
    characteristic_id: int
    answer: dict[str, Any]
    described: str


def left_behind(view: InspectionView) -> list[LeftBehind]:
    """What was found out of band, was not carried over, and stands at no checkpoint that is due; by number.

    An answer that somebody decided not to accept, signed, counts as not found. Two queries where there is something.
    """
    due = {one.card.id for one in view.checkpoints if one.state is not CheckpointState.NOT_DUE}
    rows = CurrentAnswer.objects.filter(item=view.unit.item_id, result__carried_to=None).exclude(checkpoint__in=due)
    columns = ("checkpoint_id", "round", "inspection", "result_id", "result__outcome", "result__answer")
    by_checkpoint: dict[int, list[tuple[Any, ...]]] = defaultdict(list)
    for row in rows.values_list(*columns, "checkpoint__revision_id"):
        by_checkpoint[row[0]].append(row)
    failing = [row for found in by_checkpoint.values() for row in _last(found) if not passes(row[4])]
    if not failing:
        return []
    refused = _not_accepted([row[3] for row in failing])
    found = [_left(row) for row in failing if row[3] not in refused]
    return sorted(found, key=lambda one: one.number)


def _last(rows: list[tuple[Any, ...]]) -> list[tuple[Any, ...]]:
    """Those of the last round that was answered: the deciding third, else first and second."""
    turn = max(row[1] for row in rows)
    last = [row for row in rows if row[1] == turn]
    return [row for row in last if row[2] == 3] or last


def _not_accepted(results: list[int]) -> set[int]:
    rows = ResultDecision.objects.filter(Q(result__in=results), accepted=False)
    return set(rows.values_list("result_id", flat=True))


def _left(row: tuple[Any, ...]) -> LeftBehind:
    card = next(card for card in checkpoints_of(row[6]) if card.id == row[0])
    answer = json.loads(row[5])
    return LeftBehind(card.number, card.title, card.characteristic_id, answer, describe(answer, card))
