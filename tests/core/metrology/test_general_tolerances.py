"""ISO 2768 and ISO 13920 against whole tables; sources stand in tests/vectors/general_tolerances.json."""

from __future__ import annotations

from decimal import Decimal
from math import radians, tan
from typing import Any

import pytest

from qcapp.core.errors import Invalid
from qcapp.core.metrology.bands import Band, parse_band, read_notation
from qcapp.core.metrology.decision import Verdict, judge
from qcapp.core.metrology.general_tolerances import (
    TABLES,
    GeneralClass,
    angular_offset,
    names_standard,
    permitted,
    read_class,
)
from tests.core.metrology.vectors import load

VECTORS = load("general_tolerances.json")


def sizes(row: dict[str, Any]) -> list[Decimal | None]:
    """Just over the lower end of the range, and its upper end; any size where there is no range."""
    if row["over"] is None:
        return [None, Decimal(5000)]
    over = Decimal(row["over"]) + Decimal("0.001")
    return [over, Decimal(1_000_000) if row["to"] is None else Decimal(row["to"])]


@pytest.mark.parametrize("kind", sorted(TABLES), ids=" ".join)
def test_every_cell_is_that_of_the_standard(kind: tuple[str, str]) -> None:
    rows = [row for row in VECTORS["tables"] if (row["standard"], row["kind"]) == kind]
    assert rows
    for row in rows:
        for size in sizes(row):
            if row["amount"] is None:
                with pytest.raises(Invalid) as refused:
                    permitted(row["standard"], row["kind"], row["tolerance_class"], size)
                assert refused.value.code == "size_outside_table"
            else:
                found = permitted(row["standard"], row["kind"], row["tolerance_class"], size)
                assert found.amount == Decimal(row["amount"]), (row, size)


def test_the_vectors_hold_every_cell_of_the_tables() -> None:
    cells = sum(len(row.cells) for table in TABLES.values() for row in table.rows)
    assert cells == sum(row["amount"] is not None for row in VECTORS["tables"])


@pytest.mark.parametrize(
    "row", VECTORS["cases"], ids=lambda row: f"{row['kind']} {row['tolerance_class']} {row['size']}"
)
def test_gives_the_worked_cases(row: dict[str, Any]) -> None:
    arguments = (row["standard"], row["kind"], row["tolerance_class"], Decimal(row["size"]))
    if row["amount"] is None:
        with pytest.raises(Invalid) as refused:
            permitted(*arguments)
        assert refused.value.code == "size_outside_table"
        assert "limits as numbers" in str(refused.value)
    else:
        assert permitted(*arguments).amount == Decimal(row["amount"])


@pytest.mark.parametrize("row", VECTORS["verdicts"], ids=lambda row: f"{row['nominal']} {row['value']}")
def test_values_are_judged_by_the_general_tolerance(row: dict[str, str]) -> None:
    band = parse_band(Decimal(row["nominal"]), f"ISO 2768-{row['tolerance_class']}", "mm")
    judgement = judge(Decimal(row["value"]), band)
    assert judgement.verdict is (Verdict.IN_BAND if row["verdict"] == "in" else Verdict.OUT_OF_BAND)
    assert judgement.deviation == Decimal(row["deviation"])


@pytest.mark.parametrize("row", VECTORS["angular_offsets"], ids=lambda row: row["tolerance_class"] + row["shorter_leg"])
def test_angular_offset_grows_with_the_shorter_leg(row: dict[str, str]) -> None:
    leg = Decimal(row["shorter_leg"])
    assert angular_offset(row["tolerance_class"], leg) == Decimal(row["offset"])
    minutes = permitted("ISO 13920", "angle", row["tolerance_class"], leg).amount
    assert minutes == Decimal(row["minutes"])
    assert float(leg) * tan(radians(float(minutes) / 60)) == pytest.approx(float(row["by_tangent"]), abs=5e-5)


