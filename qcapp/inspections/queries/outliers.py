"""Was it an outlier? One unit's value among the family's: a share in words, a rule with its source, a picture.

Unusual is what lies more than 1.5 interquartile ranges outside the quartiles (J. W. Tukey, Exploratory Data Analysis,
1977, chapter 2). Floats throughout: this is about how values are spread; whether one is in its band was decided
exactly, elsewhere.
"""

from __future__ import annotations

import statistics
from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING

from qcapp.core.checkpoints.kinds import kind
from qcapp.core.errors import NotFound
from qcapp.core.metrology.quantities import as_text
from qcapp.lib.plain_text import shown
from qcapp.production.queries import UnitCard, unit_by_serial

from . import inspection_of_unit
from .distribution import family_values

if TYPE_CHECKING:
    from datetime import datetime

    from qcapp.people.models import Person
    from qcapp.plans.cards import CheckpointCard

    from . import AnswerView, CheckpointView

MOST = 2000  # values of other units that are looked at, the latest
FEWEST = 8  # below so many nothing is said about outliers
FENCE = 1.5  # interquartile ranges outside the quartiles: J. W. Tukey, Exploratory Data Analysis, 1977, chapter 2
SPREAD_KINDS = frozenset({"measured", "derived", "count"})


@dataclass(frozen=True)
class Spread:
    """Other units' values and where one lies among them. `fences` are None where there are too few."""

    values: tuple[float, ...]
    own: float
    fences: tuple[float, float] | None

    @property
    def below(self) -> int:
        return sum(value < self.own for value in self.values)

    @property
    def above(self) -> int:
        return sum(value > self.own for value in self.values)

    @property
    def same(self) -> int:
        return len(self.values) - self.below - self.above

    @property
    def percentile(self) -> int | None:
        """The share of other values that lie below, those the same counted half, in a hundred; None without any."""
        if not self.values:
            return None
        return round(100 * (self.below + self.same / 2) / len(self.values))

    @property
    def outlier(self) -> bool | None:
        """Outside the fences; None where too few values are known to say."""
        return None if self.fences is None else not self.fences[0] <= self.own <= self.fences[1]


def spread(values: list[float], own: float) -> Spread:
    """The value among the others. Quartiles by linear interpolation between the values (`statistics`, inclusive)."""
    if len(values) < FEWEST:
        return Spread(tuple(values), own, None)
    low, _, high = statistics.quantiles(values, n=4, method="inclusive")
    reach = FENCE * (high - low)
    return Spread(tuple(values), own, (low - reach, high + reach))


@dataclass(frozen=True)
class ValueView:
    """One value of a unit with its band and the family's values behind it; `spread` is None without any."""

    unit: UnitCard
    checkpoint: CheckpointView
    answer: AnswerView
    spread: Spread | None

    @property
    def card(self) -> CheckpointCard:
        return self.checkpoint.card

    @property
    def verdict(self) -> str:
        """The answer to the question, as it is said on the phone."""
        found = self.spread
        if found is None or found.outlier is None:
            known = 0 if found is None else len(found.values)
            return f"Too few to say: {known} other unit{'' if known == 1 else 's'} of the family, {FEWEST} are needed."
        if found.fences is not None and found.outlier:
            side = "high" if found.own > found.fences[1] else "low"
            return f"Yes, an outlier: unusually {side} for the family."
        return "No, not an outlier: it lies where the family's values lie."

    @property
    def share(self) -> str:
        """The counts in words."""
        found = self.spread
        if found is None or found.percentile is None:
            return "No other unit of the family has a value here."
        below, above, same, where = found.below, found.above, found.same, found.percentile
        if len(found.values) == 1:
            return f"Of the one other unit {below} lies below, {above} above, {same} the same: percentile {where}."
        count = len(found.values)
        return f"Of the last {count} other units {below} lie below, {above} above, {same} the same: percentile {where}."

    @property
    def usual(self) -> str:
        """Between what the family usually lies, with one decimal more than the plan asks for; empty with too few."""
        if self.spread is None or self.spread.fences is None:
            return ""
        step = Decimal(1).scaleb(-getattr(self.card.spec, "decimals", 0) - 1)
        low, high = (as_text(Decimal(end).quantize(step)) for end in self.spread.fences)
        return f"{low} to {high} {getattr(self.card.spec, 'unit_of_measure', '')}".strip()


def value_view(serial: str, key: str, *, viewer: Person, at: datetime) -> ValueView:
    """The last value of a unit at a checkpoint, among the family's.

    Raises NotFound `serial_unknown`, `value_unknown` where it has no such value or the viewer may not see it yet.
    """
    unit = unit_by_serial(serial)
    inspection = inspection_of_unit(unit, viewer=viewer, at=at)
    found = next((one for one in inspection.checkpoints if one.card.key == key), None)
    answer = None if found is None or found.hidden else last_answer(found)
    if found is None or answer is None or found.card.kind not in SPREAD_KINDS:
        message = f"{unit.serial} has no value {shown(key)} that can be held against others; choose one of its history."
        raise NotFound("value_unknown", message)
    own = plotted(found.card, answer)
    others = family_values(found.card.characteristic_id, unit.item_id, MOST) if own is not None else []
    return ValueView(unit, found, answer, None if own is None else spread(others, own))


def last_answer(one: CheckpointView) -> AnswerView | None:
    """What counts of a checkpoint, or its last earlier answer while it is open again; None without any."""
    if one.counts is not None:
        return one.counts
    return one.earlier[-1] if one.earlier else None


def plotted(card: CheckpointCard, answer: AnswerView) -> float | None:
    """The value as charts plot it."""
    reader = kind(card.kind)
    return reader.assess(reader.read_answer(answer.answer, card.spec), card.spec).plot
