"""What has to be proven before a unit may be released: ordered checks, each with a sentence and where to go.

A check is a function from the unit's standing to a Finding. A new one is a function, its place in CHECKS, and two
tests: one for proven, one for not.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING
from urllib.parse import quote

from qcapp.core.metrology.bands import Band
from qcapp.core.metrology.decision import Verdict, judge
from qcapp.inspections.queries import inspection_of, open_near_limit_critical, unproven
from qcapp.nonconformance.queries import concessions_of, reports_of
from qcapp.production.queries import holds_of

if TYPE_CHECKING:
    from qcapp.inspections.queries import InspectionView, Unproven
    from qcapp.inspections.queries.shapes import AnswerView, CheckpointView
    from qcapp.nonconformance.queries import ConcessionCard, ReportCard
    from qcapp.production.queries import HoldCard

SHOWN = 6  # how many numbers a sentence names before it says "and n more"


@dataclass(frozen=True)
class Link:
    """Where to go to put it right."""

    text: str
    url: str


@dataclass(frozen=True)
class Finding:
    """What one check found."""

    code: str
    title: str
    ok: bool
    sentence: str
    links: tuple[Link, ...] = ()


@dataclass(frozen=True)
class Standing:
    """Everything the checks look at, read once."""

    inspection: InspectionView
    unproven: list[Unproven]
    near_limit: list[Unproven]
    reports: list[ReportCard]
    concessions: list[ConcessionCard]
    holds: list[HoldCard]

    @property
    def serial(self) -> str:
        return self.inspection.unit.serial

    @property
    def due(self) -> list[CheckpointView]:
        return [one for one in self.inspection.checkpoints if one.state != "not_due"]


def standing_of(serial: str) -> Standing:
    """The unit as the checks see it. Raises NotFound `serial_unknown`."""
    inspection = inspection_of(serial)
    item_id = inspection.unit.item_id
    return Standing(
        inspection=inspection,
        unproven=unproven(item_id),
        near_limit=open_near_limit_critical(item_id),
        reports=reports_of(item_id),
        concessions=concessions_of(item_id),
        holds=[hold for hold in holds_of(item_id) if hold.is_open],
    )


def concession_for(checkpoint: CheckpointView, concessions: list[ConcessionCard]) -> ConcessionCard | None:
    """The concession that covers the answer of a checkpoint that does not conform, if there is one."""
    answer = checkpoint.counts
    if answer is None or answer.passes:
        return None
    for concession in concessions:
        if concession.checkpoint_id == checkpoint.card.id and _covers(concession, answer):
            return concession
    return None


def _covers(concession: ConcessionCard, answer: AnswerView) -> bool:
    texts = answer.answer.get("values") or [answer.answer[key] for key in ("value", "count") if key in answer.answer]
    if not texts:
        return True
    band = Band(lower=concession.lower, upper=concession.upper)
    return all(judge(Decimal(str(text)), band).verdict is not Verdict.OUT_OF_BAND for text in texts)


def _bench(standing: Standing, key: str = "") -> str:
    address = f"/units/{quote(standing.serial)}/bench/"
    return f"{address}?checkpoint={quote(key)}" if key else address


def _numbers(numbers: list[int]) -> str:
    named = ", ".join(str(number) for number in numbers[:SHOWN])
    return named if len(numbers) <= SHOWN else f"{named} and {len(numbers) - SHOWN} more"


def _checkpoint_links(standing: Standing, checkpoints: list[CheckpointView]) -> tuple[Link, ...]:
    return tuple(
        Link(f"{one.card.number} {one.card.title}", _bench(standing, one.card.key)) for one in checkpoints[:SHOWN]
    )


def plan_stands(standing: Standing) -> Finding:
    card = standing.inspection.revision
    ok = card.state in {"released", "superseded"}
    sentence = f"Inspected to {card.family_code} revision {card.letter}, {card.state_label}."
    if not ok:
        sentence = f"{card.family_code} revision {card.letter} was withdrawn; the unit needs another revision."
    return Finding("plan_stands", "Released inspection plan", ok, sentence, (Link("The plan", f"/plans/{card.uuid}/"),))


def all_answered(standing: Standing) -> Finding:
    open_ones = [one for one in standing.due if one.counts is None and 1 in one.owes]
    title = "Every checkpoint that is due is answered"
    if not open_ones:
        return Finding("all_answered", title, True, f"All {len(standing.due)} checkpoints that were due are answered.")
    sentence = f"{len(open_ones)} of {len(standing.due)} are open: {_numbers([one.card.number for one in open_ones])}."
    return Finding("all_answered", title, False, sentence, _checkpoint_links(standing, open_ones))


def no_conflict(standing: Standing) -> Finding:
    split = [one for one in standing.due if one.state == "in_conflict"]
    title = "No answers in conflict"
    if not split:
        return Finding("no_conflict", title, True, "No checkpoint was answered twice without seeing the other answer.")
    sentence = f"Answered twice without seeing each other: {_numbers([one.card.number for one in split])}. Correct one."
    return Finding("no_conflict", title, False, sentence, _checkpoint_links(standing, split))


def second_inspections(standing: Standing) -> Finding:
    asked = [one for one in standing.due if one.card.second_inspection]
    owing = [one for one in asked if 1 not in one.owes and ({2, 3} & set(one.owes))]
    title = "Second inspections are given and agree"
    if not owing:
        return Finding("second_inspections", title, True, f"{len(asked)} given by another person, or decided by a third.")
    third = [one for one in owing if 3 in one.owes]
    sentence = f"{len(owing)} of {len(asked)} are missing: {_numbers([one.card.number for one in owing])}."
    if third:
        sentence += f" A third person decides {_numbers([one.card.number for one in third])}."
    return Finding("second_inspections", title, False, sentence, _checkpoint_links(standing, owing))


def answers_are_proof(standing: Standing) -> Finding:
    title = "Every answer counts as proof"
    if not standing.unproven:
        return Finding("answers_are_proof", title, True, "Gauges were in calibration, stages open, clocks right.")
    first = standing.unproven[0]
    numbers = sorted({one.checkpoint_number for one in standing.unproven})
    sentence = f"{_numbers(numbers)} wait for a decision. {first.checkpoint_number}: {first.sentence}"
    url = f"/units/{quote(standing.serial)}/release/#decisions"
    return Finding("answers_are_proof", title, False, sentence, (Link("Decide them", url),))


def near_limits_decided(standing: Standing) -> Finding:
    title = "Near-limit values of critical checkpoints are decided"
    if not standing.near_limit:
        return Finding("near_limits_decided", title, True, "None is waiting.")
    numbers = sorted({one.checkpoint_number for one in standing.near_limit})
    url = f"/units/{quote(standing.serial)}/release/#decisions"
    sentence = f"{_numbers(numbers)} wait for the quality manager or the engineer."
    return Finding("near_limits_decided", title, False, sentence, (Link("Decide them", url),))


def answers_conform(standing: Standing) -> Finding:
    failing = [one for one in standing.due if one.counts is not None and not one.counts.passes]
    uncovered = [one for one in failing if concession_for(one, standing.concessions) is None]
    title = "Every answer conforms or is covered by a concession"
    if not uncovered:
        covered = f" {len(failing)} by concession." if failing else ""
        return Finding("answers_conform", title, True, f"No answer stands out of band.{covered}")
    sentence = f"Do not conform: {_numbers([one.card.number for one in uncovered])}."
    return Finding("answers_conform", title, False, sentence, _checkpoint_links(standing, uncovered))


def reports_ended(standing: Standing) -> Finding:
    running = [one for one in standing.reports if not one.ended]
    title = "Nonconformance reports are closed"
    if not running:
        closed = f"{len(standing.reports)} raised, all closed or withdrawn." if standing.reports else "None was raised."
        return Finding("reports_ended", title, True, closed)
    sentence = "; ".join(f"{one.number} is {one.state_label}" for one in running[:SHOWN]) + "."
    links = tuple(Link(one.number, f"/nonconformances/{one.number}/") for one in running[:SHOWN])
    return Finding("reports_ended", title, False, sentence, links)


def holds_lifted(standing: Standing) -> Finding:
    title = "No hold stands"
    if not standing.holds:
        return Finding("holds_lifted", title, True, "The unit is not on hold.")
    sentence = "; ".join(f"{hold.source}: {hold.reason}" for hold in standing.holds[:SHOWN])
    return Finding("holds_lifted", title, False, sentence, (Link("The unit", f"/units/{quote(standing.serial)}/"),))


def stages_signed(standing: Standing) -> Finding:
    title = "Every stage is signed, and nothing changed since"
    missing = [one for one in standing.inspection.stages if one.due and not one.signed]
    if not missing:
        return Finding("stages_signed", title, True, f"{len(standing.inspection.stages)} stages signed.")
    changed = [one.card.number for one in missing if one.state == "changed_since_signed"]
    sentence = f"Not signed: stage {_numbers([one.card.number for one in missing])}."
    if changed:
        sentence += f" Stage {_numbers(changed)} changed since it was signed."
    return Finding("stages_signed", title, False, sentence, (Link("Go to the bench", _bench(standing)),))


CHECKS: tuple[Callable[[Standing], Finding], ...] = (
    plan_stands,
    all_answered,
    no_conflict,
    second_inspections,
    answers_are_proof,
    near_limits_decided,
    answers_conform,
    reports_ended,
    holds_lifted,
    stages_signed,
)


def check(standing: Standing) -> list[Finding]:
    """Every check's finding, in order."""
    return [one(standing) for one in CHECKS]