@pytest.mark.parametrize(("tolerance_class", "size"), [("A", 400), ("B", 401), ("C", 1000), ("D", 1001)])
def test_offset_per_metre_is_the_tangent_of_the_angle_rounded(tolerance_class: str, size: int) -> None:
    """ISO 13920 prints both; the largest rounding in its table is that of 15 minutes, 4.36 to 4.5."""
    minutes = permitted("ISO 13920", "angle", tolerance_class, Decimal(size)).amount
    per_metre = permitted("ISO 13920", "angle offset", tolerance_class, Decimal(size)).amount
    assert float(per_metre) == pytest.approx(1000 * tan(radians(float(minutes) / 60)), abs=0.55)


def test_first_ranges_include_their_lower_end() -> None:
    assert permitted("ISO 2768", "linear", "m", Decimal("0.5")).amount == Decimal("0.1")
    assert permitted("ISO 2768", "broken edge", "m", Decimal("0.5")).amount == Decimal("0.2")
    assert permitted("ISO 13920", "linear", "D", Decimal(2)).amount == 1


@pytest.mark.parametrize(
    ("standard", "kind", "tolerance_class", "size"),
    [
        ("ISO 2768", "linear", "m", "0.499"),
        ("ISO 2768", "linear", "m", "4000.001"),
        ("ISO 2768", "linear", "m", "-10"),
        ("ISO 2768", "flatness", "H", "3000.1"),
        ("ISO 13920", "linear", "A", "1.999"),
        ("ISO 13920", "flatness", "E", "30"),
    ],
)
def test_refuses_a_size_outside_the_table(standard: Any, kind: str, tolerance_class: str, size: str) -> None:
    with pytest.raises(Invalid) as refused:
        permitted(standard, kind, tolerance_class, Decimal(size))
    assert refused.value.code == "size_outside_table"


@pytest.mark.parametrize(
    ("written", "standard", "letters", "kind", "size"),
    [
        ("ISO 2768-m", "ISO 2768", "m", None, None),
        ("ISO 2768-mK", "ISO 2768", "mK", None, None),
        ("DIN ISO 2768 - mK", "ISO 2768", "mK", None, None),
        ("ISO 2768-1:1989-f", "ISO 2768", "f", None, None),
        ("ISO 2768-1 c", "ISO 2768", "c", None, None),
        ("ISO 2768-mK flatness 250", "ISO 2768", "mK", "flatness", "250"),
        ("ISO 2768-mK, flatness, 250 mm", "ISO 2768", "mK", "flatness", "250"),
        ("ISO 2768-H run-out", "ISO 2768", "H", "run-out", None),
        ("ISO 2768-m broken edge", "ISO 2768", "m", "broken edge", None),
        ("ISO 2768-m chamfer", "ISO 2768", "m", "broken edge", None),
        ("EN ISO 13920-BF", "ISO 13920", "BF", None, None),
        ("ISO 13920:2023-BF straightness 1250,5", "ISO 13920", "BF", "straightness", "1250.5"),
        ("ISO 13920:1996-A angle 250", "ISO 13920", "A", "angle", "250"),
    ],
)
def test_reads_the_class_of_a_drawing_note(
    written: str, standard: Any, letters: str, kind: str | None, size: str | None
) -> None:
    assert names_standard(written)
    expected = GeneralClass(standard, letters, kind, None if size is None else Decimal(size))
    assert read_class(written) == expected


@pytest.mark.parametrize(
    ("written", "code"),
    [
        ("ISO 2768", "notation_unknown"),
        ("ISO 2768-m 30 30", "notation_unknown"),
        ("ISO 2768-x", "class_unknown"),
        ("ISO 2768-B", "class_unknown"),
        ("ISO 2768-Km", "class_unknown"),
        ("ISO 13920-m", "class_unknown"),
        ("ISO 13920-FB", "class_unknown"),
        ("ISO 2768:2005-m", "edition_unknown"),
        ("ISO 13920:2001-B", "edition_unknown"),
        ("ISO 13920-BF roundness 30", "kind_unknown"),
    ],
)
def test_refuses_a_note_that_names_no_class(written: str, code: str) -> None:
    with pytest.raises(Invalid) as refused:
        read_class(written)
    assert refused.value.code == code


