"""Bands and the notations they are written in. Worked by hand in tests/vectors/{decision,notations}.json."""

from __future__ import annotations

from dataclasses import FrozenInstanceError, replace
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qcapp.core.errors import Invalid
from qcapp.core.metrology.bands import Band, parse_band, read_notation
from qcapp.core.metrology.decision import Verdict, judge
from qcapp.core.metrology.notations import EXAMPLES
from qcapp.core.metrology.quantities import as_text, convert
from tests.core.metrology.vectors import load

DECISION = load("decision.json")
NOTATIONS = load("notations.json")
UNHURRIED = settings(deadline=None)  # the first conversion loads a library, and machines are busy


def number(text: str | None) -> Decimal | None:
    return None if text is None else Decimal(text)


def written(limit: Decimal | None) -> str | None:
    return None if limit is None else as_text(limit)


@pytest.mark.parametrize(
    "row", NOTATIONS["accepted"], ids=lambda row: f"{row['nominal']} {row['notation']} {row['unit']}"
)
def test_reads_each_notation(row: dict[str, Any]) -> None:
    nominal = number(row["nominal"])
    read = read_notation(nominal, row["notation"], row["unit"])
    assert (written(read.band.lower), written(read.band.upper)) == (row["lower"], row["upper"])
    assert read.band.nominal == nominal
    assert read.band.natural == frozenset(row.get("natural", ()))
    assert read.band.guard == 0
    assert read.source == row.get("source", "as drawn")
    assert read.material_condition == row.get("material_condition")
    assert row.get("note", "").lower() in " ".join(read.notes).lower()
    assert bool(read.notes) == ("note" in row)
    assert parse_band(nominal, row["notation"], row["unit"]) == read.band


@pytest.mark.parametrize("row", NOTATIONS["refused"], ids=lambda row: f"{row['notation']} {row['unit']} {row['code']}")
def test_refuses_a_notation_that_means_no_band(row: dict[str, Any]) -> None:
    with pytest.raises(Invalid) as refused:
        parse_band(number(row["nominal"]), row["notation"], row["unit"])
    assert refused.value.code == row["code"]
    assert refused.value.message.endswith(".")


def test_an_unknown_notation_is_answered_with_what_can_be_written() -> None:
    with pytest.raises(Invalid) as refused:
        parse_band(Decimal(25), "snug", "mm")
    assert EXAMPLES in refused.value.message


@pytest.mark.parametrize("example", EXAMPLES.split(", "))
def test_every_example_of_the_refusal_can_be_read(example: str) -> None:
    unit = "°" if "°" in example else "µm" if example.startswith("Ra") else "mm"
    without = ("flatness", "position", "Ra", "max", "min", "ISO 13920-BF flatness")
    nominal = None if example.startswith(without) else Decimal("25.2")
    assert parse_band(nominal, example, unit).nominal == nominal


@UNHURRIED
@given(st.text(max_size=90), st.sampled_from(["mm", "in", "°", "µm", "N·m", ""]))
def test_any_text_gives_a_band_or_a_refusal(notation: str, unit: str) -> None:
    try:
        band = parse_band(Decimal(25), notation, unit)
    except Invalid as refused:
        assert refused.code  # noqa: PT017 -- either outcome is right, nothing else is
    else:
        assert band.lower is not None or band.upper is not None


@UNHURRIED
@given(
    st.decimals(min_value=2, max_value=100, places=3),
    st.sampled_from(["H7", "g6", "js9", "K7", "ISO 2768-m", "ISO 2768-c", "ISO 13920-B"]),
)
def test_converted_classes_never_permit_more_than_in_millimetres(inches: Decimal, notation: str) -> None:
    if notation[0] != "I":
        inches = inches / 6  # the tables of fits end at 500 mm
    millimetres = convert(inches, "in", "mm")
    exact = parse_band(millimetres, notation, "mm")
    in_inches = parse_band(inches, notation, "in")
    assert in_inches.lower is not None
    assert in_inches.upper is not None
    for limit in (in_inches.lower, in_inches.upper):
        assert judge(convert(limit, "in", "mm"), replace(exact, allow_outside_nominal=True)).excess == 0
    assert convert(in_inches.lower - Decimal("0.000001"), "in", "mm") < (exact.lower or 0) + Decimal("1e-9")
    assert convert(in_inches.upper + Decimal("0.000001"), "in", "mm") > (exact.upper or 0) - Decimal("1e-9")


