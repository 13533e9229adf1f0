"""The list that a plan is held against before review, in the order in which the quality manager thinks of it.

Each item has one function that finds it. Where nothing may be released so, it reads the rows (`plan_rows`,
`plan_rules`, the kinds' specifications) and keeps the draft from review; the others are `before_review.CHECKS`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

REFUSED, WARNING, ADVICE = "refused", "warning", "advice"


@dataclass(frozen=True)
class Item:
    """One thing to look at, how much it weighs, and the codes of the findings that say it."""

    name: str
    severity: str
    codes: frozenset[str]


def _item(name: str, severity: str, *codes: str) -> Item:
    return Item(name, severity, frozenset(codes))


LIST: Final = (
    _item("band narrower than ten times the gauge's resolution", ADVICE, "resolution_too_coarse"),
    _item("test uncertainty ratio below the stated one", ADVICE, "ratio_too_small"),
    _item("critical checkpoint sampled", REFUSED, "critical_sampled"),
    _item("natural boundary treated as a limit", ADVICE, "natural_boundary_as_limit"),
    _item("critical checkpoint without second inspection", WARNING, "critical_without_second"),
    _item("stamp without second person or photo", WARNING, "stamp_not_read_back"),
    _item("measured without gauge kind", ADVICE, "measured_without_gauge"),
    _item("limits outside the standard's range", REFUSED, "size_outside_table"),
    _item("nominal outside the band", REFUSED, "nominal_outside"),
    _item("duplicate number", REFUSED, "number_twice"),
    _item("derived without inputs", REFUSED, "formula_constant", "unknown_name"),
    _item("weld checkpoint without joint", ADVICE, "weld_without_joint"),
    _item("welded critical joint without qualification asked", WARNING, "weld_without_qualification"),
    _item("pressure test without caution", WARNING, "pressure_without_caution"),
    _item("checkpoint no stage can reach", WARNING, "no_unit_reaches"),
    _item("mean of readings counts", ADVICE, "mean_counts"),
    _item("corrected by expansion without its uncertainty", ADVICE, "temperature_without_uncertainty"),
    _item("title not written", ADVICE, "title_not_written"),
    _item("two checkpoints of one title", ADVICE, "title_twice"),
)
_SEVERITIES: Final = {code: item.severity for item in LIST for code in item.codes}


def severity_of(code: str) -> str:
    """How much a finding weighs. What a row cannot be read with is not on the list and keeps the draft from review."""
    return _SEVERITIES.get(code, REFUSED)
