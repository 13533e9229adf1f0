"""Capability: how the spread of a process compares with its band, with intervals and honest doubts.

cp and cpk use the spread within subgroups (short term), pp and ppk the overall one (long term). An index
against one limit is the distance from mean to limit over three standard deviations; a band open on one
side, or closed there by a natural boundary that no part can cross (zero for flatness), has only that one
index. Everything presumes a stable process and a normal distribution; where the readings contradict that, a
warning says so.

Formulas: NIST/SEMATECH e-Handbook of Statistical Methods 6.1.6; ISO 22514-2. Interval of cp: chi-square;
interval of cpk: Bissell (1990), normal approximation.
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Iterable, Sequence
from dataclasses import dataclass
from typing import cast

import numpy

from qcapp.core.errors import Invalid
from qcapp.core.statistics.distributions import chi_square_quantile, normal_above, normal_quantile
from qcapp.core.statistics.intervals import Interval
from qcapp.core.statistics.moments import moments, require_spread
from qcapp.core.statistics.normality import SIGNIFICANT, Normality, normality
from qcapp.core.statistics.readings import (
    FloatArray,
    Limits,
    Values,
    as_floats,
    require_at_least,
    require_confidence,
    working_limits,
)
from qcapp.core.statistics.short_term import ShortTerm, from_moving_ranges, from_subgroups

FEWEST_READINGS = 20  # fewer give an interval so wide that the index says nothing; common practice, no source
SETTLED_READINGS = 50


@dataclass(frozen=True)
class Indices:
    """`potential` is (upper - lower)/(6 sigma), None unless both limits count; `lower` and `upper` the
    one-sided indices; `actual` the smaller of them; `off_centre` the distance from the middle over half the
    width."""

    potential: float | None
    lower: float | None
    upper: float | None
    actual: float
    off_centre: float | None
    expected_out_of_band: float


def indices(mean: float, sigma: float, lower: float | None, upper: float | None) -> Indices:
    """Indices and the share beyond the limits of a normal process with this mean and standard deviation.

    Raises Refused `no_spread` for sigma 0, Invalid `band_without_limits` without a limit.
    """
    require_spread(sigma)
    if lower is None and upper is None:
        raise Invalid("band_without_limits", "The band has no limit to compare with; give it one.")
    below = None if lower is None else (mean - lower) / (3.0 * sigma)
    above = None if upper is None else (upper - mean) / (3.0 * sigma)
    outside = sum(normal_above(3.0 * index) for index in (below, above) if index is not None)
    potential = off_centre = None
    if lower is not None and upper is not None:
        potential = (upper - lower) / (6.0 * sigma)
        off_centre = abs((lower + upper) / 2.0 - mean) / ((upper - lower) / 2.0) if upper > lower else None
    actual = min(index for index in (below, above) if index is not None)
    return Indices(potential, below, above, actual, off_centre, outside)


def index_about_target(sigma: float, mean: float, lower: float, upper: float, target: float) -> float:
    """(upper - lower)/(6·sqrt(sigma² + (mean - target)²)), the index that also counts missing the target."""
    return (upper - lower) / (6.0 * math.hypot(sigma, mean - target))


def potential_interval(index: float, dof: float, *, confidence: float = 0.95) -> Interval:
    """Interval of cp or pp from the degrees of freedom of its standard deviation.

    Raises Invalid `confidence_out_of_range`.
    """
    require_confidence(confidence)
    low, high = (1.0 - confidence) / 2.0, (1.0 + confidence) / 2.0
    return Interval(
        index,
        index * math.sqrt(chi_square_quantile(low, dof) / dof),
        index * math.sqrt(chi_square_quantile(high, dof) / dof),
        confidence,
    )


def actual_interval(index: float, n: int, *, dof: float | None = None, confidence: float = 0.95) -> Interval:
    """Interval of cpk or ppk from n readings: index ± z·sqrt(1/(9n) + index²/(2·dof)), dof n - 1 unless
    given.

    Raises Invalid `confidence_out_of_range`.
    """
    require_confidence(confidence)
    spread = index * index / (2.0 * (n - 1 if dof is None else dof))
    reach = normal_quantile((1.0 + confidence) / 2.0) * math.sqrt(1.0 / (9.0 * n) + spread)
    return Interval(index, index - reach, index + reach, confidence)


def expected_per_million(index: float, *, sides: int = 2) -> float:
    """Parts per million beyond the limits of a normal process, centred when `sides` is 2."""
    return sides * normal_above(3.0 * index) * 1_000_000.0


@dataclass(frozen=True)
class Capability:
    """Indices with their intervals (by name, only for indices that exist), and what speaks against them.

    `expected_out_of_band` is the share (not percent) that a normal process of the overall spread puts
    beyond the limits; `expected_short_term` the same for the spread within subgroups. `warnings` are
    sentences.
    """

    cp: float | None
    cpk: float
    pp: float | None
    ppk: float
    intervals: dict[str, Interval]
    expected_out_of_band: float
    n: int
    warnings: tuple[str, ...]
    mean: float
    sigma_overall: float
    sigma_within: float
    within_from: str
    off_centre: float | None
    expected_short_term: float
    normality: Normality


def capability(
    values: Values | Sequence[Values],
    band: Limits,
    *,
    subgroups: int | Sequence[Hashable] | None = None,
    confidence: float = 0.95,
) -> Capability:
    """Capability of the readings, in the order taken, against a band.

    `subgroups` is the size of consecutive subgroups or one label per reading; rows of readings are
    subgroups of themselves. Without any, the short-term spread comes from moving ranges of two. Raises
    Refused `too_few_readings` under FEWEST_READINGS, `no_spread`; Invalid `band_without_limits`,
    `confidence_out_of_range`, `reading_not_a_number`, `subgroups_do_not_match`.
    """
    require_confidence(confidence)
    lower, upper = working_limits(band)
    x, groups, original = _arranged(values, subgroups)
    require_at_least(FEWEST_READINGS, x.size)
    sample = moments(original)
    require_spread(sample.standard_deviation)
    within = from_moving_ranges(x) if groups is None else from_subgroups(groups)
    require_spread(within.sigma)
    long = indices(sample.mean, sample.standard_deviation, lower, upper)
    short = indices(sample.mean, within.sigma, lower, upper)
    shape = normality(x)
    return Capability(
        cp=short.potential,
        cpk=short.actual,
        pp=long.potential,
        ppk=long.actual,
        intervals=_intervals(short, long, x.size, within.dof, confidence),
        expected_out_of_band=long.expected_out_of_band,
        n=x.size,
        warnings=tuple(_warnings(x, groups, sample.mean, within, shape, band, (lower, upper))),
        mean=sample.mean,
        sigma_overall=sample.standard_deviation,
        sigma_within=within.sigma,
        within_from=within.how,
        off_centre=long.off_centre,
        expected_short_term=short.expected_out_of_band,
        normality=shape,
    )


def _arranged(
    values: Values | Sequence[Values], subgroups: int | Sequence[Hashable] | None
) -> tuple[FloatArray, list[FloatArray] | None, Values]:
    """All readings as floats, as subgroups if there are any, and as they came."""
    if len(values) and isinstance(values[0], Sequence | numpy.ndarray) and not isinstance(values[0], str):
        if subgroups is not None:
            raise Invalid("subgroups_do_not_match", "Rows of readings are subgroups already; give no others.")
        rows = [as_floats(row) for row in cast("Sequence[Values]", values)]
        flat = [reading for row in cast("Sequence[Values]", values) for reading in row]
        return numpy.concatenate(rows), rows, flat
    readings = cast("Values", values)
    x = as_floats(readings)
    return x, None if subgroups is None else _split(x, subgroups), readings


def _split(x: FloatArray, subgroups: int | Sequence[Hashable]) -> list[FloatArray]:
    if isinstance(subgroups, int):
        if subgroups < 2 or x.size % subgroups:
            raise Invalid(
                "subgroups_do_not_match",
                f"{x.size} readings do not split into subgroups of {subgroups}; give a size from 2 that "
                "divides them, or one label per reading.",
            )
        return list(x.reshape(-1, subgroups))
    if len(subgroups) != x.size:
        raise Invalid(
            "subgroups_do_not_match",
            f"There are {x.size} readings and {len(subgroups)} subgroup labels; give one label per reading.",
        )
    places: dict[Hashable, list[int]] = {}
    for place, label in enumerate(subgroups):
        places.setdefault(label, []).append(place)
    return [x[at] for at in places.values()]


def _intervals(short: Indices, long: Indices, n: int, dof_within: float, confidence: float) -> dict[str, Interval]:
    found = {
        "cpk": actual_interval(short.actual, n, dof=dof_within, confidence=confidence),
        "ppk": actual_interval(long.actual, n, confidence=confidence),
    }
    if short.potential is not None and long.potential is not None:
        found["cp"] = potential_interval(short.potential, dof_within, confidence=confidence)
        found["pp"] = potential_interval(long.potential, n - 1, confidence=confidence)
    return found


def _warnings(
    x: FloatArray,
    groups: list[FloatArray] | None,
    mean: float,
    within: ShortTerm,
    shape: Normality,
    band: Limits,
    limits: tuple[float | None, float | None],
) -> Iterable[str]:
    if x.size < SETTLED_READINGS:
        yield f"From {x.size} readings the intervals are wide; take {SETTLED_READINGS} or more."
    if shape.p_value < SIGNIFICANT:
        yield (
            f"The readings do not look normal ({shape.test}, p = {shape.p_value:.2g}); indices and "
            "expected share are rough indications only."
        )
    unstable = _points_beyond(x, groups, mean, within.sigma)
    if unstable:
        yield (
            f"The process does not look stable (points outside the control limits: {unstable}); find the "
            "cause before trusting the indices."
        )
    for side, limit in zip(("lower", "upper"), limits, strict=True):
        if limit is None and getattr(band, side) is not None:
            yield f"The {side} limit is a natural boundary, so only the other limit counts."


def _points_beyond(x: FloatArray, groups: list[FloatArray] | None, mean: float, sigma: float) -> int:
    if groups is None:
        outside = (x > mean + 3.0 * sigma) | (x < mean - 3.0 * sigma)
        return int(numpy.count_nonzero(outside))
    return sum(abs(float(group.mean()) - mean) > 3.0 * sigma / math.sqrt(group.size) for group in groups)
