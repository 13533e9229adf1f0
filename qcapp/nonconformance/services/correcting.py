"""Correction on the floor, and the proof that it worked."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING

from django.db import transaction

from qcapp.audit.verbs import Verb
from qcapp.core.errors import Conflict, NotAllowed, NotFound, Refused
from qcapp.inspections.queries import adopted
from qcapp.inspections.services import reopen_checkpoints
from qcapp.lib.plain_text import plain_text
from qcapp.people.roles import Act
from qcapp.people.services import require
from qcapp.production.queries import units_of_items

from ..models import CorrectionStep, DispositionProposal, Report, StepConfirmation
from ..queries.details import item_ids_of, steps_of, turns_of
from ..states import NEEDS_CORRECTION, REPORT_STATES, Disposition, Method, ReportState
from .closing import close
from .proving import attempts_made, correctors_of, not_proven
from .steps import enter, locked, remark, step

if TYPE_CHECKING:
    from qcapp.people.models import Person
    from qcapp.people.services import Proof


@transaction.atomic
def start_correction(*, by: Person, number: str, note: str = "", at: datetime) -> None:
    """The rework or repair begins.

    Raises TransitionNotAllowed, Refused `no_correction_needed`, `attempts_used_up`, NotAllowed, NotFound, Invalid of
    `plain_text`.
    """
    require(by, Act.CORRECT_REPORT, at)
    note = plain_text("The note", " ".join(note.split()), longest=600, needed=False)
    report = locked(number)
    REPORT_STATES.next(report.status.state, "start_correction")
    decided = report.status.decided
    if decided is not None and decided.disposition not in NEEDS_CORRECTION:
        label = Disposition(decided.disposition).label
        message = f"{report.number} was decided as {label}; there is nothing to correct. Close it."
        raise Refused("no_correction_needed", message)
    attempt = _attempt(report, decided)
    step(report, "start_correction", by=by, at=at, note=note, data=attempt)
    enter(report, Verb.REPORT_CORRECTION_STARTED, by=by, at=at, note=note, **attempt)


def _attempt(report: Report, decided: DispositionProposal | None) -> dict[str, object]:
    """Which attempt this is, where a method may not be repeated at will. Raises Refused `attempts_used_up`."""
    if decided is None or not decided.method or decided.max_attempts is None:
        return {}
    attempt = attempts_made(report, decided.method) + 1
    label = Method(decided.method).label
    if attempt > decided.max_attempts:
        message = (
            f"{label.capitalize()} was allowed {_times(decided.max_attempts)} by {decided.procedure} and has been "
            f"tried {_times(attempt - 1)} here. Propose another disposition with the welding coordinator."
        )
        raise Refused("attempts_used_up", message, attempts=attempt - 1, most=decided.max_attempts)
    return {"method": decided.method, "attempt": attempt, "of": decided.max_attempts}


def _times(count: int) -> str:
    return "once" if count == 1 else f"{count} times"


@transaction.atomic
def confirm_step(*, by: Person, number: str, position: int, note: str = "", at: datetime) -> None:
    """Say that a step of the instruction is done, under the own name.

    Raises NotAllowed, NotFound `report_unknown`, `step_unknown`, Refused `not_in_correction`, Conflict
    `step_confirmed`, Invalid of `plain_text`.
    """
    require(by, Act.CORRECT_REPORT, at)
    note = plain_text("The note", " ".join(note.split()), longest=300, needed=False)
    report = locked(number)
    if report.status.state != ReportState.IN_CORRECTION:
        label = ReportState(report.status.state).label
        message = f"{report.number} is {label}; steps are confirmed while it is in correction."
        raise Refused("not_in_correction", message)
    decided, turn = report.status.decided, turns_of(report.pk)
    row = CorrectionStep.objects.filter(proposal=decided, position=position).first()
    if row is None:
        raise NotFound("step_unknown", f"The instruction of {report.number} has no step {position}.")
    done = StepConfirmation.objects.filter(step=row, turn=turn).select_related("by").first()
    if done is not None:
        raise Conflict("step_confirmed", f"{done.by.name} has confirmed step {position} already.")
    StepConfirmation.objects.create(step=row, turn=turn, note=note, by=by, at=at)
    said = f"{position}. {row.text}" + (f" – {note}" if note else "")
    remark(report, "step_confirmed", by=by, at=at, note=said, data={"position": position, "turn": turn})
    enter(report, Verb.REPORT_STEP_CONFIRMED, by=by, at=at, position=position, turn=turn, note=note)


@transaction.atomic
def finish_correction(*, by: Person, number: str, note: str, at: datetime) -> None:
    """The correction is done: the named checkpoints open in a new round, to be inspected by somebody else.

    The round opens here and not at the start, so that nothing measured before the correction counts for it. Raises
    TransitionNotAllowed, NotAllowed, NotFound, Refused `unit_not_in_build`, `steps_open`, Invalid of `plain_text`.
    """
    require(by, Act.CORRECT_REPORT, at)
    note = plain_text("What was done", " ".join(note.split()), longest=600)
    report = locked(number)
    REPORT_STATES.next(report.status.state, "finish_correction")
    _refuse_open_steps(report)
    opened = _reopen(report, by, at)
    step(report, "finish_correction", by=by, at=at, note=note, data={"opened": opened})
    enter(report, Verb.REPORT_CORRECTED, by=by, at=at, note=note, opened=opened)


def _refuse_open_steps(report: Report) -> None:
    """Raises Refused `steps_open`, its details listing them, while a step of the instruction is not confirmed."""
    decided = report.status.decided
    steps = [] if decided is None else steps_of(decided.pk, turns_of(report.pk))
    missing = [f"{one.position}. {one.text}" for one in steps if one.at is None]
    if missing:
        message = f"Confirm every step of the instruction first. Open: {'; '.join(missing)}"
        raise Refused("steps_open", message.rstrip(".") + ".", missing=missing)


def _reopen(report: Report, by: Person, at: datetime) -> dict[str, int]:
    """The new round of every checkpoint that the disposition names, on every unit; none on one scrapped meanwhile."""
    decided = report.status.decided
    found: dict[str, int] = {}
    for unit in units_of_items(item_ids_of(report)).values():
        if decided is not None and unit.state != "scrapped":
            own = {card.key for card in adopted(unit.item_id).checkpoints}
            keys = [key for key in decided.reinspect if key in own or unit.item_id == report.item_id]
            opened = reopen_checkpoints(by=by, item_id=unit.item_id, keys=keys, source=report.number, at=at)
            found |= opened if unit.item_id == report.item_id else {}
    return found


@transaction.atomic
def fail_verification(*, by: Person, number: str, note: str, at: datetime) -> None:
    """The correction did not work: the report is contained again and has to be decided again.

    Raises TransitionNotAllowed, NotAllowed, NotFound, Invalid of `plain_text`.
    """
    require(by, Act.CLOSE_REPORT, at)
    note = plain_text("What was found", " ".join(note.split()), longest=600)
    report = locked(number)
    step(report, "fail_verification", by=by, at=at, note=note)
    enter(report, Verb.REPORT_CORRECTION_FAILED, by=by, at=at, note=note)


@transaction.atomic
def verify_and_close(
    *, proof: Proof, number: str, corrective_action: str, action_number: str = "", at: datetime
) -> None:
    """Close a corrected report, once its new round proves it, and lift its hold under the same signature.

    `corrective_action` says what stops it from coming back, or why nothing is needed. Raises TransitionNotAllowed,
    NotAllowed `own_correction`, Refused `not_proven` with what is missing, NotFound, Invalid of `plain_text`.
    """
    require(proof.person, Act.CLOSE_REPORT, at)
    corrective_action = plain_text("The corrective action", " ".join(corrective_action.split()), longest=600)
    action_number = plain_text("The number of the corrective action", action_number, longest=40, needed=False)
    report = locked(number)
    REPORT_STATES.next(report.status.state, "close")
    if proof.person.pk in correctors_of(report):
        raise NotAllowed("own_correction", "You carried out this correction; another person verifies and closes it.")
    refuse_unproven(report, at)
    told = {"corrective_action": corrective_action, "action_number": action_number}
    close(report, "close", proof=proof, at=at, **told)


def refuse_unproven(report: Report, at: datetime) -> None:
    """Raises Refused `not_proven`, its details listing what is missing, while anything is."""
    missing = not_proven(report, at)
    if missing:
        message = f"{report.number} cannot be closed yet. {' '.join(missing)}"
        raise Refused("not_proven", message, missing=missing)
