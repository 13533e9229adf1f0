"""Steel against its limits. Sources and confidence stand beside each row of tests/vectors/materials.json."""

from __future__ import annotations

import math
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qcapp.core import materials
from qcapp.core.materials import Parent, tables
from tests.core.metrology.refusals import refusal
from tests.core.metrology.vectors import load

UNHURRIED = settings(deadline=None)  # machines are busy, and a first call may load a library
VECTORS = load("materials.json")
ELEMENTS = ("C", "Mn", "P", "S", "Si", "Cr", "Mo")
GOOD_1020 = {"C": Decimal("0.20"), "Mn": Decimal("0.45"), "P": Decimal("0.012"), "S": Decimal("0.008")}
GOOD_4130 = {
    "C": Decimal("0.30"),
    "Mn": Decimal("0.52"),
    "P": Decimal("0.010"),
    "S": Decimal("0.004"),
    "Si": Decimal("0.24"),
    "Cr": Decimal("0.95"),
    "Mo": Decimal("0.18"),
}


def number(text: str) -> Decimal | None:
    return Decimal(text) if text else None


# --- composition ---


def test_has_every_composition_limit_of_the_reference_and_no_other() -> None:
    expected = {
        (row["grade"], row["element"]): (number(row["min_pct"]), number(row["max_pct"]))
        for row in VECTORS["composition"]
    }
    held = {(row.grade, row.element): (number(row.lower), number(row.upper)) for row in tables.COMPOSITION}
    assert held == expected


@pytest.mark.parametrize("row", VECTORS["heat_analyses"], ids=lambda row: f"{row['grade']} {row['elements_out']}")
def test_finds_the_elements_of_a_heat_that_are_out(row: dict[str, str]) -> None:
    composition = {element: Decimal(row[element]) for element in ELEMENTS if row[element]}
    findings = materials.check_composition(row["grade"], composition)
    out = [finding.element for finding in findings if not finding.ok]
    assert out == [element for element in row["elements_out"].split(";") if element]
    assert all(finding.value == composition[finding.element] for finding in findings)


def test_takes_a_value_on_the_limit_as_conforming_and_the_next_step_as_not() -> None:
    on_it = materials.check_composition("4130", GOOD_4130 | {"C": Decimal("0.33")})
    beside_it = materials.check_composition("4130", GOOD_4130 | {"C": Decimal("0.331")})
    assert on_it[0].ok
    assert not beside_it[0].ok
    assert beside_it[0].sentence == ("C 0.331 % is too high; 4130 has 0.28 % to 0.33 % (SAE J404 / ASTM A29).")


def test_counts_an_element_that_is_not_reported_as_not_proven() -> None:
    findings = materials.check_composition("4130", {key: GOOD_4130[key] for key in ("C", "Mn", "P", "S")})
    missing = [finding for finding in findings if not finding.ok]
    assert [finding.element for finding in missing] == ["Si", "Cr", "Mo"]
    assert all(finding.value is None for finding in missing)
    assert "ask the mill" in missing[0].sentence
    assert not any(finding.ok for finding in materials.check_composition("1020", {}))


def test_records_an_element_without_a_limit() -> None:
    findings = materials.check_composition("1020", GOOD_1020 | {"Cu": Decimal("0.15"), "Ni": None})
    assert findings[-1].element == "Cu"
    assert findings[-1].ok
    assert (findings[-1].lower, findings[-1].upper) == (None, None)
    assert len(findings) == 5


@pytest.mark.parametrize(
    ("grade", "element", "value", "specification"),
    [  # sources disagree on P and S; the code follows the ordered specification, A29/A576 and J404 if none
        ("1020", "P", "0.038", "ASTM A513"),
        ("1020", "S", "0.040", "ASTM A513"),
        ("1026", "P", "0.038", "ASTM A513"),
        ("1018", "P", "0.035", "SAE J403 (NOV 2001)"),
    ],
)
def test_follows_the_ordered_specification_where_sources_disagree(
    grade: str, element: str, value: str, specification: str
) -> None:
    def verdict(named: str | None) -> bool:
        found = materials.check_composition(grade, {element: Decimal(value)}, specification=named)
        return next(finding.ok for finding in found if finding.element == element)

    assert verdict(None)
    assert not verdict(specification)


