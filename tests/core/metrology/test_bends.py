"""Tube bends; sources stand in tests/vectors/bends.json. The thinning formula is a rule of thumb."""

from __future__ import annotations

import math
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qcapp.core.metrology.bands import Band
from qcapp.core.metrology.bends import (
    BEFORE_BENDING,
    bend_ovality,
    bend_thinning,
    measured_thinning,
    wall_before_bending,
    wall_factors,
)
from qcapp.core.metrology.decision import Verdict, judge
from tests.core.metrology.refusals import refusal
from tests.core.metrology.vectors import load

UNHURRIED = settings(deadline=None)  # machines are busy, and a first call may load a library
VECTORS = load("bends.json")
FORMULAS = {row["id"]: row for row in VECTORS["formulas"]}
MICRO = Decimal("0.000001")


@pytest.mark.parametrize("row", VECTORS["ovality"], ids=lambda row: f"{row['od_max']} {row['od_min']}")
def test_computes_ovality_both_ways(row: dict[str, str]) -> None:
    """Over the mean diameter: definition from memory."""
    sizes = Decimal(row["od_max"]), Decimal(row["od_min"])
    nominal = bend_ovality(*sizes, Decimal(row["od_nominal"]))
    assert abs(nominal - Decimal(row["ovality_nominal_pct"])) < MICRO
    assert abs(bend_ovality(*sizes) - Decimal(row["ovality_mean_pct"])) < MICRO
    for limit in (8, 10):
        verdict = judge(nominal, Band(Decimal(0), Decimal(limit), natural=frozenset({"lower"}))).verdict
        assert (verdict is Verdict.OUT_OF_BAND) == (row[f"verdict_{limit}pct_nominal"] == "out")


@pytest.mark.parametrize("row", VECTORS["thinning"], ids=lambda row: f"{row['od_mm']} R{row['bend_radius_mm']}")
def test_estimates_thinning_from_the_geometry(row: dict[str, str]) -> None:
    sizes = (Decimal(row[name]) for name in ("od_mm", "bend_radius_mm", "wall_mm"))
    found = bend_thinning(*sizes)
    assert abs(found.thinning_percent - Decimal(row["thinning_pct"])) < MICRO
    assert abs(found.wall_after - Decimal(row["wall_after_mm"])) < MICRO
    assert abs(found.elongation_percent - Decimal(row["elongation_pct"])) < MICRO
    assert abs(found.bend_ratio - Decimal(row["D_of_bend"])) < MICRO
    assert abs(found.wall_factor - Decimal(row["wall_factor"])) < MICRO


@pytest.mark.parametrize("row", VECTORS["wall_factors"], ids=lambda row: f"{row['od_mm']} R{row['bend_radius_mm']}")
def test_computes_the_wall_factors_of_b31_1(row: dict[str, str]) -> None:
    intrados, extrados = wall_factors(Decimal(row["od_mm"]), Decimal(row["bend_radius_mm"]))
    assert abs(intrados - Decimal(row["I_intrados"])) < MICRO
    assert abs(extrados - Decimal(row["I_extrados"])) < MICRO
    if row["published_intrados"]:
        assert abs(intrados - Decimal(row["published_intrados"])) <= Decimal("0.005")
        assert abs(extrados - Decimal(row["published_extrados"])) <= Decimal("0.005")


def test_has_the_walls_before_bending_of_b31_1() -> None:
    printed = {name.split()[0]: value for name, value in FORMULAS["B31.1_before_bending"]["values"].items()}
    assert {str(ratio): str(factor) for ratio, factor in BEFORE_BENDING} == printed
    for ratio, factor in printed.items():
        assert wall_before_bending(2, int(ratio)) == 2 * Decimal(factor)
    assert wall_before_bending(2, Decimal("3.5")) == 2 * Decimal("1.195")
    assert wall_before_bending(2, 10) == 2 * Decimal("1.06")


def test_computes_the_thinning_that_was_measured() -> None:
    assert measured_thinning(Decimal("2.0"), Decimal("1.7")) == 15
    assert measured_thinning(Decimal("2.0"), Decimal("2.2")) == -10


RADII = st.decimals(min_value="30", max_value="500", places=1)


@UNHURRIED
@given(RADII, RADII)
def test_thins_less_in_a_wider_bend(one: Decimal, other: Decimal) -> None:
    tight, wide = sorted((one, other))
    thin, thick = (bend_thinning(Decimal("25.4"), radius, Decimal("1.651")) for radius in (tight, wide))
    assert thin.thinning_percent >= thick.thinning_percent
    assert thin.wall_after <= thick.wall_after


@UNHURRIED
@given(RADII, st.decimals(min_value="10", max_value="50", places=1))
def test_needs_a_thicker_wall_inside_than_outside(radius: Decimal, diameter: Decimal) -> None:
    intrados, extrados = wall_factors(diameter, radius)
    assert extrados < 1 < intrados


def test_refuses_what_is_no_bend() -> None:
    refusal("diameters_exchanged", bend_ovality, Decimal("24.7"), Decimal("26.0"))
    refusal("number_not_positive", bend_ovality, Decimal(26), Decimal(25), Decimal(0))
    refusal("bend_too_tight", bend_thinning, 40, 20, 2)
    refusal("bend_too_tight", wall_factors, 40, 20)
    refusal("wall_too_thick", bend_thinning, 40, 120, 20)
    refusal("number_not_positive", bend_thinning, 40, 120, 0)
    refusal("number_not_positive", measured_thinning, 2, 0)
    assert "trial bend" in refusal("bend_outside_table", wall_before_bending, 2, Decimal("2.9"))
    refusal("number_not_plain", wall_before_bending, 2, math.nan)
