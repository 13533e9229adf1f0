"""The spread split by what was around a reading: fixture, welder, gauge, inspector, shift.

One-way analysis of variance for each split by itself. `explained` is the share of the spread that a split accounts
for, corrected for the number of its levels (epsilon squared, Kelley 1935): (between - levels·residual²) / total, never
below zero. Splits that go together, such as an inspector who always takes the same gauge, share what they explain.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from qcapp.core.errors import QcError
from qcapp.core.statistics.anova import OneWay, one_way
from qcapp.core.statistics.intervals import Interval, mean_interval

from .readings import Reading

FACTORS = {"fixture": "Fixture", "welder": "Welder", "gauge": "Gauge", "inspector": "Inspector", "shift": "Shift"}
ABOUT_PEOPLE = frozenset({"welder", "inspector"})
SURE = 0.01  # as for a drift: five splits of many characteristics are looked at
MOST_LEVELS = 12  # drawn and listed; the others are put together


@dataclass(frozen=True)
class Level:
    """One value of a split. `mean` has an interval from two readings on."""

    name: str
    readings: tuple[Reading, ...]
    values: tuple[float, ...]
    mean: float
    interval: Interval | None


@dataclass(frozen=True)
class SplitBy:
    """A split with its analysis; `refusal` is the sentence where there is none."""

    factor: str
    label: str
    levels: tuple[Level, ...]
    missing: int
    table: OneWay | None
    refusal: str

    @property
    def explained(self) -> float | None:
        """Share of the spread, 0 to 1."""
        if self.table is None:
            return None
        total = self.table.ss_between + self.table.ss_within
        share = (self.table.ss_between - self.table.dof_between * self.table.residual_sd**2) / total
        return max(0.0, share)

    @property
    def matters(self) -> bool:
        return self.table is not None and self.table.p_value < SURE

    @property
    def furthest(self) -> Level | None:
        """The level whose mean lies furthest from that of all the others."""
        if len(self.levels) < 2:
            return None
        return max(self.levels, key=lambda level: abs(level.mean - _mean_without(self.levels, level)))


def _mean_without(levels: Sequence[Level], one: Level) -> float:
    rest = [value for level in levels if level is not one for value in level.values]
    return sum(rest) / len(rest)


def splits_of(readings: Sequence[Reading], *, people: bool) -> tuple[SplitBy, ...]:
    """Every split; those by people only where `people` says so."""
    return tuple(split_by(readings, factor) for factor in FACTORS if people or factor not in ABOUT_PEOPLE)


def split_by(readings: Sequence[Reading], factor: str) -> SplitBy:
    """One split. Readings without the thing are counted as missing and left out."""
    groups: dict[str, list[Reading]] = {}
    for reading in readings:
        groups.setdefault(getattr(reading, factor), []).append(reading)
    missing = len(groups.pop("", []))
    levels = tuple(_level(name, groups[name]) for name in sorted(groups))
    label = FACTORS[factor]
    if not levels:
        return SplitBy(factor, label, (), missing, None, f"No {factor} was recorded with these readings.")
    if len(levels) == 1:
        return SplitBy(factor, label, levels, missing, None, f"All of them: {levels[0].name}.")
    try:
        table, refusal = one_way([level.values for level in levels]), ""
    except QcError as error:
        table, refusal = None, error.message
    return SplitBy(factor, label, levels, missing, table, refusal)


def _level(name: str, readings: Sequence[Reading]) -> Level:
    values = tuple(reading.value for reading in readings)
    interval = mean_interval(values) if len(values) > 1 else None
    return Level(name, tuple(readings), values, sum(values) / len(values), interval)


def split_sentence(split: SplitBy, number: str, unit: str) -> str:
    """What the analysis says: how much it explains, and which level lies apart; `number` is that distance in words."""
    if split.table is None:
        return split.refusal
    share = round(100 * (split.explained or 0.0))
    if not split.matters or split.furthest is None:
        return f"No difference that chance could not make (explains about {share} % of the spread)."
    name, distance = split.furthest.name, f"{number} {unit}".strip()
    two = len(split.levels) == 2
    if split.furthest.mean > _mean_without(split.levels, split.furthest):
        where = f"{name} lies {distance} above the other" if two else f"{name} lies {distance} above the others"
    else:
        where = f"{name} lies {distance} below the other" if two else f"{name} lies {distance} below the others"
    return f"Explains about {share} % of the spread: {where}."


def distance_of(split: SplitBy) -> float:
    """How far the furthest level's mean lies from that of the others."""
    level = split.furthest
    return 0.0 if level is None else abs(level.mean - _mean_without(split.levels, level))
