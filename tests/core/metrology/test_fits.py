"""ISO 286-1:2010 against whole tables and worked limits; sources stand in tests/vectors/fits.json."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qcapp.core.errors import Invalid
from qcapp.core.metrology.fits import (
    HOLE_LETTERS,
    SHAFT_LETTERS,
    deviations,
    fit,
    source_of,
    standard_tolerance,
)
from tests.core.metrology.vectors import load

UNHURRIED = settings(deadline=None)  # a busy machine is not a failure
VECTORS = load("fits.json")
UM = Decimal("0.001")
GRADES = ["01", "0", *[str(number) for number in range(1, 19)]]


def um(tolerance_class: str, nominal: str | Decimal) -> tuple[Decimal, Decimal]:
    lower, upper = deviations(Decimal(nominal), tolerance_class)
    return lower * 1000, upper * 1000


def ends(row: dict[str, str]) -> list[Decimal]:
    """A size just over the range's lower end and the range's upper end, which belongs to it."""
    over = Decimal(row["size_over_mm"])
    return [over + Decimal("0.001") if over else Decimal("1.001"), Decimal(row["size_up_to_mm"])]


@pytest.mark.parametrize("row", VECTORS["it_grades"], ids=lambda row: f"to {row['size_up_to_mm']}")
def test_standard_tolerances_are_those_of_table_1(row: dict[str, str]) -> None:
    for size in ends(row):
        for grade in GRADES:
            if f"IT{grade}" in row:
                assert standard_tolerance(size, grade) == Decimal(row[f"IT{grade}"]) * UM, (size, grade)
            else:
                with pytest.raises(Invalid, match="ISO 286-1"):
                    standard_tolerance(size, grade)


SHAFT_COLUMNS = {"d_es": "d6", "e_es": "e6", "f_es": "f6", "g_es": "g6", "h_es": "h6"}
SHAFT_LOWER = {"k_ei_IT4_to_IT7": "k6", "k_ei_other_grades": "k8", "m_ei": "m6", "n_ei": "n6", "p_ei": "p6"}
SHAFT_LOWER |= {"r_ei": "r6", "s_ei": "s6"}
HOLE_LOWER = {"D_EI": "D9", "E_EI": "E8", "F_EI": "F7", "G_EI": "G7", "H_EI": "H7"}
HOLE_UPPER = {"M_ES_base": "M9", "N_ES_IT9_up": "N9", "P_ES_base": "P8"}
HOLE_WITH_DELTA = {"K_ES_base_to_IT8": "K", "M_ES_base": "M", "N_ES_base_to_IT8": "N"}


@pytest.mark.parametrize("row", VECTORS["fundamental_deviations"], ids=lambda row: f"to {row['size_up_to_mm']}")
def test_fundamental_deviations_are_those_of_tables_2_to_5(row: dict[str, str]) -> None:
    for size in ends(row):
        for column, name in (SHAFT_COLUMNS | HOLE_UPPER).items():
            assert um(name, size)[1] == Decimal(row[column]), (name, size)
        for column, name in (SHAFT_LOWER | HOLE_LOWER).items():
            assert um(name, size)[0] == Decimal(row[column]), (name, size)


@pytest.mark.parametrize("row", VECTORS["deltas"], ids=lambda row: f"to {row['size_up_to_mm']}")
def test_deltas_are_added_to_tight_holes_as_table_3_says(row: dict[str, str]) -> None:
    size = Decimal(row["size_up_to_mm"])
    base = next(r for r in VECTORS["fundamental_deviations"] if Decimal(r["size_up_to_mm"]) == size)
    for grade in range(3, 9):
        delta = Decimal(row[f"IT{grade}"])
        for column, letter in HOLE_WITH_DELTA.items():
            if (letter, grade, size) != ("M", 6, 315):
                assert um(f"{letter}{grade}", size)[1] == Decimal(base[column]) + delta, (letter, grade)
        with_delta = delta if grade <= 7 else 0
        assert um(f"P{grade}", size)[1] == Decimal(base["P_ES_base"]) + with_delta


@pytest.mark.parametrize("row", [r for r in VECTORS["deltas"] if r["size_over_mm"] != "0"], ids=str)
def test_delta_is_the_difference_of_neighbouring_grades(row: dict[str, str]) -> None:
    size = Decimal(row["size_up_to_mm"])
    for grade in range(4, 9):
        difference = standard_tolerance(size, str(grade)) - standard_tolerance(size, str(grade - 1))
        assert Decimal(row[f"IT{grade}"]) * UM == difference, grade


@pytest.mark.parametrize("row", VECTORS["worked_limits"], ids=lambda row: row["nominal"] + row["tolerance_class"])
def test_gives_the_worked_limits(row: dict[str, str]) -> None:
    nominal = Decimal(row["nominal"])
    lower, upper = deviations(nominal, row["tolerance_class"])
    assert (lower, upper) == (Decimal(row["lower_um"]) * UM, Decimal(row["upper_um"]) * UM)
    assert (nominal + lower, nominal + upper) == (Decimal(row["lower_mm"]), Decimal(row["upper_mm"]))


@pytest.mark.parametrize("row", VECTORS["fits"], ids=lambda row: row["fit"])
def test_gives_the_worked_fits(row: dict[str, str]) -> None:
    size, classes = row["fit"].split()
    made = fit(Decimal(size), *classes.split("/"))
    assert made.kind == row["kind"]
    assert made.min_clearance == Decimal(row["min_um"]) * UM
    assert made.max_clearance == Decimal(row["max_um"]) * UM


@pytest.mark.parametrize("row", VECTORS["disagreements"], ids=lambda row: f"{row['column']} to {row['sizes'][1]}")
def test_follows_the_value_kept_where_public_tables_disagree(row: dict[str, Any]) -> None:
    for size in row["sizes"]:
        if row["table"] == "it":
            found = standard_tolerance(Decimal(size), row["column"].removeprefix("IT")) * 1000
        else:
            found = um(row["column"], size)[row["table"] == "upper"]
        assert found == Decimal(row["kept"])
        assert row["other"] == "" or found != Decimal(row["other"])


@pytest.mark.parametrize(
    ("nominal", "tolerance_class"),
    [
        ("0", "H7"),
        ("-5", "H7"),
        ("3150.001", "H7"),
        ("500.001", "g6"),
        ("600", "H01"),
        ("0.8", "H14"),
        ("1", "JS18"),
        ("1", "N9"),
        ("10", "K9"),
        ("10", "M2"),
    ],
)
def test_refuses_a_size_that_the_class_does_not_reach(nominal: str, tolerance_class: str) -> None:
    with pytest.raises(Invalid) as refused:
        deviations(Decimal(nominal), tolerance_class)
    assert refused.value.code == "size_outside_table"
    assert "write" in str(refused.value)


@pytest.mark.parametrize("name", ["H19", "H", "7", "Js7", "jS7", "u6", "ZC9", "H07", "H7 ", "I7", "", "H7/g6"])
def test_refuses_a_class_that_the_tables_do_not_have(name: str) -> None:
    with pytest.raises(Invalid) as refused:
        deviations(Decimal(25), name)
    assert refused.value.code == "class_unknown"
    assert "H7" in str(refused.value)


@pytest.mark.parametrize(("hole", "shaft"), [("g6", "H7"), ("H7", "H7"), ("g6", "g6"), ("", "g6")])
def test_refuses_a_fit_that_is_not_one_hole_and_one_shaft(hole: str, shaft: str) -> None:
    with pytest.raises(Invalid) as refused:
        fit(Decimal(25), hole, shaft)
    assert refused.value.code == "class_unknown"


def test_classes_without_a_fundamental_deviation_reach_3150_mm() -> None:
    assert um("H8", "740") == (0, 125)  # IT8 over 630 to 800
    assert um("js9", "1000") == (-115, 115)  # IT9 = 230 over 800 to 1000
    assert um("h7", "3150") == (-210, 0)


def test_loose_shaft_k_has_no_fundamental_deviation() -> None:
    assert um("k8", "45") == (0, 39)
    assert um("k3", "45") == (0, 4)


def test_small_n_holes_from_grade_9_start_at_minus_4() -> None:
    assert um("N9", "1.5") == (-29, -4)
    assert um("N9", "3") == (-29, -4)
    assert um("N9", "3.001") == (-30, 0)


def test_names_the_tables_that_a_class_comes_from() -> None:
    assert source_of("H7") == "ISO 286-1:2010, Table 1"
    assert source_of("K7") == "ISO 286-1:2010, Tables 1 to 3"
    assert source_of("g6") == "ISO 286-1:2010, Tables 1, 4 and 5"


SIZES = st.decimals(min_value="1.001", max_value=500, places=3)


@UNHURRIED
@given(SIZES, st.sampled_from(HOLE_LETTERS + SHAFT_LETTERS), st.integers(3, 8))
def test_deviations_are_one_standard_tolerance_apart(size: Decimal, letter: str, grade: int) -> None:
    lower, upper = deviations(size, f"{letter}{grade}")
    assert upper - lower == standard_tolerance(size, str(grade))


@UNHURRIED
@given(SIZES, st.sampled_from("defgh"), st.integers(3, 11))
def test_loose_holes_mirror_their_shafts(size: Decimal, letter: str, grade: int) -> None:
    shaft_lower, shaft_upper = deviations(size, f"{letter}{grade}")
    assert deviations(size, f"{letter.upper()}{grade}") == (-shaft_upper, -shaft_lower)


@UNHURRIED
@given(SIZES, st.sampled_from(HOLE_LETTERS), st.sampled_from(SHAFT_LETTERS), st.integers(5, 8), st.integers(5, 8))
def test_kind_of_fit_follows_from_its_clearances(size: Decimal, hole: str, shaft: str, i: int, j: int) -> None:
    made = fit(size, f"{hole}{i}", f"{shaft}{j}")
    assert made.min_clearance < made.max_clearance
    always_loose, always_tight = made.min_clearance >= 0, made.max_clearance <= 0
    assert made.kind == ("clearance" if always_loose else "interference" if always_tight else "transition")
