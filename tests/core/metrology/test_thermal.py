"""Lengths at the reference temperature."""

from __future__ import annotations

import math
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qcapp.core.metrology.thermal import STEEL, at_reference, between_temperatures, temperature_uncertainty
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
