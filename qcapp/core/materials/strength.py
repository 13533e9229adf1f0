"""Test values of a tube against the minima of its grade and condition."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Final

from qcapp.core.errors import Invalid
from qcapp.core.materials import tables
from qcapp.core.materials.reported import Number, reported_number

_PROPERTIES: Final = {
    # what a certificate reports: column of the table, wording, unit
    "yield_ksi": ("yield_ksi", "yield strength", "ksi"),
    "yield_MPa": ("yield_mpa", "yield strength", "MPa"),
    "ultimate_ksi": ("ultimate_ksi", "tensile strength", "ksi"),
    "ultimate_MPa": ("ultimate_mpa", "tensile strength", "MPa"),
    "elongation_2in_pct": ("elongation", "elongation in 2 in", "%"),
    "hardness_RB": ("hardness", "Rockwell hardness", "HRB"),
}


@dataclass(frozen=True, slots=True)
class PropertyFinding:
    """One test value against its minimum; `is_requirement` is False for the typical values of ASTM A519."""

    name: str
    value: Decimal | None
    lower: Decimal
    upper: None
    ok: bool
    is_requirement: bool
    sentence: str


def check_mechanical(
    grade: str, properties: Mapping[str, Number | None], *, condition: str | None = None
) -> list[PropertyFinding]:
    """A finding per tabulated property against its minimum; strength in ksi or MPa, as reported.

    Keys: yield_ksi or yield_MPa, ultimate_ksi or ultimate_MPa, elongation_2in_pct, hardness_RB. Each unit is
    compared with the table's own column, so nothing is converted. `condition` is, for example, 'DOM as
    drawn'. Raises `Invalid`: `condition_missing`, `condition_unknown`, `grade_unknown`, `property_unknown`,
    `number_not_plain`.
    """
    row = _mechanical_row(grade, condition)
    unknown = [name for name in properties if name not in _PROPERTIES]
    if unknown:
        raise Invalid("property_unknown", f"'{unknown[0]}' is not known; report {', '.join(_PROPERTIES)}.")
    reported = {
        name: reported_number(value, _PROPERTIES[name][1]) for name, value in properties.items() if value is not None
    }
    findings = [_property_finding(row, name, value) for name, value in reported.items()]
    seen = {_PROPERTIES[name][1] for name in reported}
    missing = {wording: name for name, (_, wording, _) in _PROPERTIES.items() if wording not in seen}
    return findings + [_property_finding(row, name, None) for name in missing.values()]


def _mechanical_row(grade: str, condition: str | None) -> tables.MechanicalRow:
    rows = [row for row in tables.MECHANICAL if row.grade == grade]
    if not rows:
        known = ", ".join(dict.fromkeys(row.grade for row in tables.MECHANICAL))
        raise Invalid("grade_unknown", f"Grade {grade} is not in the table of tube strengths; it has {known}.")
    conditions = ", ".join(row.condition for row in rows)
    if condition is None:
        raise Invalid("condition_missing", f"The minima depend on the condition; say which: {conditions}.")
    for row in rows:
        if row.condition == condition:
            return row
    raise Invalid(
        "condition_unknown",
        f"{grade} in the condition '{condition}' is not in the table; it has {conditions}.",
    )


def _property_finding(row: tables.MechanicalRow, name: str, value: Decimal | None) -> PropertyFinding:
    column, wording, unit = _PROPERTIES[name]
    lower = Decimal(getattr(row, column))
    required = not row.condition.startswith(tables.TYPICAL)
    source = tables.MECHANICAL_SOURCES[row.condition if required else tables.TYPICAL]
    of, by = f"{row.grade} {row.condition}", f"{lower} {unit} ({source})"
    if value is None:
        sentence = f"The {wording} is not reported; {of} has {by}."
        return PropertyFinding(name, None, lower, None, False, required, sentence)
    if value >= lower:
        sentence = f"The {wording} of {value} {unit} conforms; {of} has {by}."
    elif required:
        sentence = f"The {wording} of {value} {unit} is too low; {of} has {by}."
    else:
        sentence = f"The {wording} of {value} {unit} is below the typical value; {of} has {by}."
    return PropertyFinding(name, value, lower, None, value >= lower, required, sentence)
