"""Reports that end without a correction: conceded, scrapped, returned, or withdrawn because raised in error."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING

from django.db import transaction

from qcapp.audit.verbs import Verb
from qcapp.core.errors import NotAllowed, Refused
from qcapp.core.sealing import canonical, digest
from qcapp.inspections.queries import inspection_of_unit
from qcapp.lib.plain_text import plain_text
from qcapp.people.roles import Act
from qcapp.people.services import require, write_signature
from qcapp.production.queries import unit_of_item
from qcapp.production.services import lift_hold_of_source

from ..models import Report
from ..queries import moves_of
from ..states import GOES_NO_FURTHER, NEEDS_CORRECTION, REPORT_STATES, Disposition
from .closing import close, scrap
from .correcting import refuse_unproven
from .proving import open_question, own_work
from .steps import ALSO_FOUND, enter, locked, remark, serial_of, step

if TYPE_CHECKING:
    from qcapp.people.models import Person, Signature
    from qcapp.people.services import Proof

FIRST_SIGNATURE = "withdrawal_signed"


@transaction.atomic
def close_without_correction(*, proof: Proof, number: str, corrective_action: str, at: datetime) -> None:
    """Close a report decided as use as is, scrap or return to supplier. Scrap takes the serial out for good.

    Raises TransitionNotAllowed, Refused `correction_needed`, `not_proven` (use as is whose concession does not cover
    what counts), NotAllowed, NotFound, Invalid of `plain_text`.
    """
    require(proof.person, Act.CLOSE_REPORT, at)
    corrective_action = plain_text("The corrective action", " ".join(corrective_action.split()), longest=600)
    report = locked(number)
    REPORT_STATES.next(report.status.state, "close_without_correction")
    decided = report.status.decided
    if decided is None:  # by the table a decided report has one
        raise Refused("no_proposal", f"{report.number} has no disposition in force; decide it again.")
    chosen = Disposition(decided.disposition)
    if chosen in NEEDS_CORRECTION:
        message = f"{report.number} was decided as {chosen.label}: it closes after the correction is verified."
        raise Refused("correction_needed", message)
    if chosen not in GOES_NO_FURTHER:
        refuse_unproven(report)
    if chosen is Disposition.SCRAP:
        scrap(report, by=proof.person, at=at)
    close(report, "close_without_correction", proof=proof, corrective_action=corrective_action, at=at)


# ------------------------------------------------------------------------------------------------ withdrawing


@transaction.atomic
def sign_withdrawal(*, proof: Proof, number: str, reason: str, at: datetime) -> bool:
    """Withdraw a report that was raised in error: two persons sign. True when this was the second signature.

    A first signature lapses when the report moves on or something more is found. Raises TransitionNotAllowed,
    NotAllowed `second_person_needed`, `own_report`, Refused `still_does_not_conform`, NotFound, Invalid of
    `plain_text`.
    """
    require(proof.person, Act.WITHDRAW_REPORT, at)
    reason = plain_text("The reason", reason, longest=300)
    report = locked(number)
    REPORT_STATES.next(report.status.state, "withdraw")
    first = first_signatory(report)
    _check_withdrawable(report, proof.person, first)
    content = {"report": report.number, "reason": reason, "second": first is not None}
    signature = write_signature(
        proof=proof,
        act=Act.WITHDRAW_REPORT,
        meaning=f"I sign that {report.number} on {serial_of(report)} was raised in error: {reason}"[:300],
        subject=f"report {report.number}",
        covers=digest(canonical(content)),
        at=at,
    )
    if first is None:
        remark(report, FIRST_SIGNATURE, by=proof.person, at=at, note=reason, signature=signature)
        enter(report, Verb.REPORT_WITHDRAWAL_SIGNED, by=proof.person, at=at, **content)
    else:
        _withdraw(report, signature, proof.person, reason, at)
        enter(report, Verb.REPORT_WITHDRAWN, by=proof.person, at=at, **content)
    return first is not None


def first_signatory(report: Report) -> int | None:
    """Who signed the withdrawal first, None while nobody did since the report moved on or something more was found."""
    for move in reversed(moves_of(report.pk)):
        if move.name == FIRST_SIGNATURE:
            return move.by_id if move.to_state == report.status.state else None
        if move.to_state != report.status.state or move.name in {ALSO_FOUND, "contain", "decide"}:
            return None
    return None


def _withdraw(report: Report, signature: Signature, by: Person, reason: str, at: datetime) -> None:
    step(report, "withdraw", by=by, at=at, note=reason, signature=signature)
    lifted = f"{report.number} is withdrawn."
    lift_hold_of_source(signature=signature, item_id=report.item_id, source=report.number, reason=lifted, at=at)


def _check_withdrawable(report: Report, person: Person, first: int | None) -> None:
    if first == person.pk:
        raise NotAllowed("second_person_needed", "You have signed this withdrawal already; a second person must sign.")
    if person.pk in own_work(report):
        raise NotAllowed("own_report", "You raised or recorded this yourself; two other persons withdraw it.")
    if report.checkpoint is None:
        return
    view = inspection_of_unit(unit_of_item(report.item_id))
    own = report.checkpoint.characteristic_id
    one = next((one for one in view.checkpoints if one.card.characteristic_id == own), None)
    if one is None or open_question(one) or one.counts is None or not one.counts.passes:
        message = (
            "The answer that counts does not conform, or is not proof. Correct it or measure again, then withdraw."
        )
        raise Refused("still_does_not_conform", message)
