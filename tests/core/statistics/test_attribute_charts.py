"""Charts of counts against published examples (p_np_chart, c_chart, u_chart files)."""

from __future__ import annotations

from typing import Any

import numpy
import pytest

from qcapp.core.errors import Invalid, Refused
from qcapp.core.statistics.anova import compare_shares
from qcapp.core.statistics.charts import c, np, p, u
from tests.core.statistics.vectors import agrees, expected_in, load

SAMPLES = load("statistics_p_np_chart_30_samples_of_50")  # partly from memory
WAFERS = load("statistics_c_chart_nist_wafers")  # limits from memory
COMPUTERS = load("statistics_u_chart_montgomery_computers")  # from memory
CLOTH = load("statistics_u_chart_variable_size_cloth")  # from memory


def test_charts_shares_and_numbers_as_published() -> None:
    counts, n = SAMPLES["data"], SAMPLES["n"]
    expected = expected_in(SAMPLES["expected"])
    shares, numbers, printed = p(counts, n), np(counts, n), np(counts, n, center=n * 0.2313)
    found = {
        "total": float(sum(counts)),
        "p_bar": float(shares.center),
        "ucl": float(shares.upper),
        "lcl": float(shares.lower),
        # for numbers the source goes on from the rounded 0.2313: centre 11.565 where 11.5667 is exact
        "np_centre": float(printed.center),
        "np_ucl": float(printed.upper),
        "np_lcl": float(printed.lower),
    }
    for name, value in found.items():
        assert agrees(value, expected[name]), name
    assert numbers.center == pytest.approx(347 / 30)
    assert numbers.upper == pytest.approx(printed.upper, abs=0.003)
    above = [at + 1 for at in shares.beyond_limits()]
    assert above == SAMPLES["samples_above_ucl"] == [at + 1 for at in numbers.beyond_limits()]


def test_revises_limits_without_the_samples_that_had_a_cause() -> None:
    kept = [count for at, count in enumerate(SAMPLES["data"], start=1) if at not in SAMPLES["revised_without"]]
    chart = p(kept, SAMPLES["n"])
    expected = expected_in(SAMPLES["revised_expected"])
    for name, value in {"p_bar": chart.center, "ucl": chart.upper, "lcl": chart.lower}.items():
        assert agrees(float(value), expected[name]), name


def test_compares_the_shares_before_and_after_an_adjustment() -> None:
    """The 24 later counts are from memory. The source compares all 24 samples with the 28 kept ones."""
    after = SAMPLES["after_adjustment"]
    expected = expected_in(after["expected"])
    chart = p(after["data"], SAMPLES["n"])
    for name, value in {"p_bar": chart.center, "ucl": chart.upper, "lcl": chart.lower}.items():
        assert agrees(float(value), expected[name]), name
    kept = [count for at, count in enumerate(SAMPLES["data"], start=1) if at not in SAMPLES["revised_without"]]
    before = (sum(kept), 50 * len(kept))
    test = compare_shares(before, (sum(after["data"]), 50 * len(after["data"])))
    assert agrees(test.statistic, expected["z_two_proportions"])
    assert test.p_value < 1e-11


def test_charts_counts_as_published_and_leaves_a_count_on_the_limit_inside() -> None:
    chart = c(WAFERS["data"])
    expected = expected_in(WAFERS["expected"])
    for name, value in {"c_bar": chart.center, "ucl": chart.upper, "lcl": chart.lower}.items():
        assert agrees(float(value), expected[name]), name
    assert max(WAFERS["data"][:5]) == chart.upper == 28
    assert [at + 1 for at in chart.beyond_limits()] == WAFERS["points_above_ucl"]


def test_charts_imperfections_per_unit_as_published() -> None:
    chart = u(COMPUTERS["defects"], COMPUTERS["units_per_sample"])
    expected = expected_in(COMPUTERS["expected"])
    for name, value in {"u_bar": chart.center, "ucl": chart.upper, "lcl": chart.lower}.items():
        assert agrees(float(value), expected[name]), name
    assert isinstance(chart.upper, float)


def test_gives_each_roll_its_own_limits_as_published() -> None:
    """The printed limits use the average rounded to 1.42; from the unrounded one they differ by up to
    0.004."""
    chart = u(CLOTH["defects"], CLOTH["units"])
    assert agrees(float(chart.center), expected_in(CLOTH["expected"])["u_bar"])
    printed = u(CLOTH["defects"], CLOTH["units"], center=1.42)
    for at, limit in enumerate(CLOTH["limits"]):
        assert agrees(float(printed.at(printed.upper)[at]), limit["ucl"])
        assert agrees(float(printed.at(printed.lower)[at]), limit["lcl"])
    assert numpy.abs(numpy.asarray(chart.upper) - printed.upper).max() < 0.005
    assert chart.stable


def test_keeps_limits_within_what_is_possible() -> None:
    few = p([0, 1, 0, 0, 1, 0], 5)
    assert few.lower == 0.0
    many = p([5, 4, 5, 5, 4, 5], 5)
    assert many.upper == 1.0
    assert np([5, 4, 5, 5, 4, 5], 5).upper == 5.0
    assert c([1, 0, 2, 1, 0]).lower == 0.0


def test_watches_against_a_base_period() -> None:
    assert p([10], 50, center=0.05).beyond_limits() == (0,)
    assert np([10], 50, center=2.5).beyond_limits() == (0,)
    assert c([20], center=4.0).beyond_limits() == (0,)
    assert u([20], 2.0, center=4.0).beyond_limits() == (0,)
    assert "preliminary" in c([1, 0, 2, 1, 0]).warnings[0]


REFUSALS: list[tuple[Any, str]] = [
    (lambda: p([1, 2], 50), "too_few_points"),
    (lambda: c([1, 2]), "too_few_points"),
    (lambda: c([0] * 10), "no_spread"),
    (lambda: p([0] * 10, 50), "no_spread"),
    (lambda: np([50] * 10, 50), "no_spread"),
    (lambda: p([1, 2.5, 3, 4, 5], 50), "counts_not_whole"),
    (lambda: c([1, -2, 3, 4, 5]), "counts_not_whole"),
    (lambda: p([1, 2, 3, 4, 5], [50, 50]), "sizes_do_not_match"),
    (lambda: u([1, 2, 3, 4, 5], [1.0, 0.0, 1.0, 1.0, 1.0]), "sizes_do_not_match"),
    (lambda: p([1, 51, 3, 4, 5], 50), "more_than_the_sample"),
    (lambda: np([1, 51, 3, 4, 5], 50), "more_than_the_sample"),
    (lambda: np([1, 2, 3, 4, 5], [50, 40, 50, 50, 50]), "sizes_vary"),  # type: ignore[arg-type]
    (lambda: p([1], 50, center=1.5), "fraction_out_of_range"),
]


@pytest.mark.parametrize(("chart", "code"), REFUSALS)
def test_refuses_counts_it_cannot_chart(chart: Any, code: str) -> None:
    with pytest.raises((Invalid, Refused)) as refusal:
        chart()
    assert refusal.value.code == code
