"""Readings judged again with the error that a later calibration found."""

from __future__ import annotations

from decimal import Decimal

import numpy
import pytest
from hypothesis import given
from hypothesis import strategies as st

from qcapp.core.errors import Invalid
from qcapp.core.metrology.bands import Band
from qcapp.core.metrology.decision import Verdict, judge
from qcapp.core.metrology.rejudging import ErrorCurve, ErrorPoint, Finding, judge_again

D = Decimal
BAND = Band(D("61.85"), D("62.15"), D("62.00"))


def curve(*points: tuple[str, str]) -> ErrorCurve:
    return ErrorCurve([ErrorPoint(D(reference), D(error)) for reference, error in points])


@pytest.mark.parametrize(
    ("error", "finding"),
    [
        ("0.00", Finding.STILL_IN_BAND),
        ("0.02", Finding.STILL_IN_BAND),
        ("-0.10", Finding.STILL_IN_BAND),  # corrected 62.12: exactly U away from the upper limit
        ("-0.11", Finding.DOUBTFUL),
        ("-0.16", Finding.DOUBTFUL),  # corrected 62.18: exactly U beyond it
        ("-0.161", Finding.OUT_OF_BAND),
        ("0.14", Finding.STILL_IN_BAND),
        ("0.15", Finding.DOUBTFUL),
        ("0.21", Finding.OUT_OF_BAND),
    ],
)
def test_tells_three_zones_apart(error: str, finding: Finding) -> None:
    # ISO 14253-1:2017, zones of proven conformance, proven nonconformance and between (from memory); worked by hand
    again = judge_again(D("62.02"), BAND, curve(("60", error)), D("0.03"))
    assert (again.corrected, again.finding) == (D("62.02") - D(error), finding)


def test_takes_the_error_between_points_as_a_straight_line() -> None:
    found = curve(("0", "0.00"), ("100", "0.02"), ("200", "0.10"))
    xs, ys = [0.0, 100.02, 200.1], [0.0, 0.02, 0.1]
    for shown in ("0", "25", "50.01", "100.02", "130", "200.1"):
        # numpy.interp is the independent reference
        assert float(found.at(D(shown))) == pytest.approx(float(numpy.interp(float(shown), xs, ys)), abs=1e-9)


def test_takes_the_outermost_error_beyond_the_points() -> None:
    found = curve(("10", "0.01"), ("20", "0.03"))
    assert (found.at(D("2")), found.at(D("90"))) == (D("0.01"), D("0.03"))


def test_does_not_count_a_natural_boundary() -> None:
    flat = Band(D("0"), D("0.5"), natural=frozenset({"lower"}))
    assert judge_again(D("0.02"), flat, curve(("0", "0.05")), D("0.01")).finding == Finding.STILL_IN_BAND
    assert judge_again(D("0.48"), flat, curve(("0", "-0.05")), D("0.01")).finding == Finding.OUT_OF_BAND


@pytest.mark.parametrize(
    ("points", "code"),
    [
        ([], "no_error_points"),
        ([("10", "0"), ("10", "0")], "error_points_twice"),
        ([("10", "0.5"), ("10.2", "0")], "error_points_crossed"),
    ],
)
def test_refuses_points_that_give_no_curve(points: list[tuple[str, str]], code: str) -> None:
    with pytest.raises(Invalid) as caught:
        curve(*points)
    assert caught.value.code == code
    assert caught.value.message.endswith(".")


def test_refuses_a_negative_uncertainty() -> None:
    with pytest.raises(Invalid):
        judge_again(D("62"), BAND, curve(("60", "0")), D("-0.1"))


numbers = st.decimals(min_value=55, max_value=70, places=3)


@given(numbers)
def test_agrees_with_the_first_verdict_where_the_gauge_was_right(value: Decimal) -> None:
    again = judge_again(value, BAND, curve(("60", "0")), D(0))
    out = judge(value, BAND).verdict == Verdict.OUT_OF_BAND
    assert (again.finding == Finding.OUT_OF_BAND) == out


@given(numbers, st.decimals(min_value=-1, max_value=1, places=3), st.decimals(min_value=0, max_value=1, places=3))
def test_more_uncertainty_never_proves_more(value: Decimal, error: Decimal, more: Decimal) -> None:
    sure = judge_again(value, BAND, curve(("60", str(error))), D("0.01")).finding
    unsure = judge_again(value, BAND, curve(("60", str(error))), D("0.01") + more).finding
    assert unsure in (sure, Finding.DOUBTFUL)
