"""Hardness conversion by table, never by formula.

A converted hardness is an estimate: the tables hold for the steels they name, and a drawing that states a
scale wants that scale measured. Between two rows the value is straight between them; outside the rows there
is no answer. Two tables overlap: ASTM E140 for the Rockwell C range is the better confirmed one and is used
wherever it has both scales; DIN 50150 (ISO 18265) has the soft end, HB, HRB and the tensile strength Rm.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from functools import lru_cache
from itertools import pairwise

from qcapp.core.errors import Invalid
from qcapp.core.metrology import hardness_tables as tables
from qcapp.core.metrology.inputs import Number, exact


@dataclass(frozen=True, slots=True)
class Conversion:
    """`interpolated` is False when the value stands in the table; `note` says what weakens it, else empty."""

    value: Decimal
    scale: str
    standard: str
    interpolated: bool
    note: str = ""


def convert(value: Number, from_scale: str, to_scale: str, *, standard: str | None = None) -> Decimal:
    """The converted value alone; see `conversion`."""
    return conversion(value, from_scale, to_scale, standard=standard).value


def conversion(value: Number, from_scale: str, to_scale: str, *, standard: str | None = None) -> Conversion:
    """`value` on another scale (HRC, HV, HBW, HB, HRB, or Rm in MPa), with the table it came from.

    `standard` is 'E140' or 'DIN 50150' to choose between them. Raises `Invalid`: `scale_pair_not_tabulated`,
    `hardness_outside_table`, `standard_unknown`.
    """
    number = exact(value, "hardness")
    name = _standard(from_scale, to_scale, standard)
    pairs = _pairs(name, from_scale, to_scale)
    if not pairs[0][0] <= number <= pairs[-1][0]:
        raise Invalid(
            "hardness_outside_table",
            f"{name} converts {from_scale} to {to_scale} from {pairs[0][0]} to {pairs[-1][0]}, not {number}; "
            f"measure in {to_scale}.",
        )
    for (low, low_value), (high, high_value) in pairwise(pairs):
        if number <= high:
            found = low_value + (high_value - low_value) * (number - low) / (high - low)
            ends = {low} if number == low else {high} if number == high else {low, high}
            return Conversion(found, to_scale, name, len(ends) == 2, _note(name, from_scale, to_scale, ends))
    raise AssertionError("the range was checked above")


def _standard(from_scale: str, to_scale: str, wanted: str | None) -> str:
    names = {"E140": tables.E140, "DIN 50150": tables.DIN50150}
    if wanted is not None and wanted not in names:
        raise Invalid("standard_unknown", f"The standard is one of {', '.join(names)}.")
    for name in [names[wanted]] if wanted else list(names.values()):
        scales, _ = _table(name)
        if {from_scale, to_scale} <= set(scales) and from_scale != to_scale:
            return name
    raise Invalid(
        "scale_pair_not_tabulated",
        f"No table here converts {from_scale} to {to_scale}; "
        f"{tables.E140} has {', '.join(tables.E140_SCALES)}, "
        f"{tables.DIN50150} has {', '.join(tables.DIN50150_SCALES)}.",
    )


def _table(name: str) -> tuple[tuple[str, ...], tuple[tuple[str, ...], ...]]:
    if name == tables.E140:
        return tables.E140_SCALES, tables.E140_ROWS
    return tables.DIN50150_SCALES, tables.DIN50150_ROWS


@lru_cache(maxsize=32)
def _pairs(name: str, from_scale: str, to_scale: str) -> tuple[tuple[Decimal, Decimal], ...]:
    """Rows that have both scales, softest first."""
    scales, rows = _table(name)
    one, other = scales.index(from_scale), scales.index(to_scale)
    return tuple(sorted((Decimal(row[one]), Decimal(row[other])) for row in rows if row[one] and row[other]))


def _note(name: str, from_scale: str, to_scale: str, ends: set[Decimal]) -> str:
    if name != tables.E140:
        return "One stored copy of this table; treat the value as an estimate."
    column = tables.E140_SCALES.index(from_scale)
    rows = {row[0] for row in tables.E140_ROWS if row[column] and Decimal(row[column]) in ends}
    notes = []
    if "HBW" in (from_scale, to_scale) and rows & tables.BRACKETED:
        notes.append("HBW outside the recommended Brinell range (in brackets in the table).")
    if rows & tables.FROM_MEMORY:
        notes.append("This row of the table is from memory.")
    return " ".join(notes)
