"""Hardness conversion; sources and confidence stand beside each row of tests/vectors/hardness.json."""

from __future__ import annotations

from decimal import Decimal
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qcapp.core.metrology.hardness import conversion, convert
from qcapp.core.metrology.hardness_tables import DIN50150_ROWS, E140_ROWS
from tests.core.metrology.refusals import refusal
from tests.core.metrology.vectors import load

UNHURRIED = settings(deadline=None)  # machines are busy, and a first call may load a library
VECTORS = load("hardness.json")
SCALES = {"Rm N/mm2": "Rm"}


@pytest.mark.parametrize("row", VECTORS["cases"], ids=lambda row: f"{row['conversion']} {row['from']}")
def test_converts_tabulated_values(row: dict[str, str]) -> None:
    source, target = row["conversion"].split(" to ")
    found = conversion(Decimal(row["from"]), source, SCALES.get(target, target))
    assert found.value == Decimal(row["to"])
    assert not found.interpolated
    assert found.standard.split()[1] in row["source"]


def test_has_every_row_of_the_reference_and_no_other() -> None:
    e140 = [(row["HRC"], row["HV"], row["HBW_10_3000"]) for row in VECTORS["e140"]]
    din = [(row["HV"], row["HB"], row["HRC"], row["HRB"], row["Rm_N_mm2"]) for row in VECTORS["din50150"]]
    assert list(E140_ROWS) == e140
    assert list(DIN50150_ROWS) == din


@pytest.mark.parametrize("rows", [E140_ROWS, DIN50150_ROWS], ids=["E140", "DIN 50150"])
def test_rises_together_on_all_scales(rows: tuple[tuple[str, ...], ...]) -> None:
    ordered = sorted(rows, key=lambda row: Decimal(row[0]))
    for column in range(len(rows[0])):
        values = [Decimal(row[column]) for row in ordered if row[column]]
        assert all(low < high for low, high in pairwise(values))


def test_says_which_rows_are_from_memory_or_in_brackets() -> None:
    memory = {row["HRC"] for row in VECTORS["e140"] if row["verified"] == "from memory"}
    for row in VECTORS["e140"]:
        note = conversion(Decimal(row["HRC"]), "HRC", "HV").note
        assert ("from memory" in note) == (row["HRC"] in memory)
        if row["HBW_10_3000"]:
            bracketed = "brackets" in row["note"]
            assert ("brackets" in conversion(Decimal(row["HRC"]), "HRC", "HBW").note) == bracketed


def test_follows_the_tungsten_carbide_ball_where_tables_disagree() -> None:
    """HRC 48 and 47: other public tables show 451 and 442, which are those of the standard steel ball."""
    assert (convert(48, "HRC", "HBW"), convert(47, "HRC", "HBW")) == (455, 443)


def test_prefers_e140_where_both_tables_have_the_scales() -> None:
    """At 400 HV: E140 gives 40.8, DIN 50150 prints 40.8; at 250 HV they differ, 22.3 and 22.2."""
    assert conversion(250, "HV", "HRC").standard == "ASTM E140 Table 1"
    assert convert(250, "HV", "HRC") != convert(250, "HV", "HRC", standard="DIN 50150") == Decimal("22.2")


@pytest.mark.parametrize("row", [row for row in VECTORS["din50150"] if row["HRC"]], ids=lambda row: row["HV"])
def test_finds_both_tables_within_one_hrc(row: dict[str, str]) -> None:
    assert abs(convert(Decimal(row["HV"]), "HV", "HRC") - Decimal(row["HRC"])) < 1


def test_goes_straight_between_two_rows() -> None:
    found = conversion(Decimal("25.5"), "HRC", "HV")
    assert found.value == 269
    assert found.interpolated
    assert "from memory" in found.note
    assert convert(125, "HV", "Rm") == Decimal("397.5")
    assert "estimate" in conversion(125, "HV", "Rm").note


@UNHURRIED
@given(st.decimals(min_value="20", max_value="68", places=1))
def test_comes_back_where_it_began(hardness: Decimal) -> None:
    there = convert(hardness, "HRC", "HV")
    assert abs(convert(there, "HV", "HRC") - hardness) < Decimal("1e-20")


def test_refuses_values_outside_the_rows() -> None:
    assert "20 to 68" in refusal("hardness_outside_table", convert, Decimal("19.9"), "HRC", "HV")
    refusal("hardness_outside_table", convert, Decimal("68.1"), "HRC", "HV")
    assert "20 to 65" in refusal("hardness_outside_table", convert, 66, "HRC", "HBW")
    refusal("hardness_outside_table", convert, 79, "HV", "Rm")
    refusal("hardness_outside_table", convert, 260, "HV", "HRB")
    refusal("number_not_plain", convert, Decimal("NaN"), "HRC", "HV")


def test_refuses_scales_that_no_table_joins() -> None:
    assert "HRB" in refusal("scale_pair_not_tabulated", convert, 40, "HRC", "HRA")
    refusal("scale_pair_not_tabulated", convert, 400, "HBW", "Rm")
    refusal("scale_pair_not_tabulated", convert, 40, "HRC", "HRC")
    refusal("scale_pair_not_tabulated", convert, 200, "HV", "HB", standard="E140")
    refusal("standard_unknown", convert, 40, "HRC", "HV", standard="ISO 18265")
