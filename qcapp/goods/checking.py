"""A heat on paper against its grade: every element and test value with its finding, and what is said about cracking."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from decimal import Decimal

from qcapp.core.errors import Invalid
from qcapp.core.materials import Parent, carbon_equivalent, check_composition, check_mechanical, cracking_note

MATING_GRADE = "1020"  # what tube is welded to where nothing else is said; the note names it


@dataclass(frozen=True)
class Finding:
    """One element or test value against its limit; `reported` is False where the paper is silent."""

    about: str
    value: str
    ok: bool
    reported: bool
    required: bool
    sentence: str

    def to_json(self) -> dict[str, object]:
        return asdict(self)


@dataclass(frozen=True)
class Checked:
    """What the check of a heat came to. `conforms` needs every required value reported and inside its limits."""

    findings: tuple[Finding, ...]
    carbon_equivalent: str
    cracking: str

    @property
    def conforms(self) -> bool:
        return all(one.ok for one in self.findings if one.required)

    @property
    def against(self) -> list[Finding]:
        return [one for one in self.findings if one.required and not one.ok]


def check_heat(
    grade: str,
    composition: Mapping[str, Decimal],
    properties: Mapping[str, Decimal],
    *,
    specification: str = "",
    condition: str = "",
    thickness: Decimal | None = None,
    welded_to: str = "",
) -> Checked:
    """The findings, the carbon equivalent (IIW, percent) and the sentences about cracking beside the other grade.

    Without `welded_to` the other side is MATING_GRADE, at the upper limits of its table. A grade outside
    the tables has one finding that says so. Raises Invalid of `check_composition`, `check_mechanical`.
    """
    chemistry = [
        Finding(one.element, _text(one.value), one.ok, one.value is not None, True, one.sentence)
        for one in check_composition(grade, composition, specification=specification or None)
    ]
    strength = [
        Finding(one.name, _text(one.value), one.ok, one.value is not None, one.is_requirement, one.sentence)
        for one in (check_mechanical(grade, properties, condition=condition) if condition else ())
    ]
    unsaid = [] if condition else [_no_condition(properties)]
    return Checked(
        findings=(*chemistry, *strength, *unsaid),
        carbon_equivalent=_equivalent(composition),
        cracking=_cracking(grade, composition, thickness, welded_to or MATING_GRADE),
    )


def _no_condition(properties: Mapping[str, Decimal]) -> Finding:
    sentence = "The condition is not said, so no test value was compared with a minimum."
    return Finding("condition", "", False, bool(properties), False, sentence)


def _equivalent(composition: Mapping[str, Decimal]) -> str:
    try:
        return f"{carbon_equivalent(composition):.2f}"
    except Invalid:
        return ""  # C or Mn is not reported: their finding says so


def _cracking(grade: str, composition: Mapping[str, Decimal], thickness: Decimal | None, mate: str) -> str:
    if thickness is None:
        return "Nothing is said about cracking: the wall thickness is not given."
    try:
        return cracking_note(Parent(grade, composition), Parent(mate), thickness=thickness)
    except Invalid as refusal:
        return f"Nothing is said about cracking: {refusal.message}"


def _text(value: Decimal | None) -> str:
    return "" if value is None else format(value, "f")