def test_allows_4130_more_phosphorus_under_a519_than_under_j404() -> None:
    heat = GOOD_4130 | {"P": Decimal("0.038")}
    assert not all(finding.ok for finding in materials.check_composition("4130", heat))
    assert all(finding.ok for finding in materials.check_composition("4130", heat, specification="ASTM A519-06"))


def test_accepts_the_name_of_the_default_specification() -> None:
    named = materials.check_composition("1020", GOOD_1020, specification="ASTM A29/A576")
    assert named == materials.check_composition("1020", GOOD_1020)


def test_catches_low_alloy_steel_sold_as_mild_steel() -> None:
    """Common practice, no source: the commonest mixed grade of a tube shop."""
    assert not all(finding.ok for finding in materials.check_composition("1020", GOOD_4130))


def test_refuses_what_it_has_no_composition_for() -> None:
    assert "1018, 1020, 1026, 4130" in refusal("grade_unknown", materials.check_composition, "9999", GOOD_1020)
    named = {"specification": "ASTM A1"}
    assert "ASTM A513" in refusal("specification_unknown", materials.check_composition, "1020", GOOD_1020, **named)
    refusal("element_unknown", materials.check_composition, "1020", {"mn": Decimal(1)})
    refusal("percent_invalid", materials.check_composition, "1020", {"Mn": Decimal("100.1")})
    for value in (Decimal("NaN"), Decimal("-0.1"), math.inf, "0.2", True):
        refusal("number_not_plain", materials.check_composition, "1020", {"C": value})


# --- mechanical ---


def reported(row: dict[str, str]) -> dict[str, Decimal]:
    names = {"yield_ksi", "yield_MPa", "ultimate_ksi", "ultimate_MPa", "elongation_2in_pct"}
    values = {name: Decimal(row[name]) for name in sorted(names)}
    return values | {"hardness_RB": Decimal(row["hardness_RB_min"])}


@pytest.mark.parametrize("row", VECTORS["mechanical"], ids=lambda row: f"{row['grade']} {row['condition']}")
def test_takes_the_tabulated_strength_as_enough_and_anything_less_as_not(row: dict[str, str]) -> None:
    values = reported(row)
    exactly = materials.check_mechanical(row["grade"], values, condition=row["condition"])
    less = {name: value - Decimal("0.1") for name, value in values.items()}
    below = materials.check_mechanical(row["grade"], less, condition=row["condition"])
    assert [finding.ok for finding in exactly] == [True] * 6
    assert [finding.ok for finding in below] == [False] * 6
    assert {finding.is_requirement for finding in exactly} == {not row["condition"].startswith("A519")}


def test_has_every_strength_of_the_reference_and_no_other() -> None:
    assert len(tables.MECHANICAL) == len(VECTORS["mechanical"])
    memory = {(row["grade"], row["condition"]) for row in VECTORS["mechanical"] if row["verified"] == "from memory"}
    assert {(row.grade, row.condition) for row in tables.MECHANICAL if row.confidence == "from memory"} == memory


def test_converts_no_strength_but_compares_each_unit_with_its_own_column() -> None:
    """60 ksi is 413.7 MPa, the table prints 414: a certificate in MPa is held to 414."""
    in_mpa = materials.check_mechanical("1020", {"yield_MPa": Decimal("413.7")}, condition="DOM as drawn")
    in_ksi = materials.check_mechanical("1020", {"yield_ksi": Decimal(60)}, condition="DOM as drawn")
    assert (in_mpa[0].ok, in_ksi[0].ok) == (False, True)


def test_counts_a_property_that_is_not_reported_as_not_proven() -> None:
    findings = materials.check_mechanical(
        "1020",
        {"yield_ksi": Decimal(70), "ultimate_ksi": Decimal(80), "hardness_RB": None},
        condition="DOM as drawn",
    )
    missing = [finding for finding in findings if not finding.ok]
    assert [finding.name for finding in missing] == ["elongation_2in_pct", "hardness_RB"]
    assert all(finding.value is None for finding in missing)


def test_says_that_a_typical_value_is_no_requirement() -> None:
    low = materials.check_mechanical("4130", {"yield_ksi": Decimal(50)}, condition="A519 N")[0]
    assert not low.ok
    assert not low.is_requirement
    assert "is below the typical value" in low.sentence
    assert "not a requirement" in low.sentence


