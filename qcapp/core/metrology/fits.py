"""Hole and shaft classes of ISO 286-1:2010 as deviations in mm, and the fit that two of them make.

Classes: shafts d to h, js, k, m, n, p, r, s and holes D to H, JS, K, M, N, P over 0 up to 500 mm in grades
IT01 to IT18; H, h, JS and js go on to 3150 mm, because they need Table 1 only. js and JS keep half of an odd
tolerance, as the standard allows besides rounding it down.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Final, Literal

from qcapp.core.errors import Invalid
from qcapp.core.metrology.fits_tables import DELTAS, HOLES, SHAFTS, STANDARD_TOLERANCES
from qcapp.core.metrology.quantities import as_text
from qcapp.core.metrology.size_tables import find_row

Kind = Literal["clearance", "transition", "interference"]

HOLE_LETTERS: Final = ("D", "E", "F", "G", "H", "JS", "K", "M", "N", "P")
SHAFT_LETTERS: Final = ("d", "e", "f", "g", "h", "js", "k", "m", "n", "p", "r", "s")

_CLASS: Final = re.compile(r"([A-Za-z]{1,2})(01|0|[1-9]|1[0-8])")
_GRADES: Final = ("01", *(str(number) for number in range(19)))
_MM_PER_UM: Final = Decimal("0.001")
_SMALL: Final = Decimal(1)
_WITHOUT_DELTA_TO: Final = Decimal(3)
_FIRST_DELTA: Final = 3  # the table of deltas begins at IT3


@dataclass(frozen=True, slots=True)
class Fit:
    """Clearances in mm; a negative one is an interference."""

    kind: Kind
    min_clearance: Decimal
    max_clearance: Decimal


def is_class(text: str) -> bool:
    """Whether `text` has the shape of a tolerance class (H7, js9), known or not."""
    return _CLASS.fullmatch(text) is not None


def deviations(nominal: Decimal, tolerance_class: str) -> tuple[Decimal, Decimal]:
    """Lower and upper deviation in mm of a nominal size in mm. ISO 286-1:2010, clauses 4 and 5, Tables 1 to
    5.

    Raises `Invalid`: `class_unknown` for a class that the tables do not have, `size_outside_table` for a size
    they do not reach with this class.
    """
    letter, grade = _split(tolerance_class)
    tolerance = standard_tolerance(nominal, grade)
    if letter in ("JS", "js"):
        half = tolerance / 2
        return -half, half
    deviation = _fundamental(nominal, letter, grade)
    if letter in ("D", "E", "F", "G", "H", "k", "m", "n", "p", "r", "s"):
        return deviation, deviation + tolerance
    return deviation - tolerance, deviation


def standard_tolerance(nominal: Decimal, grade: str) -> Decimal:
    """The tolerance in mm of an IT grade ('01', '0', '1' … '18'). ISO 286-1:2010, Table 1.

    Raises `Invalid`: `class_unknown`, `size_outside_table`; IT14 to IT18 are not for sizes up to 1 mm.
    """
    if grade not in _GRADES:
        raise Invalid("class_unknown", "Standard tolerance grades are 01, 0 and 1 to 18.")
    row = find_row(STANDARD_TOLERANCES, nominal)
    cell = row.cells.get(f"IT{grade}") if row else None
    if cell is None or (nominal <= _SMALL and int(grade) >= 14):
        raise _outside(nominal, f"IT{grade}")
    return cell * _MM_PER_UM


def fit(nominal: Decimal, hole: str, shaft: str) -> Fit:
    """The fit of a hole class and a shaft class of one nominal size in mm. ISO 286-1:2010, 3.3.

    A smallest clearance of zero is still clearance, a largest clearance of zero is interference. Raises
    `Invalid` as `deviations` does, and `class_unknown` when the classes are not one hole and one shaft.
    """
    if not (hole[:1].isupper() and shaft[:1].islower()):
        raise Invalid("class_unknown", "A fit names the hole first and then the shaft, for example H7 and g6.")
    hole_lower, hole_upper = deviations(nominal, hole)
    shaft_lower, shaft_upper = deviations(nominal, shaft)
    smallest, largest = hole_lower - shaft_upper, hole_upper - shaft_lower
    kind: Kind = "clearance" if smallest >= 0 else "interference" if largest <= 0 else "transition"
    return Fit(kind, smallest, largest)


def source_of(tolerance_class: str) -> str:
    """Standard, edition and tables that the deviations of the class are from."""
    letter, _ = _split(tolerance_class)
    if letter in ("H", "h", "JS", "js"):
        return "ISO 286-1:2010, Table 1"
    return "ISO 286-1:2010, Tables 1 to 3" if letter.isupper() else "ISO 286-1:2010, Tables 1, 4 and 5"


def _split(tolerance_class: str) -> tuple[str, str]:
    match = _CLASS.fullmatch(tolerance_class)
    if match and match[1] in HOLE_LETTERS + SHAFT_LETTERS:
        return match[1], match[2]
    raise Invalid(
        "class_unknown",
        f"'{tolerance_class}' is not a class of the tables here. Holes: {' '.join(HOLE_LETTERS)}; "
        f"shafts: {' '.join(SHAFT_LETTERS)}; each with a grade from 01 to 18, as in H7 or g6.",
    )


def _fundamental(nominal: Decimal, letter: str, grade: str) -> Decimal:
    """Fundamental deviation in mm: es or ei of a shaft, EI or ES of a hole with its delta."""
    if letter in ("H", "h"):
        return Decimal(0)
    row = find_row(HOLES if letter.isupper() else SHAFTS, nominal)
    if row is None:
        raise _outside(nominal, letter + grade)
    if letter in ("K", "M", "N", "P"):
        if int(grade) < _FIRST_DELTA:
            raise _outside(nominal, letter + grade)
        return _upper_of_tight_hole(nominal, letter, int(grade), row.cells) * _MM_PER_UM
    column = "k*" if letter == "k" and not 4 <= int(grade) <= 7 else letter
    return row.cells[column] * _MM_PER_UM


def _upper_of_tight_hole(nominal: Decimal, letter: str, grade: int, cells: Mapping[str, Decimal]) -> Decimal:
    """ES in µm of holes K, M, N and P. ISO 286-1:2010, Tables 2 and 3 with their footnotes."""
    if (letter, grade) == ("M", 6) and 250 < nominal <= 315:
        return Decimal(-9)  # footnote of Table 2; the general rule would give -11
    if letter == "K" and grade > 8 and nominal > _WITHOUT_DELTA_TO:
        raise _outside(nominal, f"K{grade}")
    if letter == "N" and grade > 8:
        if nominal <= _SMALL:
            raise _outside(nominal, f"N{grade}")
        return cells["N*"]
    last_with_delta = 7 if letter == "P" else 8
    return cells[letter] + (_delta(nominal, grade) if grade <= last_with_delta else 0)


def _delta(nominal: Decimal, grade: int) -> Decimal:
    """Delta in µm, ISO 286-1:2010, Table 3; the same sizes as in the table of holes."""
    row = find_row(DELTAS, nominal)
    if row is None:
        raise _outside(nominal, f"delta of IT{grade}")
    return row.cells[f"IT{grade}"]


def _outside(nominal: Decimal, tolerance_class: str) -> Invalid:
    return Invalid(
        "size_outside_table",
        f"The ISO 286-1 tables here have no {tolerance_class} for {as_text(nominal)} mm; write both limits.",
    )