@pytest.mark.parametrize(
    ("nominal", "notation", "unit", "code"),
    [
        (None, "ISO 2768-m", "mm", "nominal_missing"),
        (None, "ISO 2768-mK flatness", "mm", "length_missing"),
        (None, "ISO 13920-BF perpendicularity 300", "mm", "kind_unknown"),
        (None, "ISO 13920-B flatness 300", "mm", "class_unknown"),
        ("500", "ISO 13920-F", "mm", "class_unknown"),
        ("45", "ISO 2768-m", "°", "length_missing"),
        ("500", "ISO 13920-B", "N·m", "unit_mismatch"),
        ("0", "ISO 2768-m angle 300", "mm", "kind_unknown"),
    ],
)
def test_refuses_what_the_note_leaves_open(nominal: str | None, notation: str, unit: str, code: str) -> None:
    with pytest.raises(Invalid) as refused:
        read_notation(None if nominal is None else Decimal(nominal), notation, unit)
    assert refused.value.code == code


@pytest.mark.parametrize(
    ("nominal", "notation", "unit", "lower", "upper", "source"),
    [
        ("740", "ISO 2768-m", "mm", "739.2", "740.8", "ISO 2768-1:1989, Table 1"),
        ("5", "ISO 2768-c chamfer", "mm", "4", "6", "ISO 2768-1:1989, Table 2"),
        ("45", "ISO 2768-m angle 30", "°", "44.5", "45.5", "ISO 2768-1:1989, Table 3"),
        ("2700", "ISO 2768-m angle 100", "′", "2680", "2720", "ISO 2768-1:1989, Table 3"),
        ("640", "ISO 13920-BF", "mm", "637", "643", "ISO 13920:2023 (numbers as in 1996), Table 1"),
        ("90", "ISO 13920-B angle 640", "°", "89.5", "90.5", "ISO 13920:2023 (numbers as in 1996), Table 2"),
        (
            None,
            "ISO 13920-B angle 640",
            "mm",
            "-5.76",
            "5.76",
            "ISO 13920:2023 (numbers as in 1996), Table 2",
        ),
    ],
)
def test_two_sided_classes_become_limits_around_the_nominal(
    nominal: str | None, notation: str, unit: str, lower: str, upper: str, source: str
) -> None:
    read = read_notation(None if nominal is None else Decimal(nominal), notation, unit)
    assert (read.band.lower, read.band.upper) == (Decimal(lower), Decimal(upper))
    assert read.source == source
    assert read.band.natural == frozenset()


@pytest.mark.parametrize(
    ("notation", "upper", "source"),
    [
        ("ISO 2768-mK flatness 250", "0.4", "ISO 2768-2:1989 (withdrawn), Table 1"),
        ("ISO 2768-K perpendicularity 240", "0.6", "ISO 2768-2:1989 (withdrawn), Table 2"),
        ("ISO 2768-mL symmetry 240", "1", "ISO 2768-2:1989 (withdrawn), Table 3"),
        ("ISO 2768-mH run-out", "0.1", "ISO 2768-2:1989 (withdrawn), Table 4"),
        ("ISO 13920-BF flatness 640", "3", "ISO 13920:2023 (numbers as in 1996), Table 3"),
        ("ISO 13920-G parallelism 2600", "11", "ISO 13920:2023 (numbers as in 1996), Table 3"),
    ],
)
def test_form_classes_become_zones_from_the_natural_zero(notation: str, upper: str, source: str) -> None:
    read = read_notation(None, notation, "mm")
    assert read.band == Band(Decimal(0), Decimal(upper), natural=frozenset({"lower"}))
    assert read.source == source


def test_inch_sizes_are_looked_up_in_mm_and_say_so() -> None:
    read = read_notation(Decimal("29.25"), "ISO 2768-m", "in")  # 742.95 mm, ±0.8 mm = ±0.031496… in
    assert (read.band.lower, read.band.upper) == (Decimal("29.218504"), Decimal("29.281496"))
    assert read.notes == ("Computed in mm and converted to in; limits cut to 0.000001 in, inwards.",)


def test_angle_minutes_without_end_in_degrees_are_cut_inwards_and_say_so() -> None:
    read = read_notation(Decimal(45), "ISO 13920-A angle 250", "°")  # ±20′ = ±0.3333…°
    assert (read.band.lower, read.band.upper) == (Decimal("44.666667"), Decimal("45.333333"))
    assert "cut" in read.notes[0]
