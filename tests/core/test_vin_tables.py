"""The tables behind the VIN check digit and the model year code, cell by cell (tests/vectors/vin_tables.json)."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from qcapp.core.identification import check_vin, vin_check_digit

TABLES = json.loads((Path(__file__).parents[1] / "vectors" / "vin_tables.json").read_text("utf-8"))
ZEROS = "0" * 17


def at(position: int, character: str) -> str:
    """Seventeen zeros with one other character; counted from 1."""
    return ZEROS[: position - 1] + character + ZEROS[position:]


def digit(total: int) -> str:
    """49 CFR 565.15(c)(4): the remainder after division by 11, X for ten."""
    return "X" if total % 11 == 10 else str(total % 11)


@pytest.mark.parametrize(("position", "weight"), [*enumerate(TABLES["weights"], start=1)])
def test_weighs_each_position_as_printed(position: int, weight: int) -> None:
    """49 CFR 565.15, Table IV."""
    assert vin_check_digit(at(position, "1")) == digit(weight)


@pytest.mark.parametrize(("character", "value"), [*TABLES["values"].items()])
def test_gives_each_character_the_printed_value(character: str, value: int) -> None:
    """49 CFR 565.15, Table III; position 17 weighs 2 and position 1 weighs 8."""
    assert vin_check_digit(at(17, character)) == digit(2 * value)
    assert vin_check_digit(at(1, character)) == digit(8 * value)


def with_year(code: str) -> str:
    """A constructed VIN with its check digit, of no real vehicle; position 10 is the year code."""
    vin = f"1Z9FR10M0{code}A000124"
    return vin[:8] + vin_check_digit(vin) + vin[9:]


@pytest.mark.parametrize("code", TABLES["year_codes"])
def test_takes_each_code_of_a_model_year(code: str) -> None:
    """49 CFR 565.15, Table VII."""
    assert check_vin(with_year(code)) == []


@pytest.mark.parametrize("code", sorted(set(TABLES["not_year_codes"]) - set(TABLES["illegal_letters"])))
def test_finds_what_stands_for_no_model_year(code: str) -> None:
    assert [finding.code for finding in check_vin(with_year(code))] == ["vin_year"]


@pytest.mark.parametrize("letter", TABLES["illegal_letters"])
def test_finds_the_letters_that_no_vin_has(letter: str) -> None:
    """ISO 3779:2009, clause 4."""
    assert letter not in TABLES["values"]
    assert "vin_character" in {finding.code for finding in check_vin(at(4, letter))}
