"""Charts with a memory, for small lasting shifts: weighted moving average and cumulative sums.

Formulas: NIST/SEMATECH e-Handbook of Statistical Methods 6.3.2.3 and 6.3.2.4; Lucas and Saccucci (1990).
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import accumulate
from typing import Literal

import numpy
from numpy.typing import NDArray

from qcapp.core.errors import Invalid
from qcapp.core.statistics.control_chart import (
    ControlChart,
    Line,
    given_together,
    preliminary,
    require_points,
    require_sigma,
)
from qcapp.core.statistics.factors import d2
from qcapp.core.statistics.readings import FloatArray, Values, as_floats
from qcapp.core.statistics.run_rules import Pattern, Rule, Signal, run_rules

UPPER_SUM = "upper_sum_beyond_limit"
LOWER_SUM = "lower_sum_beyond_limit"


@dataclass(frozen=True, eq=False, kw_only=True)
class CusumChart(ControlChart):
    """Both cumulative sums. `points` is the larger of the two at each reading, the lower one with a minus
    sign, so that one line between -limit and +limit shows both.

    `upper_run` and `lower_run` count the readings since the sum last was zero, and `shifted_mean` estimates
    the mean since then at the first signal (None without one).
    """

    upper_sums: FloatArray
    lower_sums: FloatArray
    upper_run: NDArray[numpy.int64]
    lower_run: NDArray[numpy.int64]
    shifted_mean: float | None = None


def ewma(
    values: Values,
    *,
    weight: float = 0.2,
    width: float = 3.0,
    center: float | None = None,
    sigma: float | None = None,
    limits: Literal["settled", "exact"] = "settled",
) -> ControlChart:
    """Chart of the weighted moving average z = weight·reading + (1 - weight)·previous z, started at the
    centre.

    `settled` limits lie width·sigma·sqrt(weight/(2 - weight)) from the centre; `exact` ones start narrower
    and reach these. Without a base period centre and sigma come from the readings as in the chart of
    individuals. Raises Invalid `weight_out_of_range`, `half_a_base_period`; Refused `too_few_points`,
    `no_spread`.
    """
    if not 0.0 < weight <= 1.0:
        raise Invalid(
            "weight_out_of_range",
            f"A weight of {weight} is not possible; give one above 0 and up to 1, for example 0.2.",
        )
    x = as_floats(values)
    middle, spread, warnings = _base(x, center, sigma)
    smoothed = accumulate(x.tolist(), lambda z, new: z + weight * (new - z), initial=middle)
    points = numpy.fromiter(smoothed, dtype=numpy.float64, count=x.size + 1)[1:]
    point_sigma = spread * _share_of_sigma(weight, x.size if limits == "exact" else None)
    beyond = Rule("beyond_limits", "the moving average outside its limits", Pattern.BEYOND_ONE_SIDE, 1, 1, width)
    return ControlChart(
        points=points,
        center=middle,
        lower=middle - width * point_sigma,
        upper=middle + width * point_sigma,
        sigma=point_sigma,
        signals=run_rules(points, middle, point_sigma, [beyond]),
        process_sigma=spread,
        warnings=warnings,
    )


def _share_of_sigma(weight: float, points: int | None) -> Line:
    """Standard deviation of the average over that of a reading: settled, or after each of the first
    points."""
    settled = weight / (2.0 - weight)
    if points is None:
        return float(settled**0.5)
    left = (1.0 - weight) ** (2.0 * numpy.arange(1, points + 1))
    return numpy.asarray(numpy.sqrt(settled * (1.0 - left)), dtype=numpy.float64)


def cusum(
    values: Values,
    *,
    center: float | None = None,
    sigma: float | None = None,
    slack: float = 0.5,
    limit: float = 5.0,
) -> CusumChart:
    """Chart of the cumulative sums of what exceeds `slack`, and signals where a sum exceeds `limit`.

    `slack` and `limit` count in `sigma`, the standard deviation of a reading; `center` is the target. With
    sigma = 1 both are in the readings' own unit. Raises Invalid `slack_or_limit_out_of_range` and as `ewma`.
    """
    if slack < 0 or limit <= 0:
        raise Invalid(
            "slack_or_limit_out_of_range",
            "The slack must not be below zero and the limit must be above it; 0.5 and 5 are usual.",
        )
    x = as_floats(values)
    middle, spread, warnings = _base(x, center, sigma)
    edge = limit * spread
    upper = _sums(x - middle - slack * spread)
    lower = _sums(middle - slack * spread - x)
    runs = _since_zero(upper), _since_zero(lower)
    return CusumChart(
        points=numpy.where(upper >= lower, upper, -lower),
        center=0.0,
        lower=-edge,
        upper=edge,
        sigma=spread,
        signals=_beyond(upper, lower, edge),
        process_sigma=spread,
        warnings=warnings,
        upper_sums=upper,
        lower_sums=lower,
        upper_run=runs[0],
        lower_run=runs[1],
        shifted_mean=_shifted_mean(upper, lower, runs, edge, middle, slack * spread),
    )


def _base(x: FloatArray, center: float | None, sigma: float | None) -> tuple[float, float, tuple[str, ...]]:
    if given_together(center, sigma) and center is not None and sigma is not None:
        require_sigma(sigma)
        return center, sigma, ()
    require_points(x.size, "readings")
    estimate = float(numpy.abs(numpy.diff(x)).mean()) / d2(2)
    require_sigma(estimate)
    return float(x.mean()), estimate, preliminary(x.size)


def _sums(steps: FloatArray) -> FloatArray:
    """s[i] = max(0, s[i-1] + step[i]), as the running total less its lowest value so far."""
    total = numpy.cumsum(steps)
    lowest = numpy.minimum.accumulate(numpy.minimum(total, 0.0))
    return total - lowest


def _since_zero(sums: FloatArray) -> NDArray[numpy.int64]:
    place = numpy.arange(1, sums.size + 1)
    last_zero = numpy.maximum.accumulate(numpy.where(sums > 0, 0, place))
    return place - last_zero


def _beyond(upper: FloatArray, lower: FloatArray, edge: float) -> tuple[Signal, ...]:
    reach = edge * (1.0 + 1e-12)
    found = (
        Signal(UPPER_SUM, "the sum of upward deviations beyond its limit", _places(upper > reach), 1),
        Signal(LOWER_SUM, "the sum of downward deviations beyond its limit", _places(lower > reach), 1),
    )
    return tuple(signal for signal in found if signal.points)


def _places(hits: NDArray[numpy.bool_]) -> tuple[int, ...]:
    return tuple(numpy.flatnonzero(hits).tolist())


def _shifted_mean(
    upper: FloatArray,
    lower: FloatArray,
    runs: tuple[NDArray[numpy.int64], NDArray[numpy.int64]],
    edge: float,
    center: float,
    slack: float,
) -> float | None:
    """Centre ± (slack + sum / readings since zero) at the first signal."""
    first = numpy.flatnonzero((upper > edge) | (lower > edge))
    if not first.size:
        return None
    at = first[0]
    if upper[at] > edge:
        return float(center + slack + upper[at] / runs[0][at])
    return float(center - slack - lower[at] / runs[1][at])
