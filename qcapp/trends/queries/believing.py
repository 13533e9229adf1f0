"""The page that asks whether the recording is believable, over a family's last units."""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import TYPE_CHECKING

from qcapp.inspections.queries import series as stored
from qcapp.production.queries import FamilyCard

from ..believing import Believability, Checked, Typed, believability_of, seconds_between
from ..copied import copied_units
from ..readings import numbers_of
from .readings import subject_of

if TYPE_CHECKING:
    from qcapp.inspections.queries.series import Point
    from qcapp.plans.queries import CheckpointCard

UNITS = 200
ASKED = frozenset({"measured", "attribute", "count"})


@dataclass(frozen=True)
class BelievabilityPage:
    """`refusal` is a sentence where there is nothing to look at."""

    family: FamilyCard
    units: int
    found: Believability | None
    refusal: str = ""


def believability_page(named: str | FamilyCard, *, units: int = UNITS) -> BelievabilityPage:
    """What stands out in how values were recorded. Raises NotFound `family_unknown`."""
    subject = subject_of(named)
    cards = {card.characteristic_id: card for card in subject.cards.values() if card.kind in ASKED}
    if not cards:
        said = f"{subject.family.code} has no released inspection plan with values to look at."
        return BelievabilityPage(subject.family, 0, None, said)
    items = stored.newest_items(subject.family.id, units)
    gathered = stored.points_of_items(items, list(cards)).points
    points = [point for some in gathered.values() for point in some]
    if not points:
        said = f"No result has been recorded for {subject.family.code} yet."
        return BelievabilityPage(subject.family, len(items), None, said)
    gaps = seconds_between([(point.person_name, point.item_id, point.recorded_at) for point in points])
    answers: list[Typed] = []
    for point, gap in zip(points, gaps, strict=True):
        card = cards[point.characteristic_id]
        numbers = numbers_of(json.loads(point.answer), card.kind) if card.kind == "measured" else []
        values: list[Decimal | None] = [Decimal(number) for number in numbers] or [None]
        answers += [Typed(card.key, card.kind, value, point.gauge_number, gap) for value in values[:1]]
        answers += [Typed(card.key, card.kind, value, point.gauge_number, None) for value in values[1:]]
    checked = {
        card.key: Checked(card.key, card.number, card.title, card.kind, getattr(card.spec, "band", None))
        for card in cards.values()
    }
    copied = copied_units(*_by_unit(points, cards))
    return BelievabilityPage(subject.family, len(items), believability_of(answers, checked, copied))


def _by_unit(points: list[Point], cards: dict[int, CheckpointCard]) -> tuple[dict[str, dict[str, str]], list[str]]:
    """The measured values of each unit as typed, and the units in the order in which they were measured."""
    texts: dict[str, dict[str, str]] = {}
    first: dict[str, datetime] = {}
    for point in points:
        card = cards[point.characteristic_id]
        if card.kind == "measured":
            texts.setdefault(point.serial, {})[card.key] = ", ".join(numbers_of(json.loads(point.answer), card.kind))
            first[point.serial] = min(point.recorded_at, first.get(point.serial, point.recorded_at))
    return texts, sorted(texts, key=lambda serial: (first[serial], serial))
