"""Correction on the floor, and the proof that it worked."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING

from django.db import transaction

from qcapp.audit.services import anchor_on_commit
from qcapp.audit.verbs import Verb
from qcapp.core.errors import NotAllowed, Refused
from qcapp.core.sealing import canonical, digest
from qcapp.inspections.queries import inspection_of
from qcapp.inspections.services import reopen_checkpoints
from qcapp.lib.plain_text import plain_text
from qcapp.people.roles import Act
from qcapp.people.services import require, write_signature
from qcapp.production.services import lift_hold_of_source

from ..models import Concession, Report
from ..queries import moves_of, proposal_of
from ..states import NEEDS_CORRECTION, Disposition
from .steps import enter, locked, serial_of, step
from .values import worst_value

if TYPE_CHECKING:
    from qcapp.inspections.queries import AnswerView, CheckpointView
    from qcapp.people.models import Person
    from qcapp.people.services import Proof


@transaction.atomic
def start_correction(*, by: Person, number: str, note: str = "", at: datetime) -> None:
    """The rework or repair begins. Raises Refused `no_correction_needed`, TransitionNotAllowed, NotAllowed."""
    require(by, Act.CORRECT_REPORT, at)
    note = plain_text("The note", note, longest=600, needed=False)
    report = locked(number)
    if report.status.disposition and Disposition(report.status.disposition) not in NEEDS_CORRECTION:
        label = Disposition(report.status.disposition).label
        raise Refused("no_correction_needed", f"{number} was decided as {label}; there is nothing to correct. Close it.")
    step(report, "start_correction", by=by, at=at, note=note)
    enter(report, Verb.REPORT_CORRECTION_STARTED, by=by, at=at, note=note)


@transaction.atomic
def finish_correction(*, by: Person, number: str, note: str, at: datetime) -> None:
    """The correction is done: the named checkpoints open in a new round, to be inspected by somebody else.

    The round opens here and not at the start, so that nothing measured before the correction counts for it.
    """
    require(by, Act.CORRECT_REPORT, at)
    note = plain_text("What was done", note, longest=600)
    report = locked(number)
    step(report, "finish_correction", by=by, at=at, note=note)
    proposal = proposal_of(report.pk)
    keys = [] if proposal is None else proposal.reinspect
    reopen_checkpoints(by=by, item_id=report.item_id, keys=keys, source=report.number, at=at)
    enter(report, Verb.REPORT_CORRECTED, by=by, at=at, note=note, reopened=keys)


@transaction.atomic
def fail_verification(*, by: Person, number: str, note: str, at: datetime) -> None:
    """The correction did not work: the report is contained again and has to be decided again."""
    require(by, Act.CLOSE_REPORT, at)
    note = plain_text("What was found", note, longest=600)
    report = locked(number)
    step(report, "fail_verification", by=by, at=at, note=note)
    enter(report, Verb.REPORT_CORRECTION_FAILED, by=by, at=at, note=note)


@transaction.atomic
def verify_and_close(*, proof: Proof, number: str, corrective_action: str, at: datetime) -> None:
    """Close a corrected report, once its new round proves it, and lift its hold under the same signature.

    `corrective_action` says what stops it from coming back, or why nothing is needed. Raises Refused
    `not_proven` with what is missing, NotAllowed `own_correction`, TransitionNotAllowed.
    """
    require(proof.person, Act.CLOSE_REPORT, at)
    corrective_action = plain_text("The corrective action", corrective_action, longest=600)
    report = locked(number)
    correctors = correctors_of(report.pk)
    if proof.person.pk in correctors:
        raise NotAllowed("own_correction", "You carried out this correction; another person verifies and closes it.")
    _check_proven(report, correctors)
    _close(report, "close", proof, corrective_action, at)


def correctors_of(report_id: int) -> frozenset[int]:
    """Who started or finished a correction of the report."""
    return frozenset(
        move.by_id for move in moves_of(report_id) if move.name in {"start_correction", "finish_correction"}
    )


def _check_proven(report: Report, correctors: frozenset[int]) -> None:
    missing = []
    for checkpoint in inspection_of(serial_of(report)).checkpoints:
        if checkpoint.reopened_by != report.number:
            continue
        problem = _unproven(report, checkpoint, correctors)
        if problem:
            missing.append(f"{checkpoint.card.number} {checkpoint.card.title}: {problem}")
    if missing:
        message = f"{report.number} cannot be closed yet. " + " ".join(missing)
        raise Refused("not_proven", message, missing=missing)


def _unproven(report: Report, checkpoint: CheckpointView, correctors: frozenset[int]) -> str:
    answer = checkpoint.counts
    if checkpoint.state != "answered" or answer is None:
        return f"not inspected in round {checkpoint.round} yet."
    if answer.person_id in correctors:
        return f"inspected by {answer.person_name}, who carried out the correction; another person must inspect it."
    if not answer.passes and not _conceded(report, checkpoint, answer):
        return f"still does not conform ({answer.described})."
    return ""


def _conceded(report: Report, checkpoint: CheckpointView, answer: AnswerView) -> bool:
    """Whether a repair's concession covers the value of the checkpoint it was given for."""
    row = Concession.objects.filter(report=report, checkpoint_id=checkpoint.card.id).first()
    if row is None:
        return False
    value = worst_value(answer.answer, checkpoint.card)
    if value is None:
        return True
    return (row.lower is None or value >= row.lower) and (row.upper is None or value <= row.upper)


def _close(report: Report, move: str, proof: Proof, note: str, at: datetime) -> None:
    content = {"report": report.number, "move": move, "corrective_action": note}
    meaning = f"I close {report.number} on {serial_of(report)}: what it asked for is proven. Its hold is lifted."
    signature = write_signature(
        proof=proof, act=Act.CLOSE_REPORT, meaning=meaning, subject=f"report {report.number}",
        covers=digest(canonical(content)), at=at,
    )  # fmt: skip
    step(report, move, by=proof.person, at=at, note=note, signature=signature)
    lift_hold_of_source(
        signature=signature, item_id=report.item_id, source=report.number, reason=f"{report.number} is closed.", at=at
    )
    enter(report, Verb.REPORT_CLOSED, by=proof.person, at=at, signature=str(signature.uuid), **content)
    anchor_on_commit(at=at)
