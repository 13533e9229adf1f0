"""Which first answers a person must not see yet, asked for many units at once.

A report's title tells what was found, so lists of reports ask here before they show it. One unit's whole inspection
needs none of this: `inspection_of_unit` keeps its own secrets.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from datetime import datetime
from typing import TYPE_CHECKING

from django.utils import timezone

from qcapp.people.queries import may
from qcapp.people.roles import Act
from qcapp.plans.queries import checkpoints_of

from ..models import CurrentAnswer
from .loading import adoptions_of_items, reopenings_of_items
from .shapes import InspectionView
from .standing import inputs_of

if TYPE_CHECKING:
    from qcapp.people.models import Person

Place = tuple[int, int, int]  # item, checkpoint, round
Opened = Mapping[int, Mapping[int, Sequence[tuple[int, str]]]]


def kept_secret(places: Iterable[Place], *, viewer: Person | None, at: datetime | None = None) -> frozenset[Place]:
    """Those of the places whose answer waits for the second inspection of somebody else, computed ones included.

    None for a viewer who could not give that inspection; without a viewer all that wait. Four queries at most.
    """
    wanted = frozenset(places)
    given_once = _given_once({item for item, _, _ in wanted}, viewer) if wanted else frozenset()
    if not given_once or (viewer and not may(viewer, Act.RECORD_RESULT, at or timezone.now())):
        return frozenset()
    opened = reopenings_of_items({item for item, _, _ in given_once})
    waiting = {(item, checkpoint) for item, checkpoint, turn in given_once if turn == _round(opened, item, checkpoint)}
    secret = waiting | _computed_from(waiting)
    return wanted & {(item, checkpoint, _round(opened, item, checkpoint)) for item, checkpoint in secret}


def secrets_of(view: InspectionView) -> frozenset[Place]:
    """The places that an inspection, as somebody sees it, keeps back."""
    return frozenset((view.unit.item_id, one.card.id, one.round) for one in view.checkpoints if one.hidden)


def source_of_round(item_id: int, checkpoint_id: int, turn: int) -> str:
    """What opened a round of a checkpoint, such as a report's number; empty for the first."""
    opened = reopenings_of_items([item_id]).get(item_id, {}).get(checkpoint_id, ())
    return dict(opened).get(turn, "")


def _given_once(items: Collection[int], viewer: Person | None) -> frozenset[Place]:
    """Places that ask for a second inspection and have a first answer of somebody else only."""
    rows = CurrentAnswer.objects.filter(item__in=items, checkpoint__second_inspection=True)
    given: dict[Place, dict[int, int]] = defaultdict(dict)
    columns = ("item_id", "checkpoint_id", "round", "inspection", "result__person_id")
    for item, checkpoint, turn, inspection, person in rows.values_list(*columns):
        given[item, checkpoint, turn][inspection] = person
    mine = viewer.pk if viewer else None
    return frozenset(place for place, by in given.items() if 1 in by and 2 not in by and by[1] != mine)


def _round(opened: Opened, item: int, checkpoint: int) -> int:
    rounds = opened.get(item, {}).get(checkpoint)
    return rounds[-1][0] if rounds else 1


def _computed_from(waiting: Collection[tuple[int, int]]) -> set[tuple[int, int]]:
    """Item and checkpoint of every derived answer that reads one of the waiting ones, however far."""
    found: set[tuple[int, int]] = set()
    for item, (_, revision, _) in adoptions_of_items({item for item, _ in waiting}).items():
        cards = checkpoints_of(revision)
        keys = {card.key for card in cards if (item, card.id) in waiting}
        while more := {card.key for card in cards if card.key not in keys and keys & set(inputs_of(card))}:
            keys |= more
        found |= {(item, card.id) for card in cards if card.key in keys}
    return found
