"""Where a series is heading: a straight line through it, and how many more units until it meets a limit.

Least squares by scipy. Units until a limit: the places at which the line's confidence band crosses the limit, the
inverse regression of Fieller (1954), "Some problems in interval estimation", Journal of the Royal Statistical
Society B 16(2); Draper and Smith, Applied Regression Analysis, chapter on inverse regression (from memory). It presumes
that the drift goes on as it did and that units vary about the line independently and alike.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy

from qcapp.core.statistics.distributions import stats, student_quantile
from qcapp.core.statistics.readings import FloatArray

FEWEST = 12  # with fewer a slope says nothing; our choice
SURE = 0.01  # probability of such a slope without any drift; lower than usual, because many series are looked at
FARTHEST = 1000  # units ahead; beyond, no straight line is to be believed


@dataclass(frozen=True)
class Ahead:
    """Units from the last reading until the line meets `limit`: estimate, soonest, latest (None: no end)."""

    side: str  # lower | upper
    limit: float
    units: float
    soonest: float
    latest: float | None


@dataclass(frozen=True)
class Drift:
    """A line through the readings. `slope` per unit with its interval; `ahead` only where it heads out of the band."""

    slope: float
    lower: float
    upper: float
    p_value: float
    level_now: float
    residual_sd: float
    n: int
    ahead: Ahead | None

    @property
    def sure(self) -> bool:
        return self.p_value < SURE


def drift_of(
    values: Sequence[float],
    lower: float | None = None,
    upper: float | None = None,
    *,
    confidence: float = 0.95,
) -> Drift | None:
    """The drift of readings in their order; None under FEWEST readings or where all are equal."""
    n = len(values)
    if n < FEWEST or min(values) == max(values):
        return None
    x = numpy.arange(n, dtype=numpy.float64)
    y = numpy.asarray(values, dtype=numpy.float64)
    fit = stats().linregress(x, y)
    slope = float(fit.slope)
    residuals = y - (fit.intercept + slope * x)
    sd = math.sqrt(float(residuals @ residuals) / (n - 2))
    t = student_quantile((1.0 + confidence) / 2.0, n - 2)
    reach = t * float(fit.stderr)
    level = float(fit.intercept + slope * (n - 1))
    ahead = None
    limit = upper if slope > 0 else lower
    if float(fit.pvalue) < SURE and limit is not None:
        ahead = _ahead(x, y, slope, sd, t, limit, "upper" if slope > 0 else "lower")
    return Drift(slope, slope - reach, slope + reach, float(fit.pvalue), level, sd, n, ahead)


def _ahead(
    x: FloatArray,
    y: FloatArray,
    slope: float,
    sd: float,
    t: float,
    limit: float,
    side: str,
) -> Ahead | None:
    n, middle = x.size, float(x.mean())
    squares = float(((x - middle) ** 2).sum())
    gap = limit - float(y.mean())
    last = n - 1 - middle
    units = gap / slope - last
    if units > FARTHEST:
        return None
    # (gap - slope·d)² = t²·sd²·(1/n + d²/squares), solved for d, the distance from the middle of the readings
    a = slope * slope - t * t * sd * sd / squares
    b = -2.0 * slope * gap
    c = gap * gap - t * t * sd * sd / n
    root = math.sqrt(max(0.0, b * b - 4.0 * a * c))
    if a <= 0:
        return Ahead(side, limit, max(0.0, units), 0.0, None)
    ends = sorted(((-b - root) / (2.0 * a) - last, (-b + root) / (2.0 * a) - last))
    return Ahead(side, limit, max(0.0, units), max(0.0, ends[0]), ends[1] if ends[1] <= FARTHEST else None)
