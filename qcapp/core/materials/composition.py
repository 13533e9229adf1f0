"""A heat's chemistry against the limits of its grade."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from qcapp.core.errors import Invalid
from qcapp.core.materials import tables
from qcapp.core.materials.reported import Composition, percentages


@dataclass(frozen=True, slots=True)
class ElementFinding:
    """One element of a heat against its limits in percent; `value` is None when it is not reported."""

    element: str
    value: Decimal | None
    lower: Decimal | None
    upper: Decimal | None
    ok: bool
    sentence: str


def grades() -> tuple[str, ...]:
    """Grades whose composition is in the table."""
    return tuple(dict.fromkeys(row.grade for row in tables.COMPOSITION))


def check_composition(
    grade: str, composition: Composition, *, specification: str | None = None
) -> list[ElementFinding]:
    """A finding per limited element, then one per element that is reported without a limit; percent of mass.

    `specification` picks the P and S limits of ASTM A513, SAE J403 or ASTM A519 where they differ. Raises
    `Invalid`: `grade_unknown`, `specification_unknown`, `element_unknown`, `percent_invalid`.
    """
    reported = percentages(composition)
    rows = element_rows(grade, specification)
    findings = [_element_finding(row, reported.get(row.element)) for row in rows]
    limited = {row.element for row in rows}
    rest = [(element, value) for element, value in reported.items() if element not in limited]
    return findings + [_unlimited(grade, element, value) for element, value in rest]


def element_rows(grade: str, specification: str | None) -> list[tables.ElementRow]:
    rows = [row for row in tables.COMPOSITION if row.grade == grade]
    if not rows:
        raise Invalid("grade_unknown", f"Grade {grade} is not in the table; it has {', '.join(grades())}.")
    changed = {
        row.element: row
        for row in tables.OTHER_SPECIFICATIONS
        if row.grade == grade and row.specification == specification
    }
    if specification is not None and not changed and specification != rows[0].specification:
        others = {row.specification for row in tables.OTHER_SPECIFICATIONS if row.grade == grade}
        raise Invalid(
            "specification_unknown",
            f"The table has no limits of '{specification}' for {grade}; it has "
            f"{', '.join([rows[0].specification, *sorted(others)])}.",
        )
    return [changed.get(row.element, row) for row in rows]


def _element_finding(row: tables.ElementRow, value: Decimal | None) -> ElementFinding:
    lower = Decimal(row.lower) if row.lower else None
    upper = Decimal(row.upper) if row.upper else None
    limits = f"{row.lower} to {row.upper} %" if row.lower else f"{row.upper} % at most"
    rule = f"the grade {row.grade} has {limits} ({row.specification})"
    if value is None:
        sentence = f"{row.element} is not reported; {rule}, so ask the mill for it."
        return ElementFinding(row.element, None, lower, upper, False, sentence)
    if lower is not None and value < lower:
        verdict = "is too low"
    elif upper is not None and value > upper:
        verdict = "is too high"
    else:
        return ElementFinding(row.element, value, lower, upper, True, f"{row.element} {value} % conforms; {rule}.")
    return ElementFinding(row.element, value, lower, upper, False, f"{row.element} {value} % {verdict}; {rule}.")


def _unlimited(grade: str, element: str, value: Decimal) -> ElementFinding:
    sentence = f"{element} {value} % is recorded; the table has no limit for it in {grade}."
    return ElementFinding(element, value, None, None, True, sentence)
