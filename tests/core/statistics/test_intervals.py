"""Intervals against published examples (mean_interval, proportion_intervals, tolerance_interval) and
libraries."""

from __future__ import annotations

import math
from typing import Any

import numpy
import pytest
import scipy.stats
import statsmodels.stats.proportion
from hypothesis import given
from hypothesis import strategies as st

from qcapp.core.errors import Invalid, Refused
from qcapp.core.statistics.distributions import chi_square_quantile, normal_quantile
from qcapp.core.statistics.intervals import (
    mean_interval,
    proportion_interval,
    standard_deviation_interval,
    tolerance_factor,
    tolerance_interval,
)
from qcapp.core.statistics.moments import Moments
from tests.core.statistics.vectors import agrees, expected_in, load

FLOW = load("statistics_mean_interval_nist_zarr13")  # printed results from memory
SHARES = load("statistics_proportion_intervals_nist")  # printed results from memory
WAFERS = load("statistics_tolerance_interval_nist")


def test_gives_the_interval_of_a_mean_as_published() -> None:
    found = mean_interval(FLOW["data"])
    expected = expected_in(FLOW["expected"])
    assert agrees(found.estimate, expected["mean"])
    assert agrees(standard_deviation_interval(FLOW["data"]).estimate, expected["s"])
    assert agrees(found.lower, expected["ci95_lower"])
    assert agrees(found.upper, expected["ci95_upper"])


@pytest.mark.parametrize("confidence", [0.8, 0.95, 0.999])
@pytest.mark.parametrize("n", [2, 5, 60])
def test_agrees_with_a_library_on_mean_and_standard_deviation(n: int, confidence: float) -> None:
    x = numpy.random.default_rng(n).normal(25.4, 0.03, n)
    s = x.std(ddof=1)
    low, high = scipy.stats.t.interval(confidence, n - 1, x.mean(), s / math.sqrt(n))
    found = mean_interval(x, confidence=confidence)
    assert (found.lower, found.upper) == (pytest.approx(low, rel=1e-10), pytest.approx(high, rel=1e-10))
    chi = scipy.stats.chi2.interval(confidence, n - 1)
    spread = standard_deviation_interval(x, confidence=confidence)
    assert spread.lower == pytest.approx(s * math.sqrt((n - 1) / chi[1]), rel=1e-10)
    assert spread.upper == pytest.approx(s * math.sqrt((n - 1) / chi[0]), rel=1e-10)


def test_opens_one_side_and_moves_the_other_inwards() -> None:
    sample = Moments(20, 10.0, 1.0)
    both, lower = mean_interval(sample, confidence=0.9), mean_interval(sample, confidence=0.95, side="lower")
    assert lower.lower == pytest.approx(both.lower)
    assert lower.upper == math.inf
    upper = mean_interval(sample, confidence=0.95, side="upper")
    assert (upper.lower, upper.upper) == (-math.inf, pytest.approx(both.upper))
    assert standard_deviation_interval(sample, side="upper").lower == 0.0
    assert standard_deviation_interval(sample, side="lower").upper == math.inf


def test_gives_intervals_of_a_share_as_published() -> None:
    one = SHARES["wilson"]
    lower = proportion_interval(one["defective"], one["n"], confidence=one["one_sided_confidence"], side="lower")
    assert agrees(lower.lower, one["expected"][0])
    assert lower.upper == 1.0
    case = SHARES["exact"]
    found = proportion_interval(case["defective"], case["n"], confidence=case["confidence"], method="exact")
    expected = expected_in(case["expected"])
    assert agrees(found.lower, expected["lower"])
    assert agrees(found.upper, expected["upper"])


@given(st.integers(1, 400).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n))))
def test_agrees_with_a_library_on_shares(case: tuple[int, int]) -> None:
    found, of = case
    for method, name in (("wilson", "wilson"), ("exact", "beta")):
        ours = proportion_interval(found, of, method=method)  # type: ignore[arg-type]
        low, high = statsmodels.stats.proportion.proportion_confint(found, of, 0.05, name)
        assert ours.lower == pytest.approx(float(low), abs=1e-9)
        assert ours.upper == pytest.approx(float(high), abs=1e-9)
        assert 0.0 <= ours.lower <= ours.estimate <= ours.upper <= 1.0


def test_opens_at_the_ends_of_a_share() -> None:
    assert proportion_interval(0, 30, method="exact").lower == 0.0
    assert proportion_interval(30, 30).upper == 1.0
    assert proportion_interval(0, 30, method="exact", side="upper").upper == pytest.approx(1 - 0.05 ** (1 / 30))


