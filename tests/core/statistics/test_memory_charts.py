"""Weighted moving averages and cumulative sums, and how long they run (ewma_*, cusum_* files)."""

from __future__ import annotations

from typing import Any

import numpy
import pytest
from hypothesis import given
from hypothesis import strategies as st

from qcapp.core.errors import Invalid, Refused
from qcapp.core.statistics.charts import cusum, ewma, individuals
from qcapp.core.statistics.memory_charts import LOWER_SUM, UPPER_SUM
from qcapp.core.statistics.run_length import cusum_run_length, ewma_run_length, rules_run_length
from tests.core.statistics.vectors import agrees, expected_in, last_digit, load, rows

AVERAGES = load("statistics_ewma_nist")
SHIFTED = load("statistics_cusum_montgomery")  # printed sums from memory
MEANS = load("statistics_cusum_nist")  # h and k from memory


def test_averages_as_published() -> None:
    chart = ewma(
        AVERAGES["data"],
        weight=AVERAGES["lambda_"],
        width=AVERAGES["L"],
        center=AVERAGES["start"],
        sigma=AVERAGES["sigma"],
    )
    for value, expected in zip(chart.points, AVERAGES["ewma_expected"], strict=True):
        assert agrees(float(value), expected), expected
    limits = expected_in(AVERAGES["expected"])
    assert agrees(float(chart.upper), limits["ucl"])  # the handbook's own 0.4201 is rounded up
    assert agrees(float(chart.lower), limits["lcl"])
    assert agrees(float(chart.upper), limits["ucl_untruncated"])
    assert chart.signals == ()
    assert AVERAGES["signals"] == []


def test_starts_with_narrower_exact_limits_that_settle() -> None:
    """Variance of the average after i readings: weight/(2-weight)·(1-(1-weight)^(2i)) (Lucas and Saccucci
    1990)."""
    settled = ewma([0.0] * 40, weight=0.2, center=0.0, sigma=1.0)
    exact = ewma([0.0] * 40, weight=0.2, center=0.0, sigma=1.0, limits="exact")
    assert exact.at(exact.upper)[0] == pytest.approx(3 * 0.2)
    assert exact.at(exact.upper)[1] == pytest.approx(3 * (0.2 / 1.8 * (1 - 0.8**4)) ** 0.5)
    assert exact.at(exact.upper)[-1] == pytest.approx(settled.upper, rel=1e-6)


def test_is_a_chart_of_individuals_at_full_weight() -> None:
    readings = [10.0, 12.0, 11.0, 9.0, 10.5, 10.2]
    for limits in ("settled", "exact"):
        chart = ewma(readings, weight=1.0, limits=limits)  # type: ignore[arg-type]
        single = individuals(readings)
        assert chart.points == pytest.approx(single.points)
        assert chart.at(chart.upper) == pytest.approx(single.at(single.upper))


def test_signals_a_small_lasting_shift_that_single_readings_hide() -> None:
    readings = [0.5, -0.5] * 10 + [1.5, 0.5] * 10
    chart = ewma(readings, weight=0.2, center=0.0, sigma=1.0)
    assert chart.beyond_limits()[0] > 20
    assert individuals(readings, center=0.0, sigma=1.0).beyond_limits() == ()


def test_adds_up_as_published() -> None:
    chart = cusum(
        SHIFTED["data"],
        center=SHIFTED["target"],
        sigma=SHIFTED["sigma"],
        slack=SHIFTED["k"],
        limit=SHIFTED["h"],
    )
    for sums, name in ((chart.upper_sums, "upper_expected"), (chart.lower_sums, "lower_expected")):
        for value, expected in zip(sums, SHIFTED[name], strict=True):
            assert agrees(float(value), expected), expected
    (signal,) = chart.signals
    assert (signal.rule, signal.points[0] + 1) == (UPPER_SUM, SHIFTED["first_signal"])
    assert chart.upper_run[signal.points[0]] == SHIFTED["n_plus_at_signal"]
    assert chart.shifted_mean is not None
    assert agrees(chart.shifted_mean, SHIFTED["new_mean_estimate"])


def test_adds_up_subgroup_means_as_published() -> None:
    chart = cusum(MEANS["data"], center=MEANS["target"], sigma=1.0, slack=MEANS["k"], limit=MEANS["h"])
    for sums, name in ((chart.upper_sums, "upper_expected"), (chart.lower_sums, "lower_expected")):
        for value, expected in zip(sums, MEANS[name], strict=True):
            assert agrees(float(value), expected), expected
    (signal,) = chart.signals
    assert [at + 1 for at in signal.points] == MEANS["signals_upper"]
    assert MEANS["signals_lower"] == []


