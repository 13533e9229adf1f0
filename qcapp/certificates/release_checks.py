"""What has to be proven before a unit may be released: ordered checks, each with a sentence and where to go.

A check is a function from the unit's standing to a Finding. A new one is a function, its place in CHECKS, and two
tests: one for proven, one for not.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING
from urllib.parse import quote

from qcapp.inspections.queries import inspection_of
from qcapp.inspections.queries.beside import without_photo
from qcapp.inspections.queries.left_behind import left_behind
from qcapp.inspections.queries.proof import near_limit_in, unproven_in
from qcapp.inspections.queries.secrets import secrets_of
from qcapp.lib.site_days import site_day
from qcapp.nonconformance.queries import reports_of

from .as_built_checks import against_parts

if TYPE_CHECKING:
    from qcapp.inspections.queries import CheckpointView, InspectionView, Unproven
    from qcapp.inspections.queries.left_behind import LeftBehind
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
    """Everything the checks look at, read once. First answers that wait for a second are kept back in it."""

    inspection: InspectionView
    unproven: list[Unproven]
    near_limit: list[Unproven]
    reports: list[ReportCard]
    without_photo: list[CheckpointView]
    left_behind: list[LeftBehind] = field(default_factory=list)

    @property
    def serial(self) -> str:
        return self.inspection.unit.serial

    @property
    def holds(self) -> tuple[HoldCard, ...]:
        """The holds that nobody has lifted."""
        return self.inspection.holds

    @property
    def concessions(self) -> list[ConcessionCard]:
        """The concessions in force."""
        return [report.concession for report in self.reports if report.concession is not None]

    @property
    def due(self) -> list[CheckpointView]:
        """The checkpoints that were to be answered on this unit."""
        return [one for one in self.inspection.checkpoints if one.state != "not_due"]


def standing_of(serial: str) -> Standing:
    """The unit as the checks see it. Raises NotFound `serial_unknown`, `no_plan_adopted`."""
    inspection = inspection_of(serial)
    return Standing(
        inspection=inspection,
        unproven=unproven_in(inspection),
        near_limit=near_limit_in(inspection),
        reports=reports_of(inspection.unit.item_id, secret=secrets_of(inspection)),
        without_photo=without_photo(inspection.unit.item_id, inspection.checkpoints),
        left_behind=left_behind(inspection),
    )


def concession_for(checkpoint: CheckpointView, concessions: list[ConcessionCard]) -> ConcessionCard | None:
    """The concession that covers the answer of a checkpoint that does not conform, if there is one."""
    answer = checkpoint.counts
    if answer is None or answer.passes:
        return None
    mine = [one for one in concessions if one.characteristic_id == checkpoint.card.characteristic_id]
    return next((one for one in mine if one.covers(answer.answer)), None)


# --------------------------------------------------------------------------------------------------- the checks


def unit_in_hand(standing: Standing) -> Finding:
    unit = standing.inspection.unit
    ok = unit.state != "scrapped"
    sentence = f"{unit.serial} is {unit.state_label}." if ok else f"{unit.serial} is scrapped; it is never released."
    return Finding("unit_in_hand", "The unit is not scrapped", ok, sentence, (_to_unit(standing),))


def in_the_house(standing: Standing) -> Finding:
    unit, title = standing.inspection.unit, "The unit is in the house"
    if not unit.away:
        return Finding("in_the_house", title, True, "It is not out for a process.")
    sentence = f"{unit.serial} is out for a process and was not received back with its certificate."
    return Finding("in_the_house", title, False, sentence, (Link("Sent outside", f"/goods/outside/{unit.serial}/"),))


def plan_stands(standing: Standing) -> Finding:
    card = standing.inspection.revision
    title, link = "Released inspection plan", Link("The plan", f"/plans/{card.uuid}/")
    if card.state in {"released", "superseded"}:
        sentence = f"Inspected to {card.family_code} revision {card.letter}, {card.state_label}."
        return Finding("plan_stands", title, True, sentence, (link,))
    sentence = f"{card.family_code} revision {card.letter} is {card.state_label}; the unit needs another revision."
    return Finding("plan_stands", title, False, sentence, (link,))


def all_answered(standing: Standing) -> Finding:
    title = "Every checkpoint that is due is answered"
    open_ones = [one for one in standing.due if 1 in one.owes]
    if not open_ones:
        return Finding("all_answered", title, True, f"All {len(standing.due)} checkpoints that were due are answered.")
    sentence = f"{len(open_ones)} of {len(standing.due)} are open: {_named(open_ones)}."
    return Finding("all_answered", title, False, sentence, _to_checkpoints(standing, open_ones))


def no_conflict(standing: Standing) -> Finding:
    title = "No answers in conflict"
    split = [one for one in standing.due if one.state == "in_conflict"]
    if not split:
        return Finding("no_conflict", title, True, "No checkpoint was answered twice without seeing the other answer.")
    sentence = f"Answered twice without seeing each other: {_named(split)}. Correct one."
    return Finding("no_conflict", title, False, sentence, _to_checkpoints(standing, split))


def second_inspections(standing: Standing) -> Finding:
    title = "Second inspections are given and agree"
    asked = [one for one in standing.due if one.card.second_inspection]
    owing = [one for one in asked if {2, 3} & set(one.owes)]
    if not owing:
        given = f"{len(asked)} given by another person, or decided by a third." if asked else "The plan asks for none."
        return Finding("second_inspections", title, True, given)
    sentence = f"{len(owing)} of {len(asked)} are missing: {_named(owing)}."
    third = [one for one in owing if 3 in one.owes]
    if third:
        sentence += f" A third person decides {_named(third)}."
    return Finding("second_inspections", title, False, sentence, _to_checkpoints(standing, owing))


def photos_there(standing: Standing) -> Finding:
    title = "Photos that the plan asks for are there"
    asked = sum(one.card.photo for one in standing.due)
    lacking = standing.without_photo
    if not lacking:
        sentence = f"{asked} taken at their checkpoints." if asked else "The plan asks for none."
        return Finding("photos_there", title, True, sentence)
    sentence = f"No photo yet: {_named(lacking)}."
    return Finding("photos_there", title, False, sentence, _to_checkpoints(standing, lacking))


def answers_are_proof(standing: Standing) -> Finding:
    title = "Every answer counts as proof"
    if not standing.unproven:
        return Finding("answers_are_proof", title, True, "Gauges were in calibration, stages open, clocks right.")
    first = standing.unproven[0]
    numbers = _numbers(sorted({one.checkpoint_number for one in standing.unproven}))
    sentence = f"{numbers} wait for a decision. {first.checkpoint_number}: {first.sentence}"
    return Finding("answers_are_proof", title, False, sentence, (_to_decisions(standing),))


def near_limits_decided(standing: Standing) -> Finding:
    title = "Near-limit values of critical checkpoints are decided"
    if not standing.near_limit:
        return Finding("near_limits_decided", title, True, "None is waiting.")
    numbers = _numbers(sorted({one.checkpoint_number for one in standing.near_limit}))
    sentence = f"{numbers} wait for the quality manager or the engineer."
    return Finding("near_limits_decided", title, False, sentence, (_to_decisions(standing),))


def answers_conform(standing: Standing) -> Finding:
    title = "Every answer conforms or is covered by a concession"
    failing = [one for one in standing.due if one.counts is not None and not one.counts.passes]
    if ended := _ended(standing, failing):
        sentence = "; ".join(f"{one.number} ended on {one.ends_on:%-d %B %Y}" for one in ended) + "; decide again."
        links = tuple(Link(one.report_number, f"/nonconformances/{one.report_number}/") for one in ended)
        return Finding("answers_conform", title, False, sentence, links)
    uncovered = [one for one in failing if concession_for(one, standing.concessions) is None]
    if not uncovered:
        sentence = f"Under a concession: {_named(failing)}." if failing else "No answer stands out of band."
        return Finding("answers_conform", title, True, sentence)
    sentence = f"Do not conform: {_named(uncovered)}."
    return Finding("answers_conform", title, False, sentence, _to_checkpoints(standing, uncovered))


def _ended(standing: Standing, failing: list[CheckpointView]) -> list[ConcessionCard]:
    """Concessions that a unit in build needs and that may no longer be used. A released one was released in time."""
    if standing.inspection.unit.state != "in_build":
        return []
    used = [found for one in failing if (found := concession_for(one, standing.concessions))]
    return [one for one in used if one.ended(site_day())]


def nothing_left_behind(standing: Standing) -> Finding:
    """A change of plan, of variant or of applicability never clears what was found."""
    title = "Nothing known out of band was left behind by a change of plan"
    uncovered = [one for one in standing.left_behind if not _conceded(one, standing.concessions)]
    if not uncovered:
        words = f"Under a concession: {_numbers([one.number for one in standing.left_behind])}."
        return Finding("nothing_left_behind", title, True, words if standing.left_behind else "Nothing was.")
    named = "; ".join(f"{one.number} {one.title}: {one.described}" for one in uncovered[:SHOWN])
    sentence = f"No longer asked, but found: {named}. It takes a disposition with a concession."
    return Finding("nothing_left_behind", title, False, sentence, (_to_unit(standing),))


def _conceded(one: LeftBehind, concessions: list[ConcessionCard]) -> bool:
    return any(c.characteristic_id == one.characteristic_id and c.covers(one.answer) for c in concessions)


def reports_ended(standing: Standing) -> Finding:
    title = "Nonconformance reports are closed"
    running = [one for one in standing.reports if not one.ended]
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
    sentence = "; ".join(f"{hold.source}: {hold.reason.rstrip('.')}" for hold in standing.holds[:SHOWN]) + "."
    return Finding("holds_lifted", title, False, sentence, (_to_unit(standing),))


def stages_signed(standing: Standing) -> Finding:
    title = "Every stage is signed, and nothing changed since"
    stages = standing.inspection.stages
    missing = [one.card.number for one in stages if not one.signed]
    if not missing:
        return Finding("stages_signed", title, True, f"{len(stages)} stages signed.")
    sentence = f"Not signed: stage {_numbers(missing)}."
    changed = [one.card.number for one in stages if one.state == "changed_since_signed"]
    if changed:
        sentence += f" Stage {_numbers(changed)} changed since it was signed."
    return Finding("stages_signed", title, False, sentence, (Link("Go to the bench", _bench(standing)),))


def parts_in_order(standing: Standing) -> Finding:
    title = "Components are released and material is accepted"
    item_id = standing.inspection.unit.item_id
    against = against_parts(item_id)
    if not against:
        return Finding("parts_in_order", title, True, "Nothing that is built in stands against it.")
    return Finding("parts_in_order", title, False, f"{'; '.join(against[:SHOWN])}.", (_to_unit(standing),))


CHECKS: tuple[Callable[[Standing], Finding], ...] = (
    unit_in_hand,
    in_the_house,
    plan_stands,
    all_answered,
    no_conflict,
    second_inspections,
    photos_there,
    answers_are_proof,
    near_limits_decided,
    answers_conform,
    nothing_left_behind,
    reports_ended,
    holds_lifted,
    parts_in_order,
    stages_signed,
)


def check(standing: Standing) -> list[Finding]:
    """Every check's finding, in order."""
    return [one(standing) for one in CHECKS]


# ----------------------------------------------------------------------------------------------- words and links


def _numbers(numbers: list[int]) -> str:
    named = ", ".join(str(number) for number in numbers[:SHOWN])
    return named if len(numbers) <= SHOWN else f"{named} and {len(numbers) - SHOWN} more"


def _named(checkpoints: list[CheckpointView]) -> str:
    return _numbers([one.card.number for one in checkpoints])


def _bench(standing: Standing, key: str = "") -> str:
    address = f"/units/{quote(standing.serial)}/bench/"
    return f"{address}?checkpoint={quote(key)}" if key else address


def _to_unit(standing: Standing) -> Link:
    return Link("The unit", f"/units/{quote(standing.serial)}/")


def _to_decisions(standing: Standing) -> Link:
    return Link("Decide them", f"/units/{quote(standing.serial)}/release/#decisions")


def _to_checkpoints(standing: Standing, checkpoints: list[CheckpointView]) -> tuple[Link, ...]:
    return tuple(
        Link(f"{one.card.number} {one.card.title}", _bench(standing, one.card.key)) for one in checkpoints[:SHOWN]
    )
