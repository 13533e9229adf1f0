"""Carbon equivalents of the two sides of a joint, by every formula, and what they say about cracking."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

from qcapp.core.errors import Invalid
from qcapp.core.materials import (
    CarbonEquivalent,
    Parent,
    carbon_equivalent,
    check_composition,
    cracking_note,
    explain_carbon_equivalent,
    grades,
)
from qcapp.core.materials.composition import element_rows
from qcapp.core.materials.tables import FORMULAS

FORMULA_NAMES = tuple(row.name for row in FORMULAS)
GRADES = grades()
OTHER_GRADE = "other"
"""A steel that is not in the table: only its heat analysis speaks for it."""

ELEMENTS = ("C", "Mn", "Si", "Cr", "Mo", "V", "Ni", "Cu", "Nb", "B")
"""The elements that a formula here counts."""


@dataclass(frozen=True)
class Side:
    """One side of the joint: what was counted, its equivalent by the chosen formula, and what is wrong with it."""

    name: str
    grade: str
    basis: str
    found: CarbonEquivalent
    composition: Mapping[str, Decimal]
    governs: bool
    findings: tuple[str, ...]


@dataclass(frozen=True)
class Joint:
    """Both sides, every formula beside the chosen one, and the note to read.

    `sentences` are those of `materials.cracking_note`: figures, which side governs, the warning, then remarks, and
    two that say what the number leaves open.
    """

    sides: tuple[Side, Side]
    formula: str
    table: tuple[tuple[str, Decimal, Decimal], ...]
    sentences: tuple[str, ...]

    @property
    def governing(self) -> Side:
        return max(self.sides, key=lambda side: side.found.value)

    @property
    def headline(self) -> str:
        return f"{self.governing.found.value:.2f} %"

    @property
    def warning(self) -> str:
        """What the governing number says about cracking."""
        return self.sentences[2]

    @property
    def remarks(self) -> tuple[str, ...]:
        """What stands beside it: figures, pair, wall, and what weakens the number."""
        return self.sentences[:2] + self.sentences[3:-2]

    @property
    def caution(self) -> str:
        """What the number does not know, and who decides."""
        return " ".join(self.sentences[-2:])

    @property
    def copy_text(self) -> str:
        return " ".join(self.sentences)


def joint(
    first: tuple[str, Mapping[str, Decimal]],
    second: tuple[str, Mapping[str, Decimal]],
    *,
    thickness: Decimal,
    formula: str,
) -> Joint:
    """Grade and heat analysis of both sides; an empty analysis counts the upper limits of the grade.

    Raises Invalid as `cracking_note` does.
    """
    parents = [Parent(grade, analysis or None) for grade, analysis in (first, second)]
    note = cracking_note(*parents, thickness=thickness, formula=formula)
    counted = [_counted(parent) for parent in parents]
    found = [explain_carbon_equivalent(composition, formula) for composition in counted]
    governing = max(range(2), key=lambda index: found[index].value)
    sides = [
        Side(
            name=("first", "second")[index],
            grade=parent.grade,
            basis="upper limits of the grade" if parent.composition is None else "heat analysis",
            found=found[index],
            composition=counted[index],
            governs=index == governing,
            findings=_findings(parent),
        )
        for index, parent in enumerate(parents)
    ]
    first_analysis, second_analysis = counted
    table = tuple(
        (name, carbon_equivalent(first_analysis, name), carbon_equivalent(second_analysis, name))
        for name in FORMULA_NAMES
    )
    return Joint((sides[0], sides[1]), formula, table, tuple(sentences(note)))


def sentences(note: str) -> list[str]:
    """The note, one sentence each, for a list; a full stop inside a number ends nothing."""
    return [f"{part.rstrip('.')}." for part in note.split(". ") if part]


def _counted(parent: Parent) -> Mapping[str, Decimal]:
    if parent.composition is not None:
        return {element: Decimal(str(value)) for element, value in parent.composition.items() if value is not None}
    return {row.element: Decimal(row.upper) for row in element_rows(parent.grade, None)}


def _findings(parent: Parent) -> tuple[str, ...]:
    """What of a heat analysis lies outside the grade's limits. Elements without a limit are no finding."""
    if parent.composition is None:
        return ()
    try:
        findings = check_composition(parent.grade, parent.composition)
    except Invalid:
        return ()  # a grade that is not in the table; the note says so
    return tuple(finding.sentence for finding in findings if not finding.ok and finding.value is not None)
