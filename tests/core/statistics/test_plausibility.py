"""Hints to look: each against a library or against all cases, and silent on honest readings."""

from __future__ import annotations

import itertools
import math
from decimal import Decimal
from typing import Any

import numpy
import pytest
import scipy.stats

from qcapp.core.errors import Invalid, Refused
from qcapp.core.statistics.plausibility import (
    Hint,
    answered_too_fast,
    heaping_inside_limit,
    last_digit_preference,
    repeated_values,
)
from tests.core.statistics.vectors import limits


def honest(n: int, sigma: float, places: int, seed: int, mean: float = 25.4) -> list[Decimal]:
    step = Decimal(1).scaleb(-places)
    return [Decimal(repr(float(x))).quantize(step) for x in numpy.random.default_rng(seed).normal(mean, sigma, n)]


def test_sees_a_favoured_last_digit() -> None:
    """Thirty readings whose last digit is 0 or 5, as when a dial of hundredths is read to half a division."""
    rounded = [(value * 20).quantize(Decimal(1)) / 20 for value in honest(60, 0.2, 2, 1)]
    readings = [value.quantize(Decimal("0.01")) for value in rounded]
    hint = last_digit_preference(readings)
    digits = [int(str(value)[-1]) for value in readings]
    statistic, p_value = scipy.stats.chisquare([digits.count(digit) for digit in range(10)])
    assert hint.statistic == pytest.approx(statistic)
    assert hint.p_value == pytest.approx(p_value)
    assert hint.notable
    assert "digit 0" in hint.words or "digit 5" in hint.words


def test_does_not_blame_a_gauge_that_shows_only_some_digits() -> None:
    halves = [value.quantize(Decimal(1)) / 2 for value in honest(60, 12, 0, 2, 400)]
    assert last_digit_preference(halves).notable
    allowed = last_digit_preference(halves, step=Decimal("0.5"))
    assert not allowed.notable
    assert allowed.test == "chi-square"
    fives = last_digit_preference([Decimal(5) * value for value in honest(60, 12, 0, 3, 90)], step=Decimal(5))
    assert fives.n == 60
    assert not fives.notable


def test_keeps_quiet_about_honest_digits_and_counts_trailing_zeros() -> None:
    quiet = [last_digit_preference(honest(200, 0.3, 2, seed)).notable for seed in range(40)]
    assert sum(quiet) <= 2
    negative = last_digit_preference([-value for value in honest(200, 0.3, 2, 7)])
    assert negative.statistic == pytest.approx(last_digit_preference(honest(200, 0.3, 2, 7)).statistic)


def test_counts_hints_by_chance_about_as_often_as_promised() -> None:
    notable = sum(last_digit_preference(honest(100, 0.3, 2, seed)).p_value < 0.1 for seed in range(300))
    assert 15 <= notable <= 47  # 30 expected, 5.2 is a standard deviation


def test_sees_readings_heaped_just_inside_a_limit() -> None:
    """Readings thin out towards the limit at 25.8, but 15 that should lie beyond it lie just inside."""
    readings = [value for value in honest(400, 0.2, 2, 4) if value <= Decimal("25.80")] + [Decimal("25.79")] * 15
    hints = {hint.kind: hint for hint in heaping_inside_limit(readings, limits("25.0", "25.8"))}
    upper = hints["heaping_inside_upper_limit"]
    assert upper.notable
    inside, near = int(upper.statistic), upper.n
    assert upper.p_value == pytest.approx(scipy.stats.binomtest(inside, near, 1 / 3, "greater").pvalue)
    assert not hints["heaping_inside_lower_limit"].notable


def test_counts_the_limit_itself_as_inside() -> None:
    at_limit = [Decimal("10.0")] * 12
    (hint,) = heaping_inside_limit(at_limit, limits("9.0", "10.0"))
    assert (hint.statistic, hint.n) == (12.0, 12)
    beyond = [Decimal("10.01")] * 12
    (hint,) = heaping_inside_limit(beyond, limits("9.0", "10.0"))
    assert (hint.statistic, hint.n) == (0.0, 12)
    edge = [Decimal("9.95")] * 12  # exactly one strip in: belongs to the next one
    (hint,) = heaping_inside_limit(edge, limits("9.0", "10.0"))
    assert hint.statistic == 0.0


def test_keeps_quiet_about_honest_readings_near_a_limit() -> None:
    notable = sum(
        hint.notable
        for seed in range(30)
        for hint in heaping_inside_limit(honest(500, 0.3, 3, seed), limits("25.0", "25.8"))
    )
    assert notable <= 2


def test_leaves_a_natural_boundary_alone() -> None:
    flatness = [abs(value - Decimal("25.4")) for value in honest(200, 0.1, 3, 5)]
    with_natural = heaping_inside_limit(flatness, limits(0, "0.2", "lower"))
    assert [hint.kind for hint in with_natural] == ["heaping_inside_upper_limit"]


