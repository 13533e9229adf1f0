"""Reading, converting and rounding values. Sources: tests/vectors/{parsing,units,rounding}.json."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from decimal import Decimal
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import constants

from qcapp.core.errors import Invalid
from qcapp.core.metrology import quantities
from qcapp.core.metrology.quantities import as_text, convert, parse_value, round_value
from tests.core.metrology.vectors import load

UNHURRIED = settings(deadline=None)  # the first conversion loads a library, and machines are busy
PARSING = load("parsing.json")
UNITS = load("units.json")
ROUNDING = load("rounding.json")


def options(row: dict[str, Any]) -> dict[str, Any]:
    return {name: row[name] for name in ("decimal_mark", "units", "max_digits") if name in row}


@pytest.mark.parametrize("row", PARSING["accepted"], ids=lambda row: repr(row["text"]))
def test_reads_what_is_typed_with_its_trailing_zeros(row: dict[str, Any]) -> None:
    assert as_text(parse_value(row["text"], **options(row))) == row["value"]


@pytest.mark.parametrize("row", PARSING["refused"], ids=lambda row: repr(row["text"]))
def test_refuses_what_is_no_plain_number(row: dict[str, Any]) -> None:
    with pytest.raises(Invalid) as refused:
        parse_value(row["text"], **options(row))
    assert refused.value.code == row["code"]
    assert "type" in refused.value.message


def test_zero_has_no_sign() -> None:
    assert not parse_value("-0.00").is_signed()
    assert str(parse_value("−0,00")) == "0.00"


@pytest.mark.parametrize("value", [12.5, 12, None, Decimal("12.5"), b"12.5", True])
def test_refuses_a_value_that_is_not_text(value: Any) -> None:
    with pytest.raises(Invalid) as refused:
        parse_value(value)
    assert refused.value.code == "value_not_text"


@UNHURRIED
@given(st.decimals(min_value=-999_999, max_value=999_999, places=6), st.sampled_from(".,"))
def test_reads_back_what_it_wrote(value: Decimal, mark: str) -> None:
    assert parse_value(as_text(value).replace(".", mark)) == value


@UNHURRIED
@given(st.text(max_size=70))
def test_gives_a_finite_number_or_a_refusal_for_any_text(text: str) -> None:
    try:
        value = parse_value(text, units=("mm",))
    except Invalid as refused:
        assert refused.code.startswith("value_")  # noqa: PT017 -- either outcome is right, nothing else is
    else:
        assert value.is_finite()
        assert len(value.as_tuple().digits) <= 18


@pytest.mark.parametrize("row", UNITS["factors"], ids=lambda row: f"{row['from']} to {row['to']}")
def test_converts_by_the_published_factor(row: dict[str, str]) -> None:
    found = convert(Decimal(1), row["from"], row["to"])
    if row["kind"] == "exact":
        assert found == Decimal(row["factor"])
    else:
        within = Decimal("1e-16")  # the degree in radians was written down from a binary fraction
        assert abs(found / Decimal(row["factor"]) - 1) < within


@pytest.mark.parametrize("row", UNITS["cases"], ids=lambda row: f"{row['value']} {row['from']} to {row['to']}")
def test_converts_the_worked_cases(row: dict[str, str]) -> None:
    found = convert(Decimal(row["value"]), row["from"], row["to"])
    printed = Decimal(row["result"])
    half_of_last = Decimal(1).scaleb(int(printed.as_tuple().exponent)) / 2
    assert abs(found - printed) <= half_of_last


@pytest.mark.parametrize("row", UNITS["temperatures"], ids=lambda row: row["f"])
def test_converts_temperatures_with_their_offset(row: dict[str, str]) -> None:
    assert convert(Decimal(row["f"]), "°F", "°C") == Decimal(row["c"])
    assert convert(Decimal(row["c"]), "°C", "°F") == Decimal(row["f"])
    assert convert(Decimal(row["c"]), "°C", "K") == Decimal(row["c"]) + Decimal("273.15")


@pytest.mark.parametrize(
    ("name", "in_si", "factor"),
    [
        ("in", "m", constants.inch),
        ("mil", "m", constants.mil),
        ("lb", "kg", constants.pound),
        ("lbf", "N", constants.pound_force),
        ("kgf", "N", constants.kilogram_force),
        ("psi", "Pa", constants.psi),
        ("bar", "Pa", constants.bar),
        ("°", "rad", constants.degree),
        ("′", "rad", constants.arcminute),
        ("″", "rad", constants.arcsecond),
        ("US gal", "m3", constants.gallon_US),
        ("hp", "W", constants.horsepower),
    ],
)
def test_agrees_with_a_general_library(name: str, in_si: str, factor: float) -> None:
    """Source: scipy.constants (CODATA and NIST SP 811 values)."""
    assert float(convert(Decimal(1), name, in_si)) == pytest.approx(factor, rel=1e-14)


@pytest.mark.parametrize(
    ("from_unit", "to_unit", "code"),
    [
        ("mm", "N·m", "unit_mismatch"),
        ("mm", "°C", "unit_mismatch"),
        ("°", "mm", "unit_mismatch"),
        ("furlongish", "mm", "unit_unknown"),
        ("mm", "", "unit_unknown"),
        ("mm", "(mm)", "unit_unknown"),
        ("mm**99999999", "mm", "unit_unknown"),
        ("5", "mm", "unit_unknown"),
        ("mm/", "mm", "unit_unknown"),
        ("mm " * 20, "mm", "unit_unknown"),
        ("__import__", "mm", "unit_unknown"),
    ],
)
def test_refuses_to_convert_between_what_does_not_fit(from_unit: str, to_unit: str, code: str) -> None:
    with pytest.raises(Invalid) as refused:
        convert(Decimal(1), from_unit, to_unit)
    assert refused.value.code == code


@pytest.mark.parametrize("value", ["NaN", "Infinity", "1E+200", "1E-200"])
def test_refuses_to_convert_or_round_what_nobody_measured(value: str) -> None:
    with pytest.raises(Invalid, match=r"number|unit"):
        convert(Decimal(value), "mm", "in")
    with pytest.raises(Invalid, match=r"number|unit"):
        round_value(Decimal(value), Decimal("0.1"))


def test_threads_that_start_together_share_one_registry() -> None:
    quantities._registry.cache_clear()
    quantities._unit.cache_clear()
    units = ["mm", "in", "ft", "µm", "m", "yd", "mil", "km"]
    with ThreadPoolExecutor(len(units)) as pool:
        found = list(pool.map(lambda unit: convert(convert(Decimal(1), "in", unit), unit, "in"), units))
    assert all(abs(value - 1) < Decimal("1e-25") for value in found)
    assert quantities._registry.cache_info().misses == 1


PAIRS = [
    ("mm", "in"),
    ("µm", "µin"),
    ("N·m", "ft lbf"),
    ("kPa", "psi"),
    ("°", "arcmin"),
    ("°C", "°F"),
    ("°", "rad"),
]


@UNHURRIED
@given(st.decimals(min_value=-10_000, max_value=10_000, places=6), st.sampled_from(PAIRS))
def test_converting_there_and_back_changes_no_digit_that_was_typed(value: Decimal, pair: tuple[str, str]) -> None:
    there = convert(value, *pair)
    assert abs(convert(there, pair[1], pair[0]) - value) <= Decimal("1e-18")


@UNHURRIED
@given(st.decimals(min_value=-1000, max_value=1000, places=9))
def test_inches_to_millimetres_are_exact_there_and_back(value: Decimal) -> None:
    in_mm = convert(value, "in", "mm")
    assert Fraction(in_mm) == Fraction(value) * Fraction(254, 10)
    assert convert(in_mm, "mm", "in") == value


@pytest.mark.parametrize("row", ROUNDING["cases"], ids=lambda row: f"{row['value']} to {row['step']} {row['rule']}")
def test_rounds_as_published(row: dict[str, str]) -> None:
    rules = ["half_even", "half_up"] if row["rule"] == "any" else [row["rule"]]
    for rule in rules:
        rounded = round_value(Decimal(row["value"]), Decimal(row["step"]), rule=rule)  # type: ignore[arg-type]
        assert as_text(rounded) == as_text(Decimal(row["rounded"])), rule


@pytest.mark.parametrize("row", ROUNDING["conformance"], ids=lambda row: f"{row['property']} {row['observed']}")
def test_rounding_method_and_reading_as_is_differ_as_published(row: dict[str, Any]) -> None:
    """ASTM E29: the rounding method rounds before comparing, the absolute method does not."""
    limit, observed = Decimal(row["limit"]), Decimal(row["observed"])
    rounded = round_value(observed, Decimal(row["step"]), rule=row["rule"])
    assert rounded == Decimal(row["rounded"])
    conforms = (lambda value: value >= limit) if row["side"] == "min" else (lambda value: value <= limit)
    assert conforms(rounded) is row["conforms_rounded"]
    assert conforms(observed) is row["conforms_as_read"]


@pytest.mark.parametrize(
    ("value", "step", "rule", "rounded"),
    [
        ("-12.25", "0.1", "half_even", "-12.2"),
        ("-12.25", "0.1", "half_up", "-12.3"),
        ("-0.04", "0.1", "half_even", "0.0"),
        ("7.5", "2.5", "half_even", "7.5"),
        ("6.25", "2.5", "half_even", "5.0"),
        ("6.25", "2.5", "half_up", "7.5"),
        ("25", "0.001", "half_even", "25.000"),
        ("123456789012345678.5", "1", "half_even", "123456789012345678"),
    ],
)
def test_rounds_signs_odd_steps_and_long_values(value: str, step: str, rule: Any, rounded: str) -> None:
    assert as_text(round_value(Decimal(value), Decimal(step), rule=rule)) == rounded


@pytest.mark.parametrize(
    ("step", "rule", "code"),
    [
        ("0", "half_even", "step_not_positive"),
        ("-1", "half_up", "step_not_positive"),
        ("NaN", "half_up", "step_not_positive"),
        ("1", "up", "rule_unknown"),
    ],
)
def test_refuses_a_step_or_rule_that_cannot_round(step: str, rule: Any, code: str) -> None:
    with pytest.raises(Invalid) as refused:
        round_value(Decimal("1.5"), Decimal(step), rule=rule)
    assert refused.value.code == code


@UNHURRIED
@given(
    st.decimals(min_value=-10_000, max_value=10_000, places=6),
    st.sampled_from(["0.001", "0.01", "0.05", "0.5", "1", "50"]),
    st.sampled_from(["half_even", "half_up"]),
)
def test_rounding_moves_at_most_half_a_step_and_rests_there(value: Decimal, step: str, rule: Any) -> None:
    width = Decimal(step)
    rounded = round_value(value, width, rule=rule)
    assert abs(rounded - value) <= width / 2
    assert rounded % width == 0
    assert round_value(rounded, width, rule=rule) == rounded


@UNHURRIED
@given(st.decimals(min_value=-1000, max_value=1000, places=4), st.integers(0, 4))
def test_rounds_to_decimals_as_the_decimal_type_does(value: Decimal, places: int) -> None:
    """Source: Decimal.quantize of the standard library, an independent implementation for steps of 10**-n."""
    step = Decimal(1).scaleb(-places)
    assert round_value(value, step) == value.quantize(step, rounding="ROUND_HALF_EVEN")
    assert round_value(value, step, rule="half_up") == value.quantize(step, rounding="ROUND_HALF_UP")


@pytest.mark.parametrize(
    ("value", "text"), [("1E+3", "1000"), ("1E-7", "0.0000001"), ("-0.00", "0.00"), ("12.50", "12.50")]
)
def test_writes_plain_digits_without_exponent(value: str, text: str) -> None:
    assert as_text(Decimal(value)) == text
