"""Charts of measured values: individuals, means with ranges, means with standard deviations."""

from __future__ import annotations

import math
from typing import Any

import numpy
import pytest

from qcapp.core.errors import Invalid, Refused
from qcapp.core.statistics import factors
from qcapp.core.statistics.charts import ControlChart, individuals, xbar_r, xbar_s
from qcapp.core.statistics.distributions import normal_above
from qcapp.core.statistics.run_rules import ALL_RULES
from tests.core.statistics.vectors import agrees, expected_in, load

FLOW = load("statistics_xbar_r_flow_width")  # from memory, confirmed by its printed sums
RINGS = load("statistics_xbar_r_s_piston_rings")  # partly from memory
MORTGAGE = load("statistics_imr_montgomery_mortgage")  # from memory
FLOW_RATE = load("statistics_imr_nist_flowrate")  # data from memory, limits seen


def rounded(chart: ControlChart, names: list[str], constants: dict[str, float]) -> dict[str, float]:
    """Limits as the source works them out, with its constants of three decimals in place of exact ones."""
    spread = chart.spread
    assert spread is not None
    average = float(spread.center)
    found = {
        "mean": chart.center,
        "mr_bar": average,
        "ucl_x": chart.center + 3 * average / constants["d2"],
        "lcl_x": chart.center - 3 * average / constants["d2"],
        "ucl_mr": constants["D4"] * average,
    }
    return {name: float(found[name]) for name in names}


@pytest.mark.parametrize("case", [MORTGAGE, FLOW_RATE], ids=lambda c: str(c["reference"]))
def test_charts_individuals_as_published(case: dict[str, Any]) -> None:
    """The sources divide by d2 = 1.128. The chart uses 1.128379, which moves the limits by 0.03 % of their
    width; both are checked: the printed limits with the printed constant, and the chart's own within that
    difference."""
    chart = individuals(case["data"])
    expected = expected_in(case["expected"])
    for name, value in rounded(chart, list(expected), case["constants_used"]).items():
        assert agrees(value, expected[name]), name
    width = expected["ucl_x"]["value"] - expected["lcl_x"]["value"]
    assert chart.upper == pytest.approx(expected["ucl_x"]["value"], abs=4e-4 * width + 0.005)
    assert chart.lower == pytest.approx(expected["lcl_x"]["value"], abs=4e-4 * width + 0.005)
    assert chart.stable


def test_charts_means_and_ranges_as_published() -> None:
    chart = xbar_r(FLOW["data"])
    expected, constants = expected_in(FLOW["expected"]), FLOW["constants_used"]
    assert chart.spread is not None
    mean, average = float(chart.center), float(chart.spread.center)
    printed = {
        "grand_mean": mean,
        "r_bar": average,
        "xbar_ucl": mean + constants["A2"] * average,
        "xbar_lcl": mean - constants["A2"] * average,
        "r_ucl": constants["D4"] * average,
        "r_lcl": float(chart.spread.lower),
        "sigma_hat": average / constants["d2"],
    }
    for name, value in printed.items():
        assert agrees(value, expected[name]), name
    assert chart.process_sigma == pytest.approx(average / factors.d2(5), rel=1e-12)
    assert chart.upper == pytest.approx(mean + factors.A2(5) * average, rel=1e-12)
    assert chart.spread.upper == pytest.approx(factors.D4(5) * average, rel=1e-12)
    assert abs(float(chart.upper) - expected["xbar_ucl"]["value"]) < 1e-4
    assert chart.stable
    assert not chart.warnings


def test_finds_the_share_outside_the_band_as_published() -> None:
    chart = xbar_r(FLOW["data"])
    assert chart.process_sigma is not None
    share = sum(
        normal_above(abs(limit - float(chart.center)) / chart.process_sigma) for limit in (FLOW["lsl"], FLOW["usl"])
    )
    assert agrees(share, expected_in(FLOW["expected"])["fraction_outside"])


def test_charts_means_and_standard_deviations_as_published() -> None:
    phase_one = RINGS["data"][: RINGS["phase1_subgroups"]]
    expected, constants = expected_in(RINGS["expected"]), RINGS["constants_used"]
    by_s, by_r = xbar_s(phase_one), xbar_r(phase_one)
    assert by_s.spread is not None
    assert by_r.spread is not None
    s_bar, r_bar, mean = float(by_s.spread.center), float(by_r.spread.center), float(by_s.center)
    printed = {
        "grand_mean": mean,
        "r_bar": r_bar,
        "s_bar": s_bar,
        # worked out in the source from rounded 74.001 and 0.0094; unrounded 74.01459
        "xbar_ucl_from_s": round(mean, 3) + constants["A3"] * round(s_bar, 4),
        "xbar_lcl_from_s": float(by_s.lower),
        "s_ucl": float(by_s.spread.upper),
        "xbar_lcl_from_r": float(by_r.lower),
        "r_ucl": float(by_r.spread.upper),
        "points_beyond_limits_phase1": float(len(by_s.beyond_limits()) + len(by_r.beyond_limits())),
    }
    for name, value in printed.items():
        assert agrees(value, expected[name]), name
    assert by_s.upper == pytest.approx(74.01459, abs=5e-6)


