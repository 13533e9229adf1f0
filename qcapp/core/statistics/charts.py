"""Control charts. Charts of measured values live here; counts and weighted sums are reached through here too.

`individuals`, `xbar_r`, `xbar_s`, `p`, `np`, `c`, `u`, `ewma` and `cusum` give a ControlChart. Limits come
from the data (study of the past) or from a base period's `center` and `sigma` (watching the present);
`sigma` is then the standard deviation of single readings. Formulas: NIST/SEMATECH e-Handbook of Statistical
Methods 6.3.2, ASTM E2587, with factors that are not rounded.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence

import numpy

from qcapp.core.errors import Invalid
from qcapp.core.statistics.attribute_charts import c, np, p, u
from qcapp.core.statistics.control_chart import (
    ControlChart,
    Line,
    chart_of,
    given_together,
    preliminary,
    require_points,
)
from qcapp.core.statistics.factors import c4, d2, d3
from qcapp.core.statistics.memory_charts import CusumChart, cusum, ewma
from qcapp.core.statistics.readings import FloatArray, Values, as_floats
from qcapp.core.statistics.run_rules import LIMITS_ONLY, USUAL_RULES, Rule, run_rules

__all__ = [
    "ControlChart",
    "CusumChart",
    "c",
    "cusum",
    "ewma",
    "individuals",
    "np",
    "p",
    "run_rules",
    "u",
    "xbar_r",
    "xbar_s",
]


def individuals(
    values: Values,
    *,
    center: float | None = None,
    sigma: float | None = None,
    rules: Iterable[str | Rule] = USUAL_RULES,
) -> ControlChart:
    """Chart of single readings in the order taken; `spread` is the chart of moving ranges of two.

    Without a base period the standard deviation is the average moving range over d2(2) = 1.1284.
    Raises Refused `too_few_points`, `no_spread`; Invalid `half_a_base_period`, `reading_not_a_number`.
    """
    x = as_floats(values)
    given = given_together(center, sigma)
    if not given:
        require_points(x.size, "readings")
    ranges = numpy.abs(numpy.diff(x))
    if center is None or sigma is None:
        center, sigma = float(x.mean()), float(ranges.mean()) / d2(2)
    spread = _range_chart(ranges, 2, sigma) if ranges.size else None
    warnings = () if given else preliminary(x.size)
    return chart_of(x, center, sigma, rules, process_sigma=sigma, spread=spread, warnings=warnings)


def xbar_r(
    subgroups: Sequence[Values],
    *,
    center: float | None = None,
    sigma: float | None = None,
    rules: Iterable[str | Rule] = USUAL_RULES,
) -> ControlChart:
    """Chart of subgroup means; `spread` is the chart of ranges.

    The standard deviation of single readings is the average of range/d2 over the subgroups, and the centre
    the mean of all readings, so subgroups may differ in size. Raises as `individuals`, and
    `subgroup_too_small` under two.
    """
    groups = _subgroups(subgroups)
    sizes = numpy.array([group.size for group in groups])
    ranges = numpy.array([group.max() - group.min() for group in groups])
    if not given_together(center, sigma):
        require_points(len(groups), "subgroups")
    if center is None or sigma is None:
        center, sigma = _grand_mean(groups), float((ranges / _each(d2, sizes)).mean())
        warnings = preliminary(len(groups)) + _large_subgroups(int(sizes.max()))
    else:
        warnings = _large_subgroups(int(sizes.max()))
    spread = _range_chart(ranges, sizes, sigma)
    return _means_chart(groups, sizes, center, sigma, rules, spread, warnings)


def xbar_s(
    subgroups: Sequence[Values],
    *,
    center: float | None = None,
    sigma: float | None = None,
    rules: Iterable[str | Rule] = USUAL_RULES,
) -> ControlChart:
    """Chart of subgroup means; `spread` is the chart of standard deviations.

    The standard deviation of single readings is the average of s/c4 over the subgroups. Raises as `xbar_r`.
    """
    groups = _subgroups(subgroups)
    sizes = numpy.array([group.size for group in groups])
    deviations = numpy.array([group.std(ddof=1) for group in groups])
    if not given_together(center, sigma):
        require_points(len(groups), "subgroups")
        warnings = preliminary(len(groups))
    else:
        warnings = ()
    if center is None or sigma is None:
        center, sigma = _grand_mean(groups), float((deviations / _each(c4, sizes)).mean())
    factor = _each(c4, sizes)
    width = numpy.sqrt(1.0 - factor * factor)
    spread = chart_of(deviations, _line(factor * sigma), _line(width * sigma), LIMITS_ONLY, floor=0.0)
    return _means_chart(groups, sizes, center, sigma, rules, spread, warnings)


def _means_chart(
    groups: list[FloatArray],
    sizes: FloatArray,
    center: float,
    sigma: float,
    rules: Iterable[str | Rule],
    spread: ControlChart,
    warnings: tuple[str, ...],
) -> ControlChart:
    means = numpy.array([float(group.mean()) for group in groups])
    return chart_of(
        means,
        center,
        _line(sigma / numpy.sqrt(sizes)),
        rules,
        process_sigma=sigma,
        spread=spread,
        warnings=warnings,
    )


def _range_chart(ranges: FloatArray, sizes: int | FloatArray, sigma: float) -> ControlChart:
    """Ranges of readings with standard deviation `sigma`: centre d2·sigma, limits d3·sigma three times
    away."""
    if isinstance(sizes, int):
        middle: Line = d2(sizes) * sigma
        width: Line = d3(sizes) * sigma
    else:
        middle, width = _line(_each(d2, sizes) * sigma), _line(_each(d3, sizes) * sigma)
    return chart_of(ranges, middle, width, LIMITS_ONLY, floor=0.0)


def _subgroups(subgroups: Sequence[Values]) -> list[FloatArray]:
    groups = [as_floats(group) for group in subgroups]
    for place, group in enumerate(groups, start=1):
        if group.size < 2:
            raise Invalid(
                "subgroup_too_small",
                f"Subgroup {place} holds {group.size} reading and needs two; use the chart of individuals.",
                subgroup=place,
            )
    return groups


def _grand_mean(groups: list[FloatArray]) -> float:
    return math.fsum(math.fsum(group) for group in groups) / sum(group.size for group in groups)


def _each(factor: Callable[[int], float], sizes: FloatArray) -> FloatArray:
    return numpy.array([factor(int(size)) for size in sizes], dtype=numpy.float64)


def _line(values: FloatArray) -> Line:
    """One number where all are equal, so that charts of equal subgroups have straight limits."""
    return float(values[0]) if numpy.all(values == values[0]) else values


def _large_subgroups(largest: int) -> tuple[str, ...]:
    if largest <= 10:
        return ()
    return (f"A range of {largest} readings wastes most of them; the chart of standard deviations sees more.",)
