"""Factors of control charts: what range and standard deviation of a small sample of normal values come to.

d2 and d3 are mean and standard deviation of the range of n standard normal values, c4 the mean of their
standard deviation; the others follow from these (definitions: ASTM E2587, ISO 7870-2). d2 and d3 come from
numerical integration of the distribution of the range and are kept after the first call. Old printed tables
round along the way: 31 of their 384 values for n = 2 to 25 are off by up to three units of the last digit.

The upper-case names are the trade's own.
"""

from __future__ import annotations

import math
from functools import cache

import numpy

from qcapp.core.errors import Invalid
from qcapp.core.statistics.distributions import special

LARGEST_SUBGROUP = 100
_WIDEST_RANGE = 15.0  # a range of 100 normal values exceeds it less than once in 1e20
_TAIL = 9.0


def d2(n: int) -> float:
    """Mean of the range of n standard normal values. Raises Invalid `subgroup_size_out_of_range` outside
    2…100."""
    return _range_moments(_checked(n))[0]


def d3(n: int) -> float:
    """Standard deviation of the range of n standard normal values; raises as `d2`."""
    return _range_moments(_checked(n))[1]


def d2_star(n: int, groups: int) -> float:
    """Divisor for the average of `groups` ranges of n values each: sqrt(d2² + d3²/groups).

    Close to d2 from about 15 groups on. Source: Duncan (1955), as used for gauge studies (from memory).
    """
    if groups < 1:
        raise Invalid("no_groups", "An average range needs at least one group of readings.", groups=groups)
    return math.sqrt(d2(n) ** 2 + d3(n) ** 2 / groups)


def c4(n: int) -> float:
    """Mean of the standard deviation of n standard normal values, for any n from 2 on."""
    if n < 2:
        raise _size_refusal(n, None)
    if n > 1000:  # the difference of two large logarithms would lose digits here; the series does not
        return 1.0 - 1.0 / (4.0 * n) - 7.0 / (32.0 * n**2) - 19.0 / (128.0 * n**3)
    return math.sqrt(2.0 / (n - 1)) * math.exp(math.lgamma(n / 2) - math.lgamma((n - 1) / 2))


def A(n: int) -> float:  # noqa: N802
    """3/√n: limits of the mean from a known standard deviation."""
    return 3.0 / math.sqrt(_checked(n))


def A2(n: int) -> float:  # noqa: N802
    """3/(d2·√n): limits of the mean from the average range."""
    return A(n) / d2(n)


def A3(n: int) -> float:  # noqa: N802
    """3/(c4·√n): limits of the mean from the average standard deviation."""
    return A(n) / c4(n)


def B3(n: int) -> float:  # noqa: N802
    """Lower limit of the standard deviation as a multiple of its average; never below 0."""
    return max(0.0, 1.0 - _b_width(n))


def B4(n: int) -> float:  # noqa: N802
    """Upper limit of the standard deviation as a multiple of its average."""
    return 1.0 + _b_width(n)


def B5(n: int) -> float:  # noqa: N802
    """Lower limit of the standard deviation as a multiple of the known one; never below 0."""
    return B3(n) * c4(n)


def B6(n: int) -> float:  # noqa: N802
    """Upper limit of the standard deviation as a multiple of the known one."""
    return B4(n) * c4(n)


def D1(n: int) -> float:  # noqa: N802
    """Lower limit of the range as a multiple of the known standard deviation; never below 0."""
    return max(0.0, d2(n) - 3.0 * d3(n))


def D2(n: int) -> float:  # noqa: N802
    """Upper limit of the range as a multiple of the known standard deviation."""
    return d2(n) + 3.0 * d3(n)


def D3(n: int) -> float:  # noqa: N802
    """Lower limit of the range as a multiple of the average range; never below 0."""
    return D1(n) / d2(n)


def D4(n: int) -> float:  # noqa: N802
    """Upper limit of the range as a multiple of the average range."""
    return D2(n) / d2(n)


def E2(n: int) -> float:  # noqa: N802
    """3/d2: limits of single readings from the average range of n of them."""
    return 3.0 / d2(n)


def _b_width(n: int) -> float:
    factor = c4(_checked(n))
    return 3.0 * math.sqrt(1.0 - factor * factor) / factor


def _checked(n: int) -> int:
    if not 2 <= n <= LARGEST_SUBGROUP:
        raise _size_refusal(n, LARGEST_SUBGROUP)
    return n


def _size_refusal(n: int, largest: int | None) -> Invalid:
    until = f" to {largest}" if largest else " on"
    return Invalid(
        "subgroup_size_out_of_range",
        f"There is no chart factor for subgroups of {n}; subgroups may hold from 2{until} readings.",
        subgroup_size=n,
    )


@cache
def _range_moments(n: int) -> tuple[float, float]:
    """Mean and standard deviation of the range W of n standard normal values.

    P(W <= w) = n ∫ φ(x) [Φ(x+w) - Φ(x)]^(n-1) dx (Tippett 1925). The inner integral is a trapezoid sum, which
    for a smooth integrand that vanishes at both ends is as good as exact; the outer one takes the moments of
    P(W > w) with 120 Gauss-Legendre nodes.
    """
    nodes, weights = numpy.polynomial.legendre.leggauss(120)
    w = _WIDEST_RANGE / 2.0 * (nodes + 1.0)
    weights = weights * _WIDEST_RANGE / 2.0
    step = 1.0 / 32.0
    x = numpy.arange(-_TAIL, _TAIL + step, step)
    density = numpy.exp(-x * x / 2.0) / math.sqrt(2.0 * math.pi)
    between = special().ndtr(x[None, :] + w[:, None]) - special().ndtr(x)[None, :]
    wider = 1.0 - n * step * (density[None, :] * between ** (n - 1)).sum(axis=1)
    mean = float(weights @ wider)
    square = 2.0 * float(weights @ (w * wider))
    return mean, math.sqrt(square - mean * mean)
