"""The probability functions the statistics need, typed; scipy is loaded at the first call that needs it.

Loading scipy costs more than most pages take, so callers that only look up a table never pay for it.
"""

from __future__ import annotations

import math
from functools import cache
from importlib import import_module
from statistics import NormalDist
from typing import Any

_STANDARD = NormalDist()


@cache
def special() -> Any:
    """scipy.special, loaded once."""
    return import_module("scipy.special")


@cache
def stats() -> Any:
    """scipy.stats, loaded once; slower to load than `special`."""
    return import_module("scipy.stats")


def normal_below(z: float) -> float:
    """Probability that a standard normal value is at most z; exact in the far lower tail."""
    return 0.5 * math.erfc(-z / math.sqrt(2.0))


def normal_above(z: float) -> float:
    """Probability that a standard normal value is above z; exact in the far upper tail."""
    return 0.5 * math.erfc(z / math.sqrt(2.0))


def normal_density(z: float) -> float:
    return math.exp(-0.5 * z * z) / math.sqrt(2.0 * math.pi)


def normal_quantile(probability: float) -> float:
    """The z that a standard normal value stays below with this probability (0 < probability < 1)."""
    return _STANDARD.inv_cdf(probability)


def student_quantile(probability: float, dof: float) -> float:
    return float(special().stdtrit(dof, probability))


def chi_square_quantile(probability: float, dof: float) -> float:
    """The value that chi-square with `dof` degrees of freedom (need not be whole) stays below."""
    return float(2.0 * special().gammaincinv(dof / 2.0, probability))


def chi_square_above(value: float, dof: float) -> float:
    return float(special().gammaincc(dof / 2.0, value / 2.0))


def f_above(value: float, dof_between: float, dof_within: float) -> float:
    return float(special().fdtrc(dof_between, dof_within, value))


def beta_below(value: float, a: float, b: float) -> float:
    return float(special().betainc(a, b, value))


def beta_quantile(probability: float, a: float, b: float) -> float:
    return float(special().betaincinv(a, b, probability))


def binomial_at_most(count: int, trials: int, probability: float) -> float:
    if count < 0:
        return 0.0
    return 1.0 if count >= trials else float(special().bdtr(count, trials, probability))


def binomial_at_least(count: int, trials: int, probability: float) -> float:
    if count <= 0:
        return 1.0
    return 0.0 if count > trials else float(special().bdtrc(count - 1, trials, probability))


def poisson_at_most(count: int, expected: float) -> float:
    return 0.0 if count < 0 else float(special().pdtr(count, expected))


def poisson_expected_at(count: int, probability: float) -> float:
    """The expected number at which at most `count` events have this probability."""
    return float(special().gammainccinv(count + 1, probability))


def hypergeometric_at_most(count: int, *, lot_size: int, nonconforming: int, sample_size: int) -> float:
    """Probability of at most `count` nonconforming pieces in a sample drawn without replacement."""
    return float(stats().hypergeom.cdf(count, lot_size, nonconforming, sample_size))


def noncentral_student_quantile(probability: float, dof: float, noncentrality: float) -> float:
    return float(stats().nct.ppf(probability, dof, noncentrality))


def noncentral_student_below(value: float, dof: float, noncentrality: float) -> float:
    return float(stats().nct.cdf(value, dof, noncentrality))