def test_gives_tolerance_limits_as_published() -> None:
    """43 wafers, 90 % of them with 99 % confidence. The handbook prints the approximate factors of Howe and
    Natrella; the product uses the exact ones, which differ in the third decimal."""
    n, coverage, confidence = WAFERS["n"], WAFERS["coverage"], WAFERS["confidence"]
    mean, s = WAFERS["mean"], WAFERS["s"]
    expected = expected_in(WAFERS["expected"])

    def factor(side: Any, method: Any) -> float:
        return tolerance_factor(n, coverage=coverage, confidence=confidence, side=side, method=method)

    z_confidence, z_coverage = normal_quantile(confidence), normal_quantile(coverage)
    found = {
        "chi2_0.01_42": chi_square_quantile(1 - confidence, n - 1),
        "a": 1 - z_confidence**2 / (2 * (n - 1)),
        "b": z_coverage**2 - z_confidence**2 / n,
        "k2_howe": factor("both", "approximate"),
        "k1_approx": factor("upper", "approximate"),
        "lower_two_sided": mean - factor("both", "approximate") * s,
        "upper_two_sided": mean + factor("both", "approximate") * s,
        "upper_one_sided": mean + factor("upper", "approximate") * s,
        "k1_exact_noncentral_t": factor("upper", "exact"),
        "k2_exact": factor("both", "exact"),
    }
    assert found.keys() == expected.keys()
    for name, value in found.items():
        assert agrees(value, expected[name]), name


@pytest.mark.parametrize("n", [2, 3, 10, 50, 500])
@pytest.mark.parametrize(("coverage", "confidence"), [(0.9, 0.9), (0.95, 0.95), (0.99, 0.99)])
def test_holds_the_promised_share_with_the_promised_confidence(n: int, coverage: float, confidence: float) -> None:
    """The defining double integral, done another way: over chi-square by quantile, over the mean by
    quadrature."""
    k = tolerance_factor(n, coverage=coverage, confidence=confidence)
    mean = numpy.linspace(-9, 9, 4001) / math.sqrt(n)
    density = numpy.exp(-n * mean**2 / 2) * math.sqrt(n / (2 * math.pi))
    reach = numpy.sqrt(scipy.stats.ncx2.ppf(coverage, 1, mean**2))
    enough = scipy.stats.chi2.sf((n - 1) * (reach / k) ** 2, n - 1)
    assert numpy.trapezoid(enough * density, mean) == pytest.approx(confidence, abs=1e-7)


def test_holds_the_promised_share_one_sided() -> None:
    for n in (3, 30):
        k = tolerance_factor(n, coverage=0.9, confidence=0.95, side="lower")
        away = scipy.stats.norm.ppf(0.9) * math.sqrt(n)
        assert scipy.stats.nct.cdf(k * math.sqrt(n), n - 1, away) == pytest.approx(0.95, abs=1e-9)


def test_places_tolerance_limits_about_the_mean() -> None:
    sample = Moments(43, 97.07, 0.0268)
    both = tolerance_interval(sample, coverage=0.9, confidence=0.99)
    assert both.estimate - both.lower == pytest.approx(both.upper - both.estimate)
    upper = tolerance_interval(sample, coverage=0.9, confidence=0.99, side="upper")
    assert upper.lower == -math.inf
    assert upper.upper < both.upper
    assert tolerance_interval([1.0, 2.0, 3.0], side="lower").upper == math.inf


REFUSALS: list[tuple[Any, str]] = [
    (lambda: mean_interval([1.0]), "too_few_readings"),
    (lambda: mean_interval([1.0, 2.0], confidence=1.0), "confidence_out_of_range"),
    (lambda: mean_interval([1.0, 2.0], confidence=95), "confidence_out_of_range"),
    (lambda: mean_interval([1.0, 2.0], side="left"), "unknown_side"),
    (lambda: standard_deviation_interval([1.0, 2.0], confidence=0.0), "confidence_out_of_range"),
    (lambda: proportion_interval(5, 4), "count_not_possible"),
    (lambda: proportion_interval(-1, 4), "count_not_possible"),
    (lambda: proportion_interval(0, 0), "count_not_possible"),
    (lambda: proportion_interval(1, 4, method="wald"), "unknown_method"),
    (lambda: tolerance_factor(1), "too_few_readings"),
    (lambda: tolerance_factor(5, coverage=1.0), "coverage_out_of_range"),
    (lambda: tolerance_factor(5, confidence=1.5), "confidence_out_of_range"),
    (
        lambda: tolerance_factor(3, coverage=0.9, confidence=0.99, side="upper", method="approximate"),
        "approximation_fails",
    ),
]


@pytest.mark.parametrize(("call", "code"), REFUSALS)
def test_refuses_intervals_that_do_not_exist(call: Any, code: str) -> None:
    with pytest.raises((Invalid, Refused)) as refusal:
        call()
    assert refusal.value.code == code
