"""Capability of the recorded values against limits that a revision changes: before and after, beside each other."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from qcapp.core.errors import QcError
from qcapp.core.statistics.capability import capability

from .series import points_of_items
from .trying import _last_items

if TYPE_CHECKING:
    from qcapp.plans.queries import CheckpointCard


@dataclass(frozen=True)
class ChangedCapability:
    """One checkpoint whose limits change: readings counted, and the performance index against both bands."""

    number: int
    title: str
    count: int
    limits_before: str
    limits: str
    before: float | None
    after: float | None
    refusal: str  # why there is no index

    @property
    def worse(self) -> bool:
        return self.before is not None and self.after is not None and self.after < self.before


def changed_capability(
    family_id: int, old: Sequence[CheckpointCard], new: Sequence[CheckpointCard], units: int
) -> list[ChangedCapability]:
    """Every measured or derived checkpoint whose band differs from the old revision's, over the last units.

    The index is the overall one (Ppk) of the first answers; those that wait for a second inspection are left out.
    """
    before = {card.characteristic_id: card for card in old}
    pairs = [
        (before[card.characteristic_id], card)
        for card in new
        if card.characteristic_id in before and _band_differs(before[card.characteristic_id], card)
    ]
    items = _last_items(family_id, units)
    points = points_of_items(list(items), [card.characteristic_id for _, card in pairs]).points if pairs else {}
    return [_held_against(*pair, [p.plot for p in points.get(pair[1].characteristic_id, ())]) for pair in pairs]


def _band_differs(old: CheckpointCard, new: CheckpointCard) -> bool:
    bands = [getattr(card.spec, "band", None) for card in (old, new)]
    return None not in bands and old.unit_of_measure == new.unit_of_measure and bands[0] != bands[1]


def _held_against(old: CheckpointCard, new: CheckpointCard, plots: Sequence[float | None]) -> ChangedCapability:
    values = [value for value in plots if value is not None]
    before, _ = _index(values, old)
    after, refusal = _index(values, new)
    return ChangedCapability(
        new.number, new.title, len(values), old.limits_text, new.limits_text, before, after, refusal
    )


def _index(values: Sequence[float], card: CheckpointCard) -> tuple[float | None, str]:
    try:
        return capability(values, card.spec.band).ppk, ""
    except QcError as refusal:
        return None, refusal.message
