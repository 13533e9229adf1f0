"""Proof loads and torques; sources stand in tests/vectors/fasteners.json."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qcapp.core.metrology.fasteners import bolt, preload, proof_load, stress_area, tightening_torque
from tests.core.metrology.refusals import refusal
from tests.core.metrology.vectors import load

UNHURRIED = settings(deadline=None)  # machines are busy, and a first call may load a library
VECTORS = load("fasteners.json")


@pytest.mark.parametrize("row", VECTORS["proof_loads"], ids=lambda row: f"{row['thread']} {row['class']}")
def test_has_every_proof_load_of_the_reference(row: dict[str, str]) -> None:
    found = bolt(row["thread"], row["class"])
    assert found.proof_load == proof_load(row["thread"], row["class"]) == Decimal(row["proof_load_N"])
    assert found.pitch == Decimal(row["pitch_mm"])
    assert found.stress_area == Decimal(row["As_nom_mm2"])
    assert found.proof_stress == Decimal(row["Sp_nom_MPa"])
    ultimate = row["min_ultimate_load_N"]
    assert found.ultimate_load == (Decimal(ultimate) if ultimate else None)


@pytest.mark.parametrize("row", VECTORS["proof_loads"], ids=lambda row: f"{row['thread']} {row['class']}")
def test_agrees_with_stress_area_times_proof_stress(row: dict[str, str]) -> None:
    """ISO 898-1 rounds its loads to three digits."""
    diameter = Decimal(row["thread"].removeprefix("M"))
    area = stress_area(diameter, Decimal(row["pitch_mm"]))
    assert abs(area - Decimal(row["As_computed_mm2"])) < Decimal("0.0006")
    computed = Decimal(row["As_nom_mm2"]) * Decimal(row["Sp_nom_MPa"])
    assert float(computed) == pytest.approx(float(row["proof_load_N"]), rel=0.005)


@pytest.mark.parametrize("row", VECTORS["torques"], ids=lambda row: row["case"])
def test_computes_tightening_torque(row: dict[str, str]) -> None:
    torque = tightening_torque(Decimal(row["K"]), Decimal(row["D_mm"]), Decimal(row["preload_N"]))
    assert torque == Decimal(row["torque_Nm"])
    if row["published_Nm"]:
        assert abs(torque - Decimal(row["published_Nm"])) <= Decimal("0.5")


def test_follows_the_standard_for_m10_and_not_a_public_example_with_600_mpa() -> None:
    """A public example takes 600 MPa for M10 8.8 (34 800 N); ISO 898-1 has 580 MPa to M16: 33 700 N."""
    assert proof_load("M10", "8.8") == 33_700


def test_takes_three_quarters_of_the_proof_load_unless_told() -> None:
    """Share: common practice, no source; the numbers are those of the torque cases."""
    assert preload("M8", "8.8") == Decimal("15900.00")
    assert preload("M12", "10.9") == 52_500
    assert preload("M8", "8.8", share=1) == 21_200


def test_reads_a_size_with_its_pitch_and_in_small_letters() -> None:
    assert bolt("m10", "8.8") == bolt("M10x1.5", "8.8") == bolt("M10", "8.8")


def test_refuses_what_the_table_does_not_hold() -> None:
    assert "M14" in refusal("thread_not_tabulated", proof_load, "M16", "8.8")
    refusal("thread_not_tabulated", proof_load, "M10x1.25", "8.8")
    assert "12.9" in refusal("property_class_not_tabulated", proof_load, "M10", "9.8")
    refusal("nut_factor_out_of_range", tightening_torque, Decimal("1.5"), 10, 1000)
    refusal("nut_factor_out_of_range", tightening_torque, Decimal("0.04"), 10, 1000)
    refusal("number_not_positive", tightening_torque, Decimal("0.2"), 0, 1000)
    refusal("number_not_positive", tightening_torque, Decimal("0.2"), 10, -1)
    refusal("share_out_of_range", preload, "M10", "8.8", share=Decimal("1.01"))
    refusal("pitch_too_large", stress_area, 1, 2)


@UNHURRIED
@given(
    st.decimals(min_value="0.05", max_value="0.5", places=3),
    st.decimals(min_value="3", max_value="30", places=1),
    st.integers(100, 200_000),
)
def test_grows_with_the_preload(factor: Decimal, diameter: Decimal, force: int) -> None:
    assert tightening_torque(factor, diameter, 2 * force) == 2 * tightening_torque(factor, diameter, force)
