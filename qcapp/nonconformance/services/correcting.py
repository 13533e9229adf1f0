"""Correction on the floor, and the proof that it worked."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING

from django.db import transaction

from qcapp.audit.verbs import Verb
from qcapp.core.errors import NotAllowed, Refused
from qcapp.inspections.services import reopen_checkpoints
from qcapp.lib.plain_text import plain_text
from qcapp.people.roles import Act
from qcapp.people.services import require

from ..models import Report
from ..states import NEEDS_CORRECTION, REPORT_STATES, Disposition
from .closing import close
from .proving import correctors_of, not_proven
from .steps import enter, locked, step

if TYPE_CHECKING:
    from qcapp.people.models import Person
    from qcapp.people.services import Proof


@transaction.atomic
def start_correction(*, by: Person, number: str, note: str = "", at: datetime) -> None:
    """The rework or repair begins.

    Raises TransitionNotAllowed, Refused `no_correction_needed`, NotAllowed, NotFound, Invalid of `plain_text`.
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
    step(report, "start_correction", by=by, at=at, note=note)
    enter(report, Verb.REPORT_CORRECTION_STARTED, by=by, at=at, note=note)


@transaction.atomic
def finish_correction(*, by: Person, number: str, note: str, at: datetime) -> None:
    """The correction is done: the named checkpoints open in a new round, to be inspected by somebody else.

    The round opens here and not at the start, so that nothing measured before the correction counts for it. Raises
    TransitionNotAllowed, NotAllowed, NotFound, Refused `unit_not_in_build`, Invalid of `plain_text`.
    """
    require(by, Act.CORRECT_REPORT, at)
    note = plain_text("What was done", " ".join(note.split()), longest=600)
    report = locked(number)
    REPORT_STATES.next(report.status.state, "finish_correction")
    opened = _reopen(report, by, at)
    step(report, "finish_correction", by=by, at=at, note=note, data={"opened": opened})
    enter(report, Verb.REPORT_CORRECTED, by=by, at=at, note=note, opened=opened)


def _reopen(report: Report, by: Person, at: datetime) -> dict[str, int]:
    """The new round of every checkpoint that the disposition names; none on a unit scrapped meanwhile."""
    decided, unit = report.status.decided, getattr(report.item, "unit", None)
    if decided is None or (unit is not None and unit.state == "scrapped"):
        return {}
    return reopen_checkpoints(by=by, item_id=report.item_id, keys=decided.reinspect, source=report.number, at=at)


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
def verify_and_close(*, proof: Proof, number: str, corrective_action: str, at: datetime) -> None:
    """Close a corrected report, once its new round proves it, and lift its hold under the same signature.

    `corrective_action` says what stops it from coming back, or why nothing is needed. Raises TransitionNotAllowed,
    NotAllowed `own_correction`, Refused `not_proven` with what is missing, NotFound, Invalid of `plain_text`.
    """
    require(proof.person, Act.CLOSE_REPORT, at)
    corrective_action = plain_text("The corrective action", " ".join(corrective_action.split()), longest=600)
    report = locked(number)
    REPORT_STATES.next(report.status.state, "close")
    if proof.person.pk in correctors_of(report):
        raise NotAllowed("own_correction", "You carried out this correction; another person verifies and closes it.")
    refuse_unproven(report)
    close(report, "close", proof=proof, corrective_action=corrective_action, at=at)


def refuse_unproven(report: Report) -> None:
    """Raises Refused `not_proven`, its details listing what is missing, while anything is."""
    missing = not_proven(report)
    if missing:
        message = f"{report.number} cannot be closed yet. {' '.join(missing)}"
        raise Refused("not_proven", message, missing=missing)
