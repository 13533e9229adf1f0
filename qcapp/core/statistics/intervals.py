"""Intervals that hold a mean, a standard deviation, a share or a part of all future readings.

Mean, standard deviation and tolerance intervals presume independent, normally distributed readings.
Formulas: NIST/ SEMATECH e-Handbook of Statistical Methods 1.3.5.2, 7.2.3.1, 7.2.4 and 7.2.6.3; ISO 16269-6
for tolerance factors.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from importlib import import_module
from typing import Literal

import numpy

from qcapp.core.errors import Invalid
from qcapp.core.statistics.distributions import (
    beta_quantile,
    chi_square_quantile,
    noncentral_student_quantile,
    normal_quantile,
    special,
    stats,
    student_quantile,
)
from qcapp.core.statistics.moments import Moments, moments
from qcapp.core.statistics.readings import Values, require_at_least, require_confidence

Side = Literal["both", "lower", "upper"]


@dataclass(frozen=True)
class Interval:
    """An estimate between two limits; a one-sided interval is open (infinite, or 0 or 1 for a share) on the
    other side."""

    estimate: float
    lower: float
    upper: float
    confidence: float


def _tails(confidence: float, side: Side) -> tuple[float, float]:
    """Probabilities at which the lower and upper limits cut off; None-like 0 and 1 for an open side."""
    require_confidence(confidence)
    match side:
        case "both":
            return (1.0 - confidence) / 2.0, (1.0 + confidence) / 2.0
        case "lower":
            return 1.0 - confidence, 1.0
        case "upper":
            return 0.0, confidence
    raise Invalid("unknown_side", f"There is no side “{side}”; choose both, lower or upper.")


def mean_interval(values: Values | Moments, *, confidence: float = 0.95, side: Side = "both") -> Interval:
    """Interval for the mean from readings, or from their moments: mean ± t·s/√n.

    Raises Refused `too_few_readings` under two; Invalid `confidence_out_of_range`.
    """
    sample = values if isinstance(values, Moments) else moments(values)
    low, high = _tails(confidence, side)
    step = sample.standard_deviation / math.sqrt(sample.n)
    return Interval(
        sample.mean,
        sample.mean + student_quantile(low, sample.n - 1) * step if low > 0 else -math.inf,
        sample.mean + student_quantile(high, sample.n - 1) * step if high < 1 else math.inf,
        confidence,
    )


def standard_deviation_interval(values: Values | Moments, *, confidence: float = 0.95, side: Side = "both") -> Interval:
    """Interval for the standard deviation: s·sqrt((n - 1)/chi-square). Raises as `mean_interval`."""
    sample = values if isinstance(values, Moments) else moments(values)
    low, high = _tails(confidence, side)
    dof, s = sample.n - 1, sample.standard_deviation
    return Interval(
        s,
        s * math.sqrt(dof / chi_square_quantile(1.0 - low, dof)) if low > 0 else 0.0,
        s * math.sqrt(dof / chi_square_quantile(1.0 - high, dof)) if high < 1 else math.inf,
        confidence,
    )


def proportion_interval(
    found: int,
    of: int,
    *,
    confidence: float = 0.95,
    method: Literal["wilson", "exact"] = "wilson",
    side: Side = "both",
) -> Interval:
    """Interval for a share. `wilson` is close on average, `exact` (Clopper and Pearson) never promises too
    much.

    Raises Invalid `count_not_possible` unless 0 <= found <= of and of >= 1, `unknown_method`.
    """
    if not 0 <= found <= of or of < 1:
        raise Invalid("count_not_possible", f"{found} out of {of} is not possible; correct one of the two.")
    low, high = _tails(confidence, side)
    if method == "wilson":
        limits = _wilson(found, of, low, high)
    elif method == "exact":
        limits = _clopper_pearson(found, of, low, high)
    else:
        raise Invalid("unknown_method", f"There is no interval “{method}”; choose wilson or exact.")
    return Interval(found / of, *limits, confidence)


def _wilson(found: int, of: int, low: float, high: float) -> tuple[float, float]:
    share = found / of

    def edge(z: float) -> float:
        middle = share + z * z / (2.0 * of)
        reach = z * math.sqrt(share * (1.0 - share) / of + z * z / (4.0 * of * of))
        return (middle + reach) / (1.0 + z * z / of)

    lower = max(0.0, edge(normal_quantile(low))) if low > 0 and found > 0 else 0.0
    upper = min(1.0, edge(normal_quantile(high))) if high < 1 and found < of else 1.0
    return lower, upper


def _clopper_pearson(found: int, of: int, low: float, high: float) -> tuple[float, float]:
    lower = beta_quantile(low, found, of - found + 1) if low > 0 and found > 0 else 0.0
    upper = beta_quantile(high, found + 1, of - found) if high < 1 and found < of else 1.0
    return lower, upper


def tolerance_interval(
    values: Values | Moments,
    *,
    coverage: float = 0.95,
    confidence: float = 0.95,
    side: Side = "both",
) -> Interval:
    """Limits that hold a share `coverage` of all readings of a normal process with `confidence`.

    `lower` and `upper` are the two limits (one of them infinite for a one-sided interval), `estimate` the
    mean. Raises as `tolerance_factor`.
    """
    sample = values if isinstance(values, Moments) else moments(values)
    k = tolerance_factor(sample.n, coverage=coverage, confidence=confidence, side=side)
    reach = k * sample.standard_deviation
    lower = -math.inf if side == "upper" else sample.mean - reach
    upper = math.inf if side == "lower" else sample.mean + reach
    return Interval(sample.mean, lower, upper, confidence)


def tolerance_factor(
    n: int,
    *,
    coverage: float = 0.95,
    confidence: float = 0.95,
    side: Side = "both",
    method: Literal["exact", "approximate"] = "exact",
) -> float:
    """How many standard deviations from the mean the limits of a normal tolerance interval lie.

    `exact`: noncentral t for one limit, numerical integration for two (ISO 16269-6). `approximate`: the
    handbook formulas for work by hand, Howe (1969) for two limits and Natrella (1963) for one. Raises
    Refused `too_few_readings` under two; Invalid `confidence_out_of_range`, `coverage_out_of_range`.
    """
    require_at_least(2, n)
    _tails(confidence, side)
    if not 0.0 < coverage < 1.0:
        raise Invalid("coverage_out_of_range", f"A coverage of {coverage} is not possible; give 0.95, say.")
    if method == "approximate":
        return (_howe if side == "both" else _natrella)(n, coverage, confidence)
    if side == "both":
        return _two_sided_factor(n, coverage, confidence)
    away = normal_quantile(coverage) * math.sqrt(n)
    return noncentral_student_quantile(confidence, n - 1, away) / math.sqrt(n)


def _howe(n: int, coverage: float, confidence: float) -> float:
    z = normal_quantile((1.0 + coverage) / 2.0)
    return z * math.sqrt((n - 1) * (1.0 + 1.0 / n) / chi_square_quantile(1.0 - confidence, n - 1))


def _natrella(n: int, coverage: float, confidence: float) -> float:
    z_coverage, z_confidence = normal_quantile(coverage), normal_quantile(confidence)
    a = 1.0 - z_confidence**2 / (2.0 * (n - 1))
    b = z_coverage**2 - z_confidence**2 / n
    if a <= 0 or z_coverage**2 - a * b < 0:
        raise Invalid("approximation_fails", f"The approximate factor does not exist for {n} readings; use exact.")
    return (z_coverage + math.sqrt(z_coverage**2 - a * b)) / a


@lru_cache(maxsize=512)
def _two_sided_factor(n: int, coverage: float, confidence: float) -> float:
    """Solve P(Φ(m + k·s) - Φ(m - k·s) >= coverage) = confidence for mean m and standard deviation s of a
    sample.

    Given m, s must reach r(m)/k, where r(m)² is a quantile of noncentral chi-square with one degree of
    freedom and noncentrality m²; the probability of that is averaged over m.
    """
    nodes, weights = numpy.polynomial.legendre.leggauss(100)
    m = 4.5 / math.sqrt(n) * (nodes + 1.0)  # up to nine standard errors
    weight = weights * 4.5 / math.sqrt(n) * 2.0 * math.sqrt(n / (2.0 * math.pi)) * numpy.exp(-n * m * m / 2.0)
    reach = stats().ncx2.ppf(coverage, 1, m * m)

    def short_of(k: float) -> float:
        enough = special().gammaincc((n - 1) / 2.0, (n - 1) * reach / (2.0 * k * k))
        return float(weight @ enough) - confidence

    near = _howe(n, coverage, confidence)
    return float(import_module("scipy.optimize").brentq(short_of, near / 3.0, near * 3.0, xtol=1e-13))