def test_sees_values_that_repeat_the_one_before() -> None:
    copied = [value for value in honest(20, 0.3, 2, 6) for _ in range(2)]
    hint = repeated_values(copied)
    assert hint.notable
    assert hint.words.startswith("20 readings repeat")
    shuffled = list(numpy.random.default_rng(1).permutation(numpy.array(copied)))
    assert not repeated_values(shuffled).notable


@pytest.mark.parametrize("kinds", ["aaabb", "aabbcc", "aaaabc", "abcde"])
def test_knows_mean_and_spread_of_runs_over_all_orders(kinds: str) -> None:
    """Exact, by writing down every order of a small series."""
    from qcapp.core.statistics.plausibility import _runs_z

    counts = [len(list(orders)) for orders in every_order_by_runs(kinds)]
    runs = [len(list(itertools.groupby(order))) for order in itertools.permutations(kinds)]
    mean, spread = numpy.mean(runs), numpy.std(runs)
    assert sum(counts) == math.factorial(len(kinds))
    frequencies = [kinds.count(kind) for kind in set(kinds)]
    for seen in set(runs):
        expected = (mean - seen) / spread if spread > 0 else 0.0
        assert _runs_z(frequencies, seen) == pytest.approx(expected)


def every_order_by_runs(kinds: str) -> list[list[tuple[str, ...]]]:
    by_runs: dict[int, list[tuple[str, ...]]] = {}
    for order in itertools.permutations(kinds):
        by_runs.setdefault(len(list(itertools.groupby(order))), []).append(order)
    return list(by_runs.values())


def test_judges_a_series_that_never_changes_only_with_the_usual_spread() -> None:
    same = [Decimal("25.40")] * 20
    hint = repeated_values(same, usual_sigma=0.1)
    assert hint.notable
    assert hint.words.endswith("the longest row is 20 times 25.40, among 20 readings.")
    coarse = repeated_values([Decimal("25")] * 20, usual_sigma=0.1)
    assert coarse.p_value == 1.0  # a gauge that shows whole millimetres cannot show this spread
    with pytest.raises(Invalid) as refusal:
        repeated_values(same)
    assert refusal.value.code == "never_changes"


def test_expects_as_many_equal_neighbours_as_normal_readings_have() -> None:
    """Chance of two readings on one step: step/(2·sigma·√π), about 0.028 for a hundredth and 0.1."""
    readings = honest(20_000, 0.1, 2, 8)
    equal = sum(a == b for a, b in itertools.pairwise(readings))
    assert equal / 19_999 == pytest.approx(0.01 / (2 * 0.1 * math.sqrt(math.pi)), rel=0.06)
    assert not repeated_values(readings, usual_sigma=0.1).notable


def test_sees_answers_faster_than_the_check() -> None:
    seconds = [4.0] * 8 + [45.0] * 12
    hint = answered_too_fast(seconds, shortest=20.0)
    assert (hint.statistic, hint.n) == (8.0, 20)
    assert hint.p_value == pytest.approx(scipy.stats.binomtest(8, 20, 0.02, "greater").pvalue)
    assert hint.notable
    assert not answered_too_fast([45.0] * 20, shortest=20.0).notable
    assert answered_too_fast([20.0], shortest=20.0).statistic == 0.0


def test_names_what_was_seen_without_judging_anybody() -> None:
    hints: list[Hint] = [
        answered_too_fast([4.0], shortest=20.0),
        last_digit_preference(honest(60, 0.3, 2, 9)),
        repeated_values(honest(60, 0.3, 2, 9)),
        *heaping_inside_limit(honest(400, 0.2, 2, 9), limits("25.0", "25.8")),
    ]
    for hint in hints:
        assert hint.words.endswith(".")
        assert not any(word in hint.words for word in ("wrong", "false", "cheat", "person", "invent"))


SHORT = honest(10, 0.3, 2, 1)
REFUSALS: list[tuple[Any, str]] = [
    (lambda: last_digit_preference(SHORT), "too_few_readings"),
    (lambda: last_digit_preference(honest(60, 0.02, 2, 1)), "spread_too_small"),
    (lambda: last_digit_preference(honest(60, 0.3, 2, 1), step=Decimal("0.5")), "step_does_not_fit"),
    (lambda: heaping_inside_limit(SHORT, limits(None, 26)), "strip_missing"),
    (lambda: heaping_inside_limit(SHORT, limits(None, None)), "band_without_limits"),
    (lambda: heaping_inside_limit(SHORT, limits(20, 30)), "too_few_readings"),
    (lambda: repeated_values(SHORT), "too_few_readings"),
    (lambda: repeated_values(honest(20, 0.3, 2, 1), usual_sigma=0.0), "sigma_not_positive"),
    (lambda: answered_too_fast([], shortest=10.0), "too_few_readings"),
    (lambda: answered_too_fast([1.0], shortest=10.0, tolerated=2), "fraction_out_of_range"),
]


@pytest.mark.parametrize(("call", "code"), REFUSALS)
def test_refuses_to_hint_from_too_little(call: Any, code: str) -> None:
    with pytest.raises((Invalid, Refused)) as refusal:
        call()
    assert refusal.value.code == code