@pytest.mark.parametrize("row", DECISION["refused_bands"], ids=lambda row: f"{row['code']} {row['band']}")
def test_refuses_a_band_that_cannot_be_meant(row: dict[str, Any]) -> None:
    with pytest.raises(Invalid) as refused:
        Band.from_json(row["band"])
    assert refused.value.code == row["code"]


@pytest.mark.parametrize("number", [24.8, 25, "24.8", Decimal("NaN"), Decimal("Infinity"), Decimal("0E-99")])
@pytest.mark.parametrize("place", ["lower", "upper", "nominal", "guard"])
def test_refuses_limits_that_are_no_plain_decimals(place: str, number: Any) -> None:
    with pytest.raises(Invalid) as refused:
        Band(**({"lower": Decimal(0), "upper": Decimal(50)} | {place: number}))
    assert refused.value.code == "limit_not_decimal"


@pytest.mark.parametrize("data", DECISION["bands"].values(), ids=DECISION["bands"])
def test_writes_and_reads_itself_without_losing_a_digit(data: dict[str, Any]) -> None:
    band = Band.from_json(data)
    again = band.to_json()
    assert Band.from_json(again) == band
    assert {name: again[name] for name in data} == data
    assert list(again) == ["lower", "upper", "nominal", "guard", "natural", "allow_outside_nominal"]


def test_limits_are_written_without_exponents() -> None:
    data = Band(Decimal("1E+2"), Decimal("2E+2"), guard=Decimal("1E-7")).to_json()
    assert (data["lower"], data["upper"], data["guard"]) == ("100", "200", "0.0000001")


def test_a_band_is_frozen() -> None:
    band = Band(Decimal(1), Decimal(2))
    with pytest.raises(FrozenInstanceError):
        band.lower = Decimal(0)  # type: ignore[misc]
    assert band.lower == 1


def test_width_is_exact_and_unknown_for_an_open_side() -> None:
    assert Band(Decimal("24.80"), Decimal("25.2")).width == Decimal("0.40")
    assert Band(Decimal("1E+18"), Decimal("1E+18") + Decimal("1E-9")).width == Decimal("1E-9")
    assert Band(None, Decimal("25.2")).width is None


def test_a_guard_may_leave_a_single_value() -> None:
    band = Band(Decimal("24.8"), Decimal("25.2"), guard=Decimal("0.2"))
    assert judge(Decimal(25), band).verdict is Verdict.IN_BAND
    assert judge(Decimal("25.0001"), band).verdict is Verdict.NEAR_LIMIT


def test_a_natural_boundary_leaves_room_for_a_larger_guard() -> None:
    limits = {"lower": Decimal(0), "upper": Decimal("0.4"), "guard": Decimal("0.4")}
    assert Band(**limits, natural=frozenset({"lower"})).guard == Decimal("0.4")  # type: ignore[arg-type]
    with pytest.raises(Invalid) as refused:
        Band(**limits)  # type: ignore[arg-type]
    assert refused.value.code == "guard_swallows_band"


def test_a_nominal_outside_the_limits_is_refused_unless_it_is_meant() -> None:
    limits = {"lower": Decimal("24.98"), "upper": Decimal("24.993"), "nominal": Decimal(25)}
    with pytest.raises(Invalid) as refused:
        Band(**limits)
    assert refused.value.code == "nominal_outside"
    assert Band(**limits, allow_outside_nominal=True).nominal == 25


@UNHURRIED
@given(st.decimals(min_value=-100, max_value=100, places=3), st.decimals(min_value=0, max_value=10, places=3))
def test_plus_minus_is_what_two_deviations_and_two_limits_say(nominal: Decimal, deviation: Decimal) -> None:
    by = as_text(deviation)
    band = parse_band(nominal, f"±{by}", "mm")
    assert band == parse_band(nominal, f"+{by}/-{by}", "mm")
    assert band == parse_band(nominal, f"{as_text(nominal - deviation)} to {as_text(nominal + deviation)}", "mm")
    assert band == parse_band(nominal, f"±{by}".replace(".", ","), "mm")
