"""Lengths at the reference temperature."""

from __future__ import annotations

import math
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qcapp.core.metrology.thermal import (
    STEEL,
    at_reference,
    between_temperatures,
    expansion_variance,
    root_up,
    temperature_uncertainty,
)
from tests.core.metrology.refusals import refusal

UNHURRIED = settings(deadline=None)  # machines are busy, and a first call may load a library


def test_shortens_a_warm_metre_of_steel_by_11_5_micrometres_per_kelvin() -> None:
    """Common practice, no source: steel about 11.5 µm per metre and kelvin."""
    warm = Decimal(1000) * (1 + STEEL)
    assert at_reference(warm, 21, STEEL) == Decimal(1000)
    assert float(at_reference(1000, 21, STEEL)) == pytest.approx(1000 - 0.0115, abs=2e-7)


def test_corrects_the_end_gauge_of_the_gum() -> None:
    """JCGM 100:2008 H.1: at 19.9 °C and α 11.5e-6 a 50 mm gauge is 57.5 nm short of its length at 20 °C."""
    found = at_reference(Decimal("50.000623"), Decimal("19.9"), STEEL)
    assert float(found - Decimal("50.000623")) == pytest.approx(57.5e-6, rel=1e-4)


def test_gives_the_temperature_component_of_the_gum() -> None:
    """JCGM 100:2008 H.1, stored copy seen: l·α·u(δθ) = 16.6 nm with u = 0.05/√3."""
    found = temperature_uncertainty(Decimal("50.000623"), STEEL, 0.05 / math.sqrt(3))
    assert float(found) * 1e6 == pytest.approx(16.6, abs=0.05)


def test_gives_the_same_component_exactly_from_the_thermometers_limits() -> None:
    """JCGM 100:2008 H.1, as above: ± 0.05 °C as limits of a rectangle gives 16.6 nm."""
    none = Decimal(0)
    square = expansion_variance(Decimal("50.000623"), none, STEEL, alpha_limit=none, temperature_limit=Decimal("0.05"))
    assert root_up(square, 7) == Decimal("0.0000166")
    assert math.sqrt(square) * 1e6 == pytest.approx(16.6, abs=0.05)


def test_adds_the_coefficients_component_by_how_far_the_part_is_from_its_reference() -> None:
    """JCGM 100:2008 H.1.3.2: ± 2e-6 as a rectangle is u(α) = 1.2e-6 (rounded); over 10 K of a metre 11.5 µm."""
    limits = {"alpha_limit": Decimal("2e-6"), "temperature_limit": Decimal(0)}
    found = [math.sqrt(expansion_variance(Decimal(1000), Decimal(k), STEEL, **limits)) for k in (0, 10, -10)]
    assert found == pytest.approx([0, 0.011547, 0.011547], abs=1e-6)


def test_never_rounds_a_root_down() -> None:
    assert [root_up(Fraction(square), 2) for square in ("9", "9.0001", "0.0001", "0")] == [
        Decimal("3.00"), Decimal("3.01"), Decimal("0.01"), Decimal("0.00"),
    ]  # fmt: skip


def test_compares_a_length_before_and_after_welding_at_one_temperature() -> None:
    """Constructed: a frame of 1500 mm at 20 °C measured at 35 °C, brought back to 18 °C."""
    measured = 1500 * (1 + STEEL * 15)
    assert between_temperatures(measured, 35, 18, STEEL) == 1500 * (1 - STEEL * 2)
    assert between_temperatures(measured, 35, 35, STEEL) == measured


@UNHURRIED
@given(
    st.decimals(min_value="1", max_value="3000", places=3),
    st.decimals(min_value="-40", max_value="100", places=1),
    st.decimals(min_value="-40", max_value="100", places=1),
)
def test_comes_back_where_it_began(length: Decimal, one: Decimal, other: Decimal) -> None:
    there = between_temperatures(length, one, other, STEEL)
    assert abs(between_temperatures(there, other, one, STEEL) - length) <= length * Decimal("1e-25")


def test_refuses_what_one_coefficient_does_not_cover() -> None:
    for temperature in (Decimal("-40.1"), Decimal("100.1"), Decimal("293.15")):
        assert "cool" in refusal("temperature_out_of_range", at_reference, 1000, temperature, STEEL)
    refusal("temperature_out_of_range", at_reference, 1000, 20, STEEL, reference=200)
    assert "0.0000115" in refusal("expansion_out_of_range", at_reference, 1000, 20, Decimal("11.5"))
    refusal("expansion_out_of_range", at_reference, 1000, 20, Decimal("-0.00001"))
    refusal("number_not_positive", at_reference, 0, 20, STEEL)
    refusal("number_negative", temperature_uncertainty, 1000, STEEL, -1)
    refusal("number_not_plain", at_reference, 1000, math.inf, STEEL)
