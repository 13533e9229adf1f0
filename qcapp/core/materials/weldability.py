"""Carbon equivalents, and what they say and do not say about cracking."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import Final

from qcapp.core.errors import Invalid
from qcapp.core.materials import tables
from qcapp.core.materials.composition import element_rows
from qcapp.core.materials.reported import Composition, Number, percentages, reported_number

_HARDENS_LITTLE: Final = Decimal("0.40")
_HARDENS: Final = Decimal("0.60")
_THIN: Final = 3
_THICK: Final = 10
"""Thresholds of the note: common practice, no source.

Carbon equivalents of the IIW kind in percent, walls in mm.
"""

_COMPARABLE: Final = frozenset({"IIW", "AWS", "CEN", "CSA"})


@dataclass(frozen=True, slots=True)
class CarbonEquivalent:
    """A carbon equivalent in percent, with the elements not reported (zero) and out of range."""

    value: Decimal
    formula: str
    expression: str
    source: str
    not_reported: tuple[str, ...]
    out_of_range: tuple[str, ...]


def carbon_equivalent(composition: Composition, formula: str = "IIW") -> Decimal:
    """Carbon equivalent in percent by 'IIW', 'CET', 'Pcm', 'AWS', 'CEN' or 'CSA'.

    C and Mn must be reported, other elements count as zero when they are not. Raises `Invalid`:
    `formula_unknown`, `element_missing`, `element_unknown`, `percent_invalid`.
    """
    return explain_carbon_equivalent(composition, formula).value


def explain_carbon_equivalent(composition: Composition, formula: str = "IIW") -> CarbonEquivalent:
    """The carbon equivalent with its formula, source, and what is missing or outside the formula's range.

    Outside its range the number is still computed, because certificates print it, and named in
    `out_of_range`. Raises `Invalid` as `carbon_equivalent`.
    """
    row = _formula(formula)
    reported = percentages(composition)
    for element in ("C", "Mn"):
        if element not in reported:
            raise Invalid("element_missing", f"A carbon equivalent needs {element}; it is not reported.")
    alloy = sum(
        (reported.get(element, Decimal(0)) / Decimal(divisor) for element, divisor in row.divisors.items()),
        Decimal(0),
    )
    return CarbonEquivalent(
        value=reported["C"] + _factor(row.name, reported["C"]) * alloy,
        formula=row.name,
        expression=row.expression,
        source=row.source,
        not_reported=tuple(element for element in row.divisors if element not in reported),
        out_of_range=_out_of_range(row, reported),
    )


def _formula(name: str) -> tables.FormulaRow:
    wanted = name.removeprefix("CE_")
    for row in tables.FORMULAS:
        if row.name == wanted:
            return row
    known = ", ".join(row.name for row in tables.FORMULAS)
    raise Invalid("formula_unknown", f"'{name}' is no carbon equivalent formula known here; choose {known}.")


def _factor(formula: str, carbon: Decimal) -> Decimal:
    """What the alloy part is multiplied by: 1, the tanh of CEN, or the table of CSA."""
    if formula == "CEN":
        grown = (2 * 20 * (carbon - Decimal("0.12"))).exp()
        return Decimal("0.75") + Decimal("0.25") * (grown - 1) / (grown + 1)
    if formula != "CSA":
        return Decimal(1)
    if carbon < Decimal(tables.CSA_FACTORS[0][0]):
        return Decimal(tables.CSA_LOWEST)
    # Between two rows the higher factor counts, so that the table is never undercut.
    return next((Decimal(f) for c, f in tables.CSA_FACTORS if carbon <= Decimal(c)), Decimal(1))


def _out_of_range(row: tables.FormulaRow, reported: dict[str, Decimal]) -> tuple[str, ...]:
    """'C 0.30 % (0.05 to 0.25)' for each element outside the range that the formula was made for."""
    return tuple(
        f"{element} {reported[element]} % ({low} to {high})"
        for element, (low, high) in row.ranges.items()
        if element in reported and not Decimal(low) <= reported[element] <= Decimal(high)
    )


@dataclass(frozen=True, slots=True)
class Parent:
    """One side of a joint: its grade, and the heat's analysis; without it the grade's upper limits."""

    grade: str
    composition: Composition | None = None


def cracking_note(first: Parent | str, second: Parent | str, *, thickness: Number, formula: str = "IIW") -> str:
    """What the carbon equivalents of a joint say about cracking, and what they leave open.

    `thickness` is the thicker wall in mm. The note is an indicator for a person to read: no threshold in it
    is from a standard. Raises `Invalid`: as `carbon_equivalent`; `grade_unknown` for a grade without an
    analysis that is not in the table; `thickness_invalid`.
    """
    wall = reported_number(thickness, "wall thickness")
    if not wall:
        raise Invalid("thickness_invalid", "The wall thickness must be above zero; give the thicker of the two, in mm.")
    sides = [side if isinstance(side, Parent) else Parent(side) for side in (first, second)]
    results = [explain_carbon_equivalent(_analysis(side), formula) for side in sides]
    governing = max(range(2), key=lambda index: results[index].value)
    parts = [
        _figures(sides, results, governing),
        _level(results[governing]),
        _pair([side.grade for side in sides]),
        _wall(wall),
        _weak_points(sides, results, _formula(formula)),
        "The number knows nothing of hydrogen, restraint, fit-up, heat input, filler or cooling, and "
        "cracks can open a day later.",
        "Preheat, filler and welding procedure are the responsible weld engineer's decision; this is an "
        "indicator, not a permission.",
    ]
    return " ".join(part for part in parts if part)


def _analysis(side: Parent) -> Composition:
    """The heat's analysis, or the worst that the grade's table allows."""
    if side.composition is not None:
        return side.composition
    return {row.element: Decimal(row.upper) for row in element_rows(side.grade, None)}


def _figures(sides: list[Parent], results: list[CarbonEquivalent], governing: int) -> str:
    texts = []
    for side, result in zip(sides, results, strict=True):
        basis = "upper limits of the grade" if side.composition is None else "heat analysis"
        texts.append(f"{result.value:.2f} % for {side.grade} ({basis})")
    alike = results[0].value == results[1].value
    governs = "Both sides count alike." if alike else f"The higher one, {sides[governing].grade}, governs."
    return " ".join([f"Carbon equivalent ({results[0].formula}): {texts[0]} and {texts[1]}.", governs])


def _level(result: CarbonEquivalent) -> str:
    if result.formula not in _COMPARABLE:
        return f"No common threshold is known here for {result.formula}: compare it with the same formula only."
    if result.value <= _HARDENS_LITTLE:
        meaning = f"Up to {_HARDENS_LITTLE} % the heat-affected zone hardens little"
    elif result.value <= _HARDENS:
        meaning = f"Above {_HARDENS_LITTLE} % the heat-affected zone hardens and hydrogen cracking is possible"
    else:
        meaning = f"Above {_HARDENS} % hydrogen cracking must be expected unless measures are taken"
    return f"{meaning} (common practice, no source)."


def _pair(grades: list[str]) -> str:
    low_alloy = [grade in tables.LOW_ALLOY for grade in grades]
    if not all(grade in tables.LOW_ALLOY | tables.MILD for grade in grades):
        return "A grade of the joint is not in the table here, so nothing is said about the pair."
    if all(low_alloy):
        return "Both sides are low-alloy steel and harden alike."
    if any(low_alloy):
        return "Low-alloy tube to mild steel cracks more readily than mild to mild (common practice, no source)."
    return "Mild steel to mild steel cracks least readily of the pairs here (common practice, no source)."


def _wall(wall: Decimal) -> str:
    if wall <= _THIN:
        meaning = "holds little restraint, but cools fast beside a thick boss or in a short bead"
    elif wall <= _THICK:
        meaning = "cools the weld faster than thin tube"
    else:
        meaning = "cools the weld fast and restrains it, so the risk is above what the number suggests"
    return f"A wall of {wall} mm {meaning} (common practice, no source)."


def _weak_points(sides: list[Parent], results: list[CarbonEquivalent], row: tables.FormulaRow) -> str:
    notes = []
    for side, result in zip(sides, results, strict=True):
        if result.out_of_range:
            notes.append(
                f"{side.grade} lies outside the range of the formula: {', '.join(result.out_of_range)} "
                f"({row.range_source}); use the number to compare only."
            )
        if result.not_reported:
            notes.append(
                f"For {side.grade} {', '.join(result.not_reported)} are not reported and count as zero, "
                "so the true number can be higher."
            )
    if not row.ranges:
        notes.append(f"The range of the {row.name} formula is not known here.")
    return " ".join(dict.fromkeys(notes))
