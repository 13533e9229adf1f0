"""Yield: what passes the first time, by stage and week, rolled over the stages, and defects against opportunities.

A unit counts for a stage in the week in which the stage was first signed, or in which something first failed in it. It
was right first time when every answer of the first round passed. An opportunity is a checkpoint answered, a defect an
answer that did not pass.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy

from qcapp.core.statistics.distributions import poisson_expected_at
from qcapp.core.statistics.intervals import Interval, proportion_interval
from qcapp.core.statistics.yields import defects_per_million, defects_per_unit, rolled_throughput_yield
from qcapp.inspections.queries.passes import StagePass
from qcapp.lib.site_days import site_day

DRAWS, DRAWS_OF_A_WEEK, SEED = 20_000, 4_000, 1946
RULE = (
    "A unit counts for a stage in the week in which the stage was first signed or something first failed in it; it was "
    "right first time when every answer of the first round passed."
)


@dataclass(frozen=True)
class Week:
    """One week of a stage."""

    name: str
    units: int
    right: int
    share: Interval


@dataclass(frozen=True)
class StageYield:
    """One stage over the whole time."""

    number: int
    name: str
    units: int
    right: int
    share: Interval
    defects: int
    per_unit: Interval
    per_million: float
    per_million_interval: Interval | None
    weeks: tuple[Week, ...]


@dataclass(frozen=True)
class FamilyWeek:
    """One week of all stages: what was counted in it, with intervals. `per_million` is None without an answer."""

    name: str
    units: int
    defects: int
    rolled: Interval
    per_unit: Interval
    per_million: Interval | None


@dataclass(frozen=True)
class FamilyYield:
    """All stages of a family, and the chance of passing every one without a correction."""

    stages: tuple[StageYield, ...]
    rolled: Interval | None
    weeks: tuple[str, ...]
    defects: int
    units: int
    per_unit: float
    per_million: float
    per_unit_interval: Interval
    per_million_interval: Interval | None
    by_week: tuple[FamilyWeek, ...]


def family_yield(passes: Sequence[StagePass], weeks: Sequence[str]) -> FamilyYield | None:
    """The yields of these stages; None without any."""
    if not passes:
        return None
    numbers = sorted({one.number for one in passes})
    stages = tuple(_stage([one for one in passes if one.number == number], weeks) for number in numbers)
    units = len({one.item_id for one in passes})
    defects = sum(stage.defects for stage in stages)
    opportunities = sum(one.answers for one in passes)
    return FamilyYield(
        stages=stages,
        rolled=_rolled([(stage.right, stage.units) for stage in stages]),
        weeks=tuple(weeks),
        defects=defects,
        units=units,
        per_unit=defects_per_unit(defects, units),
        per_million=defects_per_million(defects, 1, opportunities) if opportunities else 0.0,
        per_unit_interval=_rate(defects, units),
        per_million_interval=_per_million(defects, opportunities),
        by_week=tuple(_family_week(name, some) for name in weeks if (some := _in_week(passes, name))),
    )


def _in_week(passes: Sequence[StagePass], name: str) -> list[StagePass]:
    return [one for one in passes if week_name(site_day(one.at)) == name]


def _family_week(name: str, passes: Sequence[StagePass]) -> FamilyWeek:
    defects, units = sum(one.failing for one in passes), len({one.item_id for one in passes})
    numbers = sorted({one.number for one in passes})
    stages = [[one.right_first_time for one in passes if one.number == number] for number in numbers]
    return FamilyWeek(
        name=name,
        units=units,
        defects=defects,
        rolled=_rolled([(sum(rights), len(rights)) for rights in stages], draws=DRAWS_OF_A_WEEK),
        per_unit=_rate(defects, units),
        per_million=_per_million(defects, sum(one.answers for one in passes)),
    )


def _per_million(defects: int, opportunities: int) -> Interval | None:
    """Defects against a million opportunities with the same exact interval; None without an opportunity."""
    if not opportunities:
        return None
    each = _rate(defects, opportunities)
    return Interval(1e6 * each.estimate, 1e6 * each.lower, 1e6 * each.upper, each.confidence)


def _stage(passes: Sequence[StagePass], weeks: Sequence[str]) -> StageYield:
    units, right = len(passes), sum(one.right_first_time for one in passes)
    defects = sum(one.failing for one in passes)
    opportunities = sum(one.answers for one in passes)
    by_week = {name: _in_week(passes, name) for name in weeks}
    return StageYield(
        number=passes[-1].number,
        name=passes[-1].name,
        units=units,
        right=right,
        share=proportion_interval(right, units),
        defects=defects,
        per_unit=_rate(defects, units),
        per_million=defects_per_million(defects, 1, opportunities) if opportunities else 0.0,
        per_million_interval=_per_million(defects, opportunities),
        weeks=tuple(_week(name, some) for name, some in by_week.items() if some),
    )


def _week(name: str, passes: Sequence[StagePass]) -> Week:
    right = sum(one.right_first_time for one in passes)
    return Week(name, len(passes), right, proportion_interval(right, len(passes)))


def _rate(found: int, units: int, confidence: float = 0.95) -> Interval:
    """Defects per unit with the exact Poisson interval (Garwood 1936)."""
    tail = (1.0 - confidence) / 2.0
    low = poisson_expected_at(found - 1, 1.0 - tail) if found else 0.0
    return Interval(defects_per_unit(found, units), low / units, poisson_expected_at(found, tail) / units, confidence)


def _rolled(stages: Sequence[tuple[int, int]], confidence: float = 0.95, *, draws: int = DRAWS) -> Interval:
    """The product of the first-pass yields, and its interval; `stages` are those right and all of them, at least one.

    Each stage's share is drawn from its Jeffreys distribution, Beta(right + 1/2, wrong + 1/2) (Brown, Cai and DasGupta
    2001), and the product's quantiles are taken over the draws with a fixed seed: stages without a failure do not
    count as known for certain.
    """
    product = rolled_throughput_yield([right / units for right, units in stages])
    random = numpy.random.default_rng(SEED)
    drawn = numpy.ones(draws)
    for right, units in stages:
        drawn *= random.beta(right + 0.5, units - right + 0.5, draws)
    low, high = numpy.quantile(drawn, [(1.0 - confidence) / 2.0, (1.0 + confidence) / 2.0])
    return Interval(product, min(float(low), product), max(float(high), product), confidence)


def week_name(day: date) -> str:
    """The week of a day by ISO 8601, such as 2026-W12."""
    year, week, _ = day.isocalendar()
    return f"{year}-W{week:02}"