def test_watches_new_subgroups_against_a_frozen_base() -> None:
    """Phase two: subgroups 37 to 39 lie above the limits of the first 25."""
    first = RINGS["phase1_subgroups"]
    base = xbar_s(RINGS["data"][:first])
    watched = xbar_s(RINGS["data"][first:], center=float(base.center), sigma=base.process_sigma)
    numbers = [at + RINGS["phase2"]["first_subgroup"] for at in watched.beyond_limits()]
    assert numbers == RINGS["phase2"]["expected_subgroups_above_ucl"]
    assert watched.upper == base.upper
    assert not watched.warnings


def test_gives_each_point_its_own_limits_where_subgroups_vary() -> None:
    groups = [[9.0, 11.0], [10.0, 12.0, 8.0], [10.0, 10.5], [9.5, 10.0, 11.0, 9.0], [10.1, 9.9]]
    for chart in (xbar_r(groups), xbar_s(groups)):
        assert chart.process_sigma is not None
        assert chart.spread is not None
        width = numpy.asarray(chart.upper) - chart.center
        assert width == pytest.approx([3 * chart.process_sigma / math.sqrt(len(group)) for group in groups])
        assert chart.center == pytest.approx(sum(map(sum, groups)) / sum(map(len, groups)))
        assert numpy.ndim(chart.spread.center) == 1
        assert chart.at(chart.center).shape == chart.points.shape
    ranges = [2.0, 4.0, 0.5, 2.0, 0.2]
    wanted = [r / factors.d2(len(group)) for r, group in zip(ranges, groups, strict=True)]
    assert xbar_r(groups).process_sigma == pytest.approx(sum(wanted) / 5)
    deviations = [numpy.std(group, ddof=1) / factors.c4(len(group)) for group in groups]
    assert xbar_s(groups).process_sigma == pytest.approx(numpy.mean(deviations))


def test_keeps_one_limit_for_all_points_of_equal_subgroups() -> None:
    chart = xbar_r(FLOW["data"])
    assert isinstance(chart.upper, float)
    assert chart.at(chart.upper).tolist() == [chart.upper] * 25


def test_reports_both_ends_of_a_jump() -> None:
    readings = [10.0, 10.2, 9.8, 10.1, 9.9] * 5 + [12.0] + [10.0, 10.2, 9.8]
    chart = individuals(readings, rules=ALL_RULES)
    assert chart.beyond_limits() == (25,)
    assert chart.spread is not None
    assert chart.spread.beyond_limits() == (24, 25)
    assert not chart.stable


def test_takes_a_single_new_reading_against_a_base() -> None:
    chart = individuals([14.0], center=10.0, sigma=1.0)
    assert chart.beyond_limits() == (0,)
    assert chart.spread is None
    assert (chart.lower, chart.upper) == (7.0, 13.0)


def test_calls_limits_from_few_points_preliminary() -> None:
    assert "preliminary" in individuals([1.0, 2.0, 1.5, 1.7, 1.2]).warnings[0]
    assert "wastes" in xbar_r([list(numpy.arange(12.0))] * 20).warnings[0]


def test_keeps_its_points_from_being_changed() -> None:
    chart = individuals([1.0, 2.0, 1.5, 1.7, 1.2])
    with pytest.raises(ValueError, match="read-only"):
        chart.points[0] = 5.0


@pytest.mark.parametrize("chart", [individuals, xbar_r, xbar_s])
def test_refuses_limits_from_too_few_points(chart: Any) -> None:
    one = 1.0 if chart is individuals else [1.0, 2.0]
    with pytest.raises(Refused, match="at least 5") as refusal:
        chart([one] * 4)
    assert refusal.value.code == "too_few_points"


@pytest.mark.parametrize("chart", [individuals, xbar_r, xbar_s])
def test_refuses_readings_that_do_not_vary(chart: Any) -> None:
    one = 1.0 if chart is individuals else [1.0, 1.0]
    with pytest.raises(Refused, match="resolution") as refusal:
        chart([one] * 10)
    assert refusal.value.code == "no_spread"


@pytest.mark.parametrize("base", [{"center": 1.0}, {"sigma": 1.0}])
@pytest.mark.parametrize("chart", [individuals, xbar_r, xbar_s])
def test_refuses_half_a_base_period(chart: Any, base: dict[str, float]) -> None:
    with pytest.raises(Invalid) as refusal:
        chart([[1.0, 2.0]] * 5 if chart is not individuals else [1.0, 2.0], **base)
    assert refusal.value.code == "half_a_base_period"


def test_refuses_subgroups_of_one_and_no_subgroups() -> None:
    for chart in (xbar_r, xbar_s):
        with pytest.raises(Invalid, match="Subgroup 2") as refusal:
            chart([[1.0, 2.0], [1.0], [1.0, 2.0]])
        assert refusal.value.code == "subgroup_too_small"
        with pytest.raises(Refused):
            chart([])
