"""Mean, standard deviation and lag-1 autocorrelation that keep their digits.

    >>> moments([10000001, 10000003, 10000002])
    Moments(n=3, mean=10000002.0, standard_deviation=1.0)

Up to EXACT_UP_TO readings are summed as whole numbers of their last decimal, so nothing is lost before the
final division and root; a float counts as the shortest decimal that reads back as it, because a gauge or a
person sent a decimal. Larger sets take two passes over a float array, the second about the first mean
(Chan, Golub and LeVeque 1983, corrected two-pass algorithm). Checked against the NIST StRD univariate sets.
"""

from __future__ import annotations

import decimal
import math
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from itertools import pairwise
from typing import SupportsFloat

import numpy

from qcapp.core.errors import Refused
from qcapp.core.statistics.readings import FloatArray, Values, as_floats

EXACT_UP_TO = 20_000
_EXACT = decimal.Context(prec=800, Emin=-9999, Emax=9999, traps=[decimal.Inexact, decimal.InvalidOperation])


@dataclass(frozen=True)
class Moments:
    """Standard deviation with n - 1; 0 for a single reading never occurs, it is refused."""

    n: int
    mean: float
    standard_deviation: float


@dataclass(frozen=True)
class Scaled:
    """Readings as whole numbers of `step`: reading = whole × step, exactly."""

    whole: list[int]
    step: Fraction


def scaled(values: Values) -> Scaled:
    """The readings as exact whole numbers of their smallest decimal.

    Raises Invalid `reading_not_a_number`. Meant for up to EXACT_UP_TO readings.
    """
    as_floats(values)
    plain = values.tolist() if isinstance(values, numpy.ndarray) else values
    decimals = [_as_decimal(value) for value in plain]
    exponent = min(_exponent(number) for number in decimals)
    whole = [int(number.scaleb(-exponent, _EXACT)) for number in decimals]
    return Scaled(whole, Fraction(10) ** exponent)


def _as_decimal(value: SupportsFloat) -> Decimal:
    if isinstance(value, Decimal):
        return value
    if isinstance(value, int):
        return Decimal(value)
    return Decimal(float.__repr__(float(value)))


def _exponent(number: Decimal) -> int:
    exponent = number.as_tuple().exponent
    return exponent if isinstance(exponent, int) else 0


def moments(values: Values) -> Moments:
    """Number, mean and standard deviation (n - 1) of the readings.

    Raises Refused `too_few_readings` under two, Invalid `reading_not_a_number`.
    """
    if len(values) > EXACT_UP_TO:
        return _moments_of_array(as_floats(values))
    as_floats(values, least=2)
    exact = scaled(values)
    n, total = len(exact.whole), sum(exact.whole)
    squares = n * sum(number * number for number in exact.whole) - total * total
    variance = Fraction(squares, n * (n - 1)) * exact.step**2
    return Moments(n, float(Fraction(total, n) * exact.step), root(variance))


def root(square: Fraction) -> float:
    """Square root of an exact fraction, also where the fraction itself would overflow or underflow a
    float."""
    if square == 0:
        return 0.0
    shift = (square.numerator.bit_length() - square.denominator.bit_length()) // 2
    return math.ldexp(math.sqrt(square / Fraction(4) ** shift), shift)


def _moments_of_array(x: FloatArray) -> Moments:
    first = float(x.mean())
    deviations = x - first
    rest = float(deviations.mean())
    squares = float(deviations @ deviations) - x.size * rest * rest
    return Moments(x.size, first + rest, math.sqrt(squares / (x.size - 1)))


def mean(values: Values) -> float:
    """Arithmetic mean. Raises Refused `too_few_readings` when there is none."""
    x = as_floats(values, least=1)
    if x.size > EXACT_UP_TO:
        first = float(x.mean())
        return first + float((x - first).mean())
    exact = scaled(values)
    return float(Fraction(sum(exact.whole), len(exact.whole)) * exact.step)


def standard_deviation(values: Values) -> float:
    """Standard deviation with n - 1. Raises Refused `too_few_readings` under two readings."""
    return moments(values).standard_deviation


def lag1_autocorrelation(values: Values) -> float:
    """How much a reading follows the one before it, from -1 to 1 (about 0 for independent readings).

    Sum of products of neighbours' deviations over the sum of squared deviations (NIST StRD definition).
    Raises Refused `too_few_readings` under three and `no_spread` when all are equal.
    """
    x = as_floats(values, least=3)
    if x.size > EXACT_UP_TO:
        deviations = x - x.mean()
        require_spread(float(deviations @ deviations))
        return float(deviations[1:] @ deviations[:-1]) / float(deviations @ deviations)
    whole = scaled(values).whole
    n, total = len(whole), sum(whole)
    apart = [n * number - total for number in whole]
    squares = sum(number * number for number in apart)
    require_spread(squares)
    return float(Fraction(sum(a * b for a, b in pairwise(apart)), squares))


def require_spread(spread: float) -> None:
    """Raises Refused `no_spread` when the readings do not differ at all."""
    if not spread > 0:
        raise Refused(
            "no_spread",
            "All readings are equal, so their spread cannot be judged; check the resolution of the gauge.",
        )