def test_refuses_strengths_without_a_row() -> None:
    call = materials.check_mechanical
    assert "DOM stress relieved" in refusal("condition_missing", call, "1020", {})
    refusal("condition_unknown", call, "4140", {}, condition="A519 N")
    refusal("grade_unknown", call, "9999", {}, condition="DOM as drawn")
    refusal("property_unknown", call, "1020", {"yield": Decimal(60)}, condition="DOM as drawn")
    refusal("number_not_plain", call, "1020", {"yield_ksi": Decimal(-60)}, condition="DOM as drawn")


# --- tube ---


@pytest.mark.parametrize("row", VECTORS["tube_limits"], ids=lambda row: f"{row['od_in']} x {row['wall_in']}")
@pytest.mark.parametrize("unit_of_measure", ["in", "mm"])
def test_gives_the_limits_of_drawn_tube(row: dict[str, str], unit_of_measure: str) -> None:
    scale = Decimal("25.4") if unit_of_measure == "mm" else Decimal(1)
    size = Decimal(row["od_in"]) * scale, Decimal(row["wall_in"]) * scale
    limits = materials.tube_limits(*size, unit_of_measure=unit_of_measure)
    assert limits.od_upper == Decimal(row[f"od_max_{unit_of_measure}"])
    assert limits.od_lower == Decimal(row[f"od_min_{unit_of_measure}"])
    assert limits.wall_upper == Decimal(row[f"wall_max_{unit_of_measure}"])
    assert limits.wall_lower == Decimal(row[f"wall_min_{unit_of_measure}"])
    assert limits.id_upper == size[0] - 2 * size[1]
    assert limits.unit_of_measure == unit_of_measure


def test_has_every_tube_tolerance_of_the_reference() -> None:
    diameters = [
        tuple(
            row[name] for name in ("od_from_in", "od_to_in", "od_plus_in", "od_minus_in", "id_plus_in", "id_minus_in")
        )
        for row in VECTORS["diameter_tolerances"]
    ]
    for held, expected in zip(tables.OUTSIDE_DIAMETER, diameters, strict=True):
        assert [number(cell) for cell in held] == [
            number(cell or "0") if at == 0 else number(cell) for at, cell in enumerate(expected)
        ]
    for held_wall, row in zip(tables.WALL, VECTORS["wall_tolerances"], strict=True):
        cells = list(row.values())[:7]
        assert number(held_wall[0]) == number(cells[0])
        assert [number(cell) for pair in held_wall[1:] for cell in pair] == [number(cell) for cell in cells[1:]]


@pytest.mark.parametrize(
    ("diameter", "wall", "plus", "minus"),
    [  # both ends of each column of the wall table, ASTM A513 (1 stored supplier table)
        ("0.375", "0.109", "0.002", "0.003"),
        ("0.875", "0.109", "0.002", "0.003"),
        ("0.876", "0.109", "0.002", "0.004"),
        ("1.875", "0.109", "0.002", "0.004"),
        ("1.876", "0.109", "0.003", "0.003"),
        ("3.750", "0.109", "0.003", "0.003"),
    ],
)
def test_gives_a_column_end_to_the_smaller_column(diameter: str, wall: str, plus: str, minus: str) -> None:
    limits = materials.tube_limits(Decimal(diameter), Decimal(wall), unit_of_measure="in")
    assert limits.wall_upper == Decimal(wall) + Decimal(plus)
    assert limits.wall_lower == Decimal(wall) - Decimal(minus)


def test_leaves_the_bore_open_where_the_table_has_no_column() -> None:
    limits = materials.tube_limits(Decimal("0.375"), Decimal("0.035"), unit_of_measure="in")
    assert (limits.id_lower, limits.id_upper) == (None, None)


@pytest.mark.parametrize("diameter", ["5.550", "0", "1.6995", "0.374", "3.751"])
def test_refuses_a_diameter_outside_the_tables(diameter: str) -> None:
    refusal(
        "diameter_outside_table",
        materials.tube_limits,
        Decimal(diameter),
        Decimal("0.065"),
        unit_of_measure="in",
    )


