"""Steering geometry; sources of the trails stand in tests/vectors/steering.json."""

from __future__ import annotations

import math
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qcapp.core.metrology.steering import fork_offset, head_twist, link_fork_offset, trail, wheel_line_offset
from tests.core.metrology.refusals import refusal
from tests.core.metrology.vectors import load

UNHURRIED = settings(deadline=None)  # machines are busy, and a first call may load a library
VECTORS = load("steering.json")
RAKE = 27.0
UP = (-math.sin(math.radians(RAKE)), 0.0, math.cos(math.radians(RAKE)))
HEAD = [[900.0 + 0 * UP[0], 0.0, 500.0], [900.0 + 200 * UP[0], 0.0, 500.0 + 200 * UP[2]]]
AXLE = [[-600.0, -450.0, 280.0], [-600.0, 450.0, 280.0]]


@pytest.mark.parametrize("row", VECTORS["trail"], ids=lambda row: row["case"] + row["wheel_radius_mm"])
def test_gives_the_trail(row: dict[str, str]) -> None:
    found = trail(Decimal(row["rake_deg"]), Decimal(row["wheel_radius_mm"]), Decimal(row["offset_mm"]))
    assert found.ground == pytest.approx(float(row["trail_mm"]), abs=1e-6)
    assert found.mechanical == pytest.approx(float(row["normal_trail_mm"]), abs=1e-6)
    if row["published_trail_mm"]:
        assert found.ground == pytest.approx(float(row["published_trail_mm"]), abs=1e-6)


def test_changes_with_offset_and_radius_as_the_reference_says() -> None:
    """steering_notes: d trail / d offset = -1/cos(rake); d trail / d radius = tan(rake)."""
    rake = math.radians(27)
    here = trail(27, 310, 45).ground
    assert "-1/cos(rake)" in VECTORS["notes"]["sensitivity_check"]
    assert trail(27, 310, 46).ground - here == pytest.approx(-1 / math.cos(rake))
    assert trail(27, 311, 45).ground - here == pytest.approx(math.tan(rake))


def test_takes_the_radius_and_not_the_diameter() -> None:
    """A published formula with the wheel diameter is wrong (steering_notes); it would give 316 mm here."""
    assert any("DIAMETER" in note for note in VECTORS["notes"]["wrong_formulas_seen"])
    assert trail(28, 310, 45).ground == pytest.approx(113.864271534)


@UNHURRIED
@given(st.floats(0, 59), st.floats(100, 500), st.floats(-100, 150))
def test_has_the_normal_trail_as_the_ground_trail_seen_along_the_axis(
    rake: float, radius: float, offset: float
) -> None:
    found = trail(rake, radius, offset)
    assert found.mechanical == pytest.approx(found.ground * math.cos(math.radians(rake)), abs=1e-9)


def test_adds_up_the_offset_of_a_link_fork() -> None:
    """Constructed: a leading link of 90 mm at 60° adds 45 mm, a trailing one takes its length away."""
    assert link_fork_offset(20, 90, 60) == pytest.approx(65)
    assert link_fork_offset(20, 90, 180) == pytest.approx(-70)
    assert link_fork_offset(20, 90, 90, blade_offset=35) == pytest.approx(55)


def test_measures_the_fork_offset_from_points() -> None:
    square = (math.cos(math.radians(RAKE)), 0.0, math.sin(math.radians(RAKE)))
    axle = [HEAD[0][k] - 480 * UP[k] + 55 * square[k] for k in range(3)]
    assert fork_offset(axle, HEAD) == pytest.approx(55)
    behind = [HEAD[0][k] - 480 * UP[k] - 55 * square[k] for k in range(3)]
    assert fork_offset(behind, HEAD) == pytest.approx(-55)
    assert fork_offset(axle, HEAD, forward=(-1, 0, 0)) == pytest.approx(-55)


def test_finds_no_twist_and_no_offset_in_a_true_frame() -> None:
    assert head_twist(HEAD, AXLE) == pytest.approx(0, abs=1e-12)
    assert wheel_line_offset(HEAD, AXLE) == pytest.approx(0, abs=1e-9)


def test_measures_a_head_that_leans_to_the_right() -> None:
    leaning = [HEAD[0], [HEAD[1][0], 200 * math.sin(math.radians(0.5)), HEAD[1][2]]]
    expected = math.degrees(math.atan2(math.sin(math.radians(0.5)), 1.0))
    assert head_twist(leaning, AXLE) == pytest.approx(expected, rel=1e-9)
    assert head_twist(leaning, AXLE[::-1]) == pytest.approx(-expected, rel=1e-9)


def test_measures_the_wheel_line_where_it_is_wanted() -> None:
    beside = [[x, y + 2.5, z] for x, y, z in HEAD]
    assert wheel_line_offset(beside, AXLE) == pytest.approx(2.5)
    assert wheel_line_offset(beside, AXLE[::-1]) == pytest.approx(-2.5)
    leaning = [HEAD[0], [HEAD[1][0], 2.0, HEAD[1][2]]]
    length = math.dist(*leaning)
    assert wheel_line_offset(leaning, AXLE) == pytest.approx(0, abs=1e-9)
    assert wheel_line_offset(leaning, AXLE, below_head=500) == pytest.approx(-500 * 2.0 / length)


def test_refuses_what_is_no_steering_geometry() -> None:
    for rake in (Decimal("-0.1"), 60, 62):
        assert "from the vertical" in refusal("rake_out_of_range", trail, rake, 310, 45)
    refusal("number_not_positive", trail, 27, 0, 45)
    refusal("number_not_plain", trail, 27, 310, math.nan)
    refusal("number_not_positive", link_fork_offset, 20, 0, 60)
    refusal("points_too_few", head_twist, HEAD[:1], AXLE)
    refusal("points_coincide", head_twist, [HEAD[0], HEAD[0]], AXLE)
    refusal("points_mixed", wheel_line_offset, [[0, 0], [0, 1]], AXLE)
    refusal("points_mixed", fork_offset, [0, 0], HEAD)
