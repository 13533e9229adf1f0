"""A notation with its size, read into limits and words."""

from __future__ import annotations

from decimal import Decimal

import pytest

from qcapp.core.errors import Invalid
from qcapp.plans.calculators.sizes import Wanted, read_query, signed, sized
from tests.core.metrology.vectors import load

FITS = load("fits.json")
GENERAL = load("general_tolerances.json")


@pytest.mark.parametrize(
    ("text", "nominal", "notation", "unit"),
    [
        ("30 H7", "30", "H7", "mm"),
        ("30H7", "30", "H7", "mm"),
        ("⌀30 H7", "30", "H7", "mm"),
        ("30 m6", "30", "m6", "mm"),
        ("400 ISO 13920-B", "400", "ISO 13920-B", "mm"),
        ("25,4 mm ±0,2", "25.4", "±0,2", "mm"),
        ("1.25 in H7", "1.25", "H7", "in"),
        ("90° ±0°30′", "90", "±0°30′", "°"),
        ("25 +0.3/-0.1", "25", "+0.3/-0.1", "mm"),
        ("-5 ±0.2", "-5", "±0.2", "mm"),
        ("0 ±0.2", "0", "±0.2", "mm"),
        ("max 0.5", None, "max 0.5", "mm"),
        ("0.5 max", None, "0.5 max", "mm"),
        ("25.0 to 25.4", None, "25.0 to 25.4", "mm"),
        ("ISO 13920-F flatness 640", None, "ISO 13920-F flatness 640", "mm"),
        ("  30   H7 ", "30", "H7", "mm"),
    ],
)
def test_reads_a_size_and_its_notation(text: str, nominal: str | None, notation: str, unit: str) -> None:
    wanted = read_query(text)
    assert wanted == Wanted(None if nominal is None else Decimal(nominal), notation, unit)
    assert sized(wanted).source


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("30", "notation_missing"),
        ("25.4", "notation_missing"),
        ("", "notation_missing"),
        ("H7", "nominal_missing"),
        ("±0.2", "nominal_missing"),
        ("a good deal", "notation_unknown"),
    ],
)
def test_refuses_what_lacks_its_size_or_its_tolerance(text: str, code: str) -> None:
    with pytest.raises(Invalid) as caught:
        read_query(text)
    assert caught.value.code == code


@pytest.mark.parametrize(
    ("text", "code"),
    [("30 Q7", "class_unknown"), ("900 g6", "size_outside_table"), ("30 ISO 13920-X", "class_unknown")],
)
def test_refuses_what_the_tables_do_not_have(text: str, code: str) -> None:
    with pytest.raises(Invalid) as caught:
        sized(read_query(text))
    assert caught.value.code == code


@pytest.mark.parametrize("row", FITS["worked_limits"], ids=lambda row: f"{row['nominal']} {row['tolerance_class']}")
def test_gives_the_worked_limits_of_iso_286(row: dict[str, str]) -> None:
    """ISO 286-1:2010 and ISO 286-2:2010, each agreeing with at least one independent table set (fits.json)."""
    answer = sized(read_query(f"{row['nominal']} {row['tolerance_class']}"))
    assert Decimal(answer.lower_text) == Decimal(row["lower_mm"])
    assert Decimal(answer.upper_text) == Decimal(row["upper_mm"])
    assert answer.source.startswith("ISO 286-1:2010, Table")


LINEAR = [row for row in GENERAL["cases"] if row["kind"] == "linear" and row["amount"] is not None]


@pytest.mark.parametrize("row", LINEAR, ids=lambda row: f"{row['size']} {row['standard']}-{row['tolerance_class']}")
def test_gives_the_general_tolerances_as_printed(row: dict[str, str]) -> None:
    """ISO 2768-1:1989 Table 1 and ISO 13920:2023 Table 1 (general_tolerances.json says how each was confirmed)."""
    answer = sized(read_query(f"{row['size']} {row['standard']}-{row['tolerance_class']}"))
    assert Decimal(answer.upper_text) - Decimal(row["size"]) == Decimal(row["amount"])
    assert Decimal(row["size"]) - Decimal(answer.lower_text) == Decimal(row["amount"])
    assert row["standard"] in answer.source


def test_writes_both_limits_equally_long_and_never_rounds() -> None:
    answer = sized(read_query("30 H7"))
    assert (answer.headline, answer.deviations_text, answer.width_text) == (
        "30.000 to 30.021 mm",
        "0 / +0.021 mm",
        "0.021 mm",
    )
    assert sized(read_query("30 js7")).headline == "29.9895 to 30.0105 mm"


def test_leaves_a_natural_boundary_unnamed() -> None:
    answer = sized(read_query("ISO 13920-F flatness 640"))
    assert (answer.headline, answer.lower_text, answer.upper_text) == ("max 3 mm", "0", "3")
    assert answer.deviations_text == ""


def test_offers_one_line_and_the_cells_of_a_plan_file_to_copy() -> None:
    answer = sized(read_query("30 H7"))
    assert answer.copy_text == "30 H7: 30.000 to 30.021 mm (ISO 286-1:2010, Table 1)"
    assert answer.copy_cells.split("\t") == ["30", "H7", "30.000", "30.021", "", "mm"]


@pytest.mark.parametrize(
    ("value", "uncertainty", "verdict", "sentence"),
    [
        ("25.412", None, "in_band", "25.412 mm is in band, 0.009 mm from the upper limit."),
        ("25.421", None, "in_band", "25.421 mm is in band, on the upper limit."),
        ("25.4211", None, "out_of_band", "25.4211 mm is out of band: 0.0001 mm above the upper limit."),
        ("25.39", None, "out_of_band", "25.39 mm is out of band: 0.010 mm below the lower limit."),
        ("25.412", "0.010", "near_limit", "25.412 mm is near limit, 0.009 mm from the upper limit."),
        ("25.412", "0.009", "in_band", "25.412 mm is in band, 0.009 mm from the upper limit."),
    ],
)
def test_says_the_verdict_in_words(value: str, uncertainty: str | None, verdict: str, sentence: str) -> None:
    """Simple acceptance (JCGM 106:2012, 8.2); guard band w = U (ISO 14253-1, from memory): its end is inside."""
    answer = sized(
        read_query("25.4 H7"),
        value=Decimal(value),
        expanded_uncertainty=None if uncertainty is None else Decimal(uncertainty),
    )
    assert (answer.verdict, answer.verdict_sentence) == (verdict, sentence)
    assert ("ISO 14253-1" in answer.rule_sentence) == (uncertainty is not None)


def test_says_nothing_of_a_verdict_without_a_value() -> None:
    answer = sized(read_query("30 H7"), expanded_uncertainty=Decimal("0.01"))
    assert (answer.verdict, answer.verdict_sentence, answer.judgement) == ("", "", None)


def test_writes_deviations_as_drawings_do() -> None:
    assert [signed(Decimal(text), 3) for text in ("0.000", "0.02", "-0.007", "0.00005")] == [
        "0",
        "+0.020",
        "-0.007",
        "+0.00005",
    ]