def test_refuses_a_wall_that_is_not_tabulated() -> None:
    assert "0.083" in refusal("wall_not_tabulated", materials.tube_limits, Decimal("25.4"), Decimal("2.0"))
    sizes = Decimal("0.75"), Decimal("0.134")
    refusal("wall_without_tolerance", materials.tube_limits, *sizes, unit_of_measure="in")
    refusal("unit_of_measure_unknown", materials.tube_limits, *sizes, unit_of_measure="cm")
    refusal("number_not_plain", materials.tube_limits, Decimal("-1"), Decimal("0.065"), unit_of_measure="in")


# --- carbon equivalent ---


@pytest.mark.parametrize("row", VECTORS["carbon_equivalents"], ids=lambda row: f"{row['case']} {row['formula']}")
def test_computes_carbon_equivalents_as_published_and_recomputed(row: dict[str, str]) -> None:
    symbols = ("C", "Mn", "Si", "Cr", "Mo", "V", "Ni", "Cu", "Nb", "B")
    value = materials.carbon_equivalent({symbol: Decimal(row[symbol]) for symbol in symbols}, row["formula"])
    assert abs(value - Decimal(row["result_pct"])) <= Decimal("0.0000005")
    if row["published"]:
        published = Decimal(row["published"])
        half_a_digit = Decimal(1).scaleb(int(published.as_tuple().exponent)) / 2
        assert abs(value - published) <= half_a_digit


@pytest.mark.parametrize("row", VECTORS["carbon_formulas"], ids=lambda row: row["id"])
def test_knows_every_formula_of_the_reference_under_its_name(row: dict[str, str]) -> None:
    explained = materials.explain_carbon_equivalent({"C": Decimal("0.2"), "Mn": Decimal("0.5")}, row["id"])
    assert explained.formula == row["id"].removeprefix("CE_")
    assert explained.source


@pytest.mark.parametrize("row", VECTORS["csa_factors"], ids=lambda row: row["C"])
def test_reads_the_csa_factor_at_the_carbon_content(row: dict[str, str]) -> None:
    carbon = Decimal(row["C"])
    value = materials.carbon_equivalent({"C": carbon, "Mn": Decimal("0.6")}, "CSA")
    assert value - carbon == Decimal(row["F"]) * Decimal("0.1")


def test_takes_the_higher_csa_factor_between_two_rows() -> None:
    """The stored sheet would take the lower row; the code never undercuts the table."""
    value = materials.carbon_equivalent({"C": Decimal("0.175"), "Mn": Decimal("0.6")}, "CSA")
    assert value == Decimal("0.175") + Decimal("0.96") * Decimal("0.1")


def test_follows_the_csa_table_close_to_the_curve_of_cen() -> None:
    """CSA's F is Yurioka's A(C) rounded to two decimals: each tabulated row within 0.0061 of the curve."""
    for carbon, factor in tables.CSA_FACTORS[:-1]:
        curve = 0.75 + 0.25 * math.tanh(20 * (float(carbon) - 0.12))
        assert float(factor) == pytest.approx(curve, abs=0.0061)


def test_puts_copper_over_15_and_nickel_over_20_in_cen() -> None:
    """Two stored texts disagree: the code follows the one whose terms are those of CSA, Cu/15 and Ni/20."""
    plain = {"C": Decimal("0.12"), "Mn": Decimal(0)}
    with_copper = materials.carbon_equivalent(plain | {"Cu": Decimal("0.3")}, "CEN")
    with_nickel = materials.carbon_equivalent(plain | {"Ni": Decimal("0.3")}, "CEN")
    assert (with_copper, with_nickel) == (Decimal("0.135"), Decimal("0.13125"))


def test_names_what_was_not_reported_and_what_is_outside_the_range() -> None:
    explained = materials.explain_carbon_equivalent({"C": Decimal("0.33"), "Mn": Decimal("0.6")}, "CET")
    assert explained.not_reported == ("Mo", "Cr", "Cu", "Ni")
    assert explained.out_of_range == ("C 0.33 % (0.05 to 0.32)",)
    assert explained.value == Decimal("0.39")


def test_refuses_a_carbon_equivalent_it_cannot_compute() -> None:
    refusal("formula_unknown", materials.carbon_equivalent, GOOD_1020, "CEV")
    assert "needs Mn" in refusal("element_missing", materials.carbon_equivalent, {"C": Decimal("0.2")})
    refusal("element_missing", materials.carbon_equivalent, {"Mn": Decimal("0.2"), "C": None})
    refusal("element_unknown", materials.carbon_equivalent, GOOD_1020 | {"Xx": Decimal(0)})


