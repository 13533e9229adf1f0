"""The published numbers in tests/vectors, each file with its source and how it was read.

`published` finds what a source prints, `computed` what was worked out independently from the same data;
tolerances come with the printed numbers, because a printed last digit sets what can be expected.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

FOLDER = Path(__file__).resolve().parents[2] / "vectors"
COMPUTED = 1e-8  # relative, for numbers without a printed source


@dataclass(frozen=True)
class Limits:
    """As much of a band as the statistics look at."""

    lower: Decimal | None = None
    upper: Decimal | None = None
    natural: frozenset[str] = frozenset()


def limits(lower: object, upper: object, *natural: str) -> Limits:
    sides = [None if side is None else Decimal(str(side)) for side in (lower, upper)]
    return Limits(sides[0], sides[1], frozenset(natural))


def load(name: str) -> Any:
    return json.loads((FOLDER / f"{name}.json").read_text(encoding="utf-8"))


def rows(name: str) -> list[dict[str, str]]:
    """The rows of a table, each number still as it is printed."""
    table = load(name)
    return [dict(zip(table["columns"], row, strict=True)) for row in table["rows"]]


def agrees(value: float, expected: dict[str, Any]) -> bool:
    """Whether a value is what the source prints, to its last digit, or what was computed, to eight digits."""
    if "tol" in expected:
        return abs(value - expected["value"]) <= expected["tol"]
    return value == pytest.approx(expected["value"], rel=COMPUTED, abs=1e-15)


def expected_in(entries: list[dict[str, Any]]) -> dict[str, dict[str, Any]]:
    return {entry["quantity"]: entry for entry in entries}


def last_digit(printed: str, units: float = 0.5) -> float:
    """What `units` of the last printed digit amount to; half a unit is correct rounding."""
    exponent = Decimal(printed).as_tuple().exponent
    assert isinstance(exponent, int)
    return units * float(Decimal(10) ** exponent) + 1e-12
