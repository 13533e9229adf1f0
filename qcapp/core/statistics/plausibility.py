"""Hints that readings may not have been taken as they should. Hints to look, never verdicts about a person.

Rounded displays, a coarse gauge or a very steady process make the same patterns; each hint carries its
statistic and the probability of one as large by chance, and asks for a look at the gauge first.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from itertools import groupby

from qcapp.core.errors import Invalid
from qcapp.core.statistics.distributions import binomial_at_least, chi_square_above, normal_above
from qcapp.core.statistics.moments import standard_deviation
from qcapp.core.statistics.readings import Limits, missable_limits, require_at_least, require_fraction

NOTABLE = 0.01  # several hints are tried on the same readings, so the usual 0.05 would cry wolf
FEWEST_FOR_DIGITS = 30
FEWEST_NEAR_LIMIT = 10
FEWEST_FOR_REPEATS = 15
SPREAD_FOR_DIGITS = 5.0  # standard deviation in steps of the last digit, above which digits are nearly even


@dataclass(frozen=True)
class Hint:
    """`statistic` is named in `test`; `notable` says that chance alone makes one as large less than once in a
    hundred. `words` is a sentence for the person who looks."""

    kind: str
    test: str
    statistic: float
    p_value: float
    n: int
    words: str

    @property
    def notable(self) -> bool:
        return self.p_value < NOTABLE


def last_digit_preference(values: Sequence[Decimal], *, step: Decimal | None = None) -> Hint:
    """Whether some last digits are favoured: chi-square against even shares.

    The digits are those of the finest reading, counted in `step` (the gauge's resolution) where given, so
    that a gauge that shows only 0 and 5 is not blamed. Raises Refused `too_few_readings` under
    FEWEST_FOR_DIGITS; Invalid `spread_too_small` when the readings span too few steps for even digits,
    `step_does_not_fit`.
    """
    require_at_least(FEWEST_FOR_DIGITS, len(values))
    size = step if step is not None else _finest(values)
    places = [_place(value, size) for value in values]
    if standard_deviation(places) < SPREAD_FOR_DIGITS:
        raise Invalid(
            "spread_too_small",
            "The readings span too few steps of the last digit to expect all digits alike.",
        )
    kinds = _digits_in_turn(size)
    counts = Counter(abs(place) % kinds for place in places)
    expected = len(values) / kinds
    statistic = math.fsum((counts[digit] - expected) ** 2 / expected for digit in range(kinds))
    favoured, times = counts.most_common(1)[0]
    digit = favoured * _last_digit(size) % 10
    return Hint(
        "last_digit_preference",
        "chi-square",
        statistic,
        chi_square_above(statistic, kinds - 1),
        len(values),
        f"Last digit {digit} occurs {times} times in {len(values)} readings; {expected:.0f} would be even.",
    )


def _finest(values: Sequence[Decimal]) -> Decimal:
    exponents = [value.as_tuple().exponent for value in values]
    return Decimal(1).scaleb(min(exponent for exponent in exponents if isinstance(exponent, int)))


def _place(value: Decimal, step: Decimal) -> int:
    places = value / step
    if places != places.to_integral_value():
        raise Invalid("step_does_not_fit", f"The reading {value} is not a multiple of the step {step}.")
    return int(places)


def _digits_in_turn(step: Decimal) -> int:
    """How many different last digits a step allows: ten for 0.01, two for 0.5, five for 0.2."""
    return 10 // math.gcd(10, _last_digit(step))


def _last_digit(step: Decimal) -> int:
    return step.normalize().as_tuple().digits[-1]


def heaping_inside_limit(values: Sequence[Decimal], band: Limits, *, strip: Decimal | None = None) -> tuple[Hint, ...]:
    """One hint per limit: whether readings heap in a strip just inside it.

    Where readings thin out evenly, the strip holds a third of what lies in it and in its two neighbours
    (one further in, one beyond the limit); a binomial test asks whether it holds more. The limit belongs to
    the strip. `strip` is its width, a twentieth of the band where both limits are given. Raises Invalid
    `strip_missing`, `band_without_limits`; Refused `too_few_readings` with fewer than FEWEST_NEAR_LIMIT
    readings near every limit.
    """
    limits = missable_limits(band)
    if strip is None:
        if band.lower is None or band.upper is None:
            raise Invalid("strip_missing", "Give the width of the strip; a band with one limit has no width.")
        strip = (band.upper - band.lower) / 20
    hints = [
        hint
        for side, limit in zip(("lower", "upper"), limits, strict=True)
        if limit is not None and (hint := _heap_at(values, side, limit, strip)) is not None
    ]
    require_at_least(1, len(hints), f"limits with {FEWEST_NEAR_LIMIT} readings nearby")
    return tuple(hints)


def _heap_at(values: Sequence[Decimal], side: str, limit: Decimal, strip: Decimal) -> Hint | None:
    inwards = [value - limit if side == "lower" else limit - value for value in values]
    inside = sum(0 <= distance < strip for distance in inwards)
    near = sum(-strip <= distance < 2 * strip for distance in inwards)
    if near < FEWEST_NEAR_LIMIT:
        return None
    return Hint(
        f"heaping_inside_{side}_limit",
        "binomial, one third",
        float(inside),
        binomial_at_least(inside, near, 1.0 / 3.0),
        near,
        f"{inside} of {near} readings near the {side} limit lie within {strip} inside it; about a third would be even.",
    )


def repeated_values(values: Sequence[Decimal], *, usual_sigma: float | None = None) -> Hint:
    """Whether identical readings follow each other more often than their frequencies explain.

    Without `usual_sigma` the number of equal neighbours is compared with all orders of the same readings
    (runs of several kinds, Wallis and Roberts 1956; Barton and David 1957). With the usual standard
    deviation of the characteristic it is compared with step/(2·sigma·√π), the chance that two normal
    readings fall on one step; only this also sees a series that never changes. Raises Refused
    `too_few_readings`, Invalid `never_changes` (all equal and no `usual_sigma`), `sigma_not_positive`.
    """
    require_at_least(FEWEST_FOR_REPEATS, len(values))
    runs = [(value, len(list(group))) for value, group in groupby(values)]
    equal = len(values) - len(runs)
    longest_value, longest = max(runs, key=lambda run: run[1])
    words = (
        f"{equal} readings repeat the one before; the longest row is {longest} times {longest_value}, "
        f"among {len(values)} readings."
    )
    if usual_sigma is not None:
        p_value = _equal_by_chance(values, equal, usual_sigma)
        return Hint("repeated_values", "binomial, equal neighbours", float(equal), p_value, len(values), words)
    z = _runs_z(list(Counter(values).values()), len(runs))
    return Hint("repeated_values", "runs, normal approximation", z, normal_above(z), len(values), words)


def _equal_by_chance(values: Sequence[Decimal], equal: int, usual_sigma: float) -> float:
    if usual_sigma <= 0:
        raise Invalid("sigma_not_positive", "The usual standard deviation must be above zero.")
    chance = min(1.0, float(_finest(values)) / (2.0 * usual_sigma * math.sqrt(math.pi)))
    return binomial_at_least(equal, len(values) - 1, chance)


def _runs_z(frequencies: list[int], runs: int) -> float:
    """How many standard deviations the number of rows of equal readings lies below its mean over all
    orders."""
    n = sum(frequencies)
    squares, cubes = sum(f * f for f in frequencies), sum(f**3 for f in frequencies)
    mean = n + 1 - squares / n
    variance = (squares * (squares + n * (n + 1)) - 2 * n * cubes - n**3) / (n * n * (n - 1))
    if variance <= 0:
        if len(frequencies) == 1:
            raise Invalid(
                "never_changes",
                "All readings are equal; give the usual standard deviation to say whether that is likely.",
            )
        return 0.0
    return (mean - runs) / math.sqrt(variance)


def answered_too_fast(seconds: Sequence[float], *, shortest: float, tolerated: float = 0.02) -> Hint:
    """Whether more answers came faster than the check can be done than `tolerated` mishaps explain.

    `shortest` is the time in seconds that the check takes a quick, careful person. Binomial test.
    Raises Refused `too_few_readings` without an answer; Invalid `fraction_out_of_range`.
    """
    require_at_least(1, len(seconds), "answers")
    require_fraction(tolerated, "tolerated share")
    fast = sum(each < shortest for each in seconds)
    return Hint(
        "answered_too_fast",
        "binomial, tolerated share",
        float(fast),
        binomial_at_least(fast, len(seconds), tolerated),
        len(seconds),
        f"{fast} of {len(seconds)} answers took less than {shortest:g} s, the shortest time for the check.",
    )