@UNHURRIED
@given(
    formula=st.sampled_from(["IIW", "CET", "Pcm", "AWS", "CEN", "CSA"]),
    element=st.sampled_from(["C", "Mn", "Cr", "Mo", "Ni"]),
    more=st.decimals(min_value="0", max_value="0.5", places=3),
)
def test_never_falls_when_an_element_rises(formula: str, element: str, more: Decimal) -> None:
    heat = GOOD_4130 | {"Ni": Decimal("0.1")}
    raised = heat | {element: heat[element] + more}
    assert materials.carbon_equivalent(raised, formula) >= materials.carbon_equivalent(heat, formula)


# --- cracking note ---

CAUTION = (
    "Preheat, filler and welding procedure are the responsible weld engineer's decision; this is an "
    "indicator, not a permission."
)


def test_notes_a_low_alloy_to_mild_joint_with_what_it_does_not_know() -> None:
    note = materials.cracking_note(Parent("4130", GOOD_4130), "1020", thickness=Decimal("2.1"))
    assert note.startswith(
        "Carbon equivalent (IIW): 0.61 % for 4130 (heat analysis) and 0.33 % for 1020 (upper limits of "
        "the grade). The higher one, 4130, governs. Above 0.60 % hydrogen cracking must be expected"
    )
    assert "Low-alloy tube to mild steel cracks more readily than mild to mild (common practice, no source)." in note
    assert "4130 lies outside the range of the formula: C 0.30 % (0.05 to 0.25), Cr 0.95 % (0 to 0.9)" in note
    assert "from memory" in note
    assert "For 4130 V, Ni, Cu are not reported and count as zero" in note
    assert "The number knows nothing of hydrogen, restraint, fit-up, heat input, filler or cooling" in note
    assert note.endswith(CAUTION)


def test_notes_the_same_joint_whichever_side_comes_first() -> None:
    one = materials.cracking_note("4130", "1020", thickness=2)
    other = materials.cracking_note("1020", "4130", thickness=2)
    assert "The higher one, 4130, governs." in one
    assert "The higher one, 4130, governs." in other
    assert set(one.split(". ")) >= {sentence for sentence in other.split(". ") if sentence.startswith("For ")}


@pytest.mark.parametrize(
    ("thickness", "words"),
    [
        ("3", "holds little restraint"),
        ("3.01", "cools the weld faster than thin tube"),
        ("10", "cools the weld faster than thin tube"),
        ("10.1", "the risk is above what the number suggests"),
    ],
)
def test_notes_what_the_wall_changes(thickness: str, words: str) -> None:
    assert words in materials.cracking_note("1020", "1020", thickness=Decimal(thickness))


def test_notes_each_pair_and_level_in_its_own_words() -> None:
    mild = materials.cracking_note("1020", "1018", thickness=2)
    assert "hardens little" in mild
    assert "Mild steel to mild steel cracks least readily" in mild
    both = materials.cracking_note("4130", "4130", thickness=2)
    assert "Both sides count alike." in both
    assert "Both sides are low-alloy steel" in both
    richer = {"C": Decimal("0.25"), "Mn": Decimal("1.2")}
    unknown = materials.cracking_note(Parent("maker's own", richer), "1020", thickness=2)
    assert "hydrogen cracking is possible" in unknown
    assert "nothing is said about the pair" in unknown


def test_notes_no_threshold_for_a_formula_that_has_none_here() -> None:
    for formula in ("CET", "Pcm"):
        assert f"No common threshold is known here for {formula}" in materials.cracking_note(
            "4130", "1020", thickness=2, formula=formula
        )
    note = materials.cracking_note("4130", "1020", thickness=2, formula="CEN")
    assert "The range of the CEN formula is not known here." in note


def test_refuses_a_note_without_the_facts_it_needs() -> None:
    refusal("grade_unknown", materials.cracking_note, "9999", "1020", thickness=2)
    refusal("thickness_invalid", materials.cracking_note, "4130", "1020", thickness=0)
    refusal("formula_unknown", materials.cracking_note, "4130", "1020", thickness=2, formula="CEV")
    refusal("element_missing", materials.cracking_note, Parent("4130", {}), "1020", thickness=2)