@given(
    st.lists(st.integers(-8, 8), min_size=1, max_size=60),
    st.sampled_from([0.0, 0.25, 0.5, 1.0]),
)
def test_agrees_with_adding_up_step_by_step(readings: list[int], slack: float) -> None:
    chart = cusum([float(x) for x in readings], center=0.0, sigma=1.0, slack=slack, limit=4.0)
    upper = lower = 0.0
    run = [0, 0]
    for at, x in enumerate(readings):
        upper, lower = max(0.0, upper + x - slack), max(0.0, lower - x - slack)
        run = [run[0] + 1 if upper > 0 else 0, run[1] + 1 if lower > 0 else 0]
        assert (chart.upper_sums[at], chart.lower_sums[at]) == (upper, lower)
        assert [chart.upper_run[at], chart.lower_run[at]] == run
        assert chart.points[at] == (upper if upper >= lower else -lower)


def test_signals_downwards_and_mirrors_the_shifted_mean() -> None:
    up = cusum([11.0] * 12, center=10.0, sigma=1.0)
    down = cusum([9.0] * 12, center=10.0, sigma=1.0)
    assert [signal.rule for signal in down.signals] == [LOWER_SUM]
    assert down.signals[0].points == up.signals[0].points
    assert (up.shifted_mean, down.shifted_mean) == (pytest.approx(11.0), pytest.approx(9.0))
    assert (down.points <= 0).all()
    assert cusum([10.0] * 12, center=10.0, sigma=1.0).shifted_mean is None


def test_takes_centre_and_spread_from_the_readings_without_a_base() -> None:
    readings = [10.0, 10.4, 9.8, 10.1, 9.7, 10.3]
    single = individuals(readings)
    for chart in (ewma(readings), cusum(readings)):
        assert chart.process_sigma == pytest.approx(single.process_sigma)
        assert "preliminary" in chart.warnings[0]


@pytest.mark.parametrize("row", rows("statistics_ewma_arl"), ids=lambda r: f"{r['lambda']}@{r['shift_sigma']}")
def test_averages_run_as_long_as_published(row: dict[str, str]) -> None:
    """Lucas and Saccucci (1990), from memory; one printed value in the table is off in its last digit."""
    found = ewma_run_length(weight=float(row["lambda"]), width=float(row["L"]), shift=float(row["shift_sigma"]))
    assert found == pytest.approx(float(row["computed_arl"]), abs=6e-5)
    off = row["matches"] == "false"
    assert abs(found - float(row["published_arl"])) <= last_digit(row["published_arl"], 1.5 if off else 0.5)


@pytest.mark.parametrize("row", rows("statistics_cusum_arl_h5"), ids=lambda r: r["shift_sigma"])
def test_sums_run_as_long_as_published(row: dict[str, str]) -> None:
    """Two-sided scheme, from memory."""
    found = cusum_run_length(slack=float(row["k"]), limit=float(row["h"]), shift=float(row["shift_sigma"]))
    assert found == pytest.approx(float(row["computed_arl"]), rel=2e-6, abs=6e-5)
    assert abs(found - float(row["published_arl"])) <= last_digit(row["published_arl"])


def test_runs_as_single_points_do_at_full_weight() -> None:
    assert ewma_run_length(weight=1.0, width=3.0) == pytest.approx(rules_run_length(["beyond_limits"]), rel=1e-6)
    assert cusum_run_length(shift=1.0) == cusum_run_length(shift=-1.0)


def test_runs_in_simulation_as_long_as_computed() -> None:
    """4,000 simulated starts from a fixed seed with the mean one standard deviation off; 10.4 ± 0.3
    points."""
    points = numpy.random.default_rng(5).normal(1.0, 1.0, (4000, 120))
    lengths = [cusum(row, center=0.0, sigma=1.0).signals[0].points[0] + 1 for row in points]
    assert numpy.mean(lengths) == pytest.approx(cusum_run_length(shift=1.0), abs=0.4)


REFUSALS: list[tuple[Any, str]] = [
    (lambda: ewma([1.0] * 9, weight=0.0), "weight_out_of_range"),
    (lambda: ewma([1.0] * 9, weight=1.1), "weight_out_of_range"),
    (lambda: ewma([1.0, 2.0]), "too_few_points"),
    (lambda: ewma([1.0] * 9), "no_spread"),
    (lambda: ewma([1.0] * 9, center=1.0), "half_a_base_period"),
    (lambda: cusum([1.0] * 9, center=1.0, sigma=0.0), "no_spread"),
    (lambda: cusum([1.0, 2.0]), "too_few_points"),
    (lambda: cusum([1.0, 2.0], center=0.0, sigma=1.0, slack=-0.1), "slack_or_limit_out_of_range"),
    (lambda: cusum([1.0, 2.0], center=0.0, sigma=1.0, limit=0.0), "slack_or_limit_out_of_range"),
    (lambda: cusum_run_length(limit=0.0), "slack_or_limit_out_of_range"),
    (lambda: ewma_run_length(weight=0.0), "weight_out_of_range"),
    (lambda: ewma_run_length(width=0.0), "width_not_positive"),
]


@pytest.mark.parametrize(("call", "code"), REFUSALS)
def test_refuses_what_it_cannot_chart(call: Any, code: str) -> None:
    with pytest.raises((Invalid, Refused)) as refusal:
        call()
    assert refusal.value.code == code
