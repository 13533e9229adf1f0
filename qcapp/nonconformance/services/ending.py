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
from qcapp.production.queries import units_of_items

from ..models import Report
from ..queries import moves_of
from ..queries.details import item_ids_of
from ..states import GOES_NO_FURTHER, NEEDS_CORRECTION, REPORT_STATES, Disposition
from .closing import close, lift_holds, scrap
from .correcting import refuse_unproven
from .leaving import hold_components, refuse_without_papers
from .proving import open_question, own_work
from .steps import ALSO_FOUND, enter, locked, named, remark, step

if TYPE_CHECKING:
    from qcapp.people.models import Person, Signature
    from qcapp.people.services import Proof
    from qcapp.plans.models import Checkpoint
    from qcapp.production.queries import UnitCard

FIRST_SIGNATURE = "withdrawal_signed"


@transaction.atomic
def close_without_correction(
    *, proof: Proof, number: str, corrective_action: str, action_number: str = "", at: datetime
) -> None:
    """Close a report decided as use as is, scrap or return to supplier. Scrap takes the serial out for good.

    Raises TransitionNotAllowed, Refused `correction_needed`, `not_proven` (use as is whose concession does not cover
    what counts), `destruction_not_witnessed`, `no_return_note`, NotAllowed, NotFound, Invalid of `plain_text`.
    """
    require(proof.person, Act.CLOSE_REPORT, at)
    corrective_action = plain_text("The corrective action", " ".join(corrective_action.split()), longest=600)
    action_number = plain_text("The number of the corrective action", action_number, longest=40, needed=False)
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
        refuse_unproven(report, at)
    refuse_without_papers(report, decided)
    if chosen is Disposition.SCRAP:
        scrap(report, by=proof.person, at=at)
    parts = hold_components(report, by=proof.person, at=at) if chosen is Disposition.SCRAP else []
    told = {"corrective_action": corrective_action, "action_number": action_number}
    close(report, "close_without_correction", proof=proof, at=at, components=parts, **told)


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
        meaning=f"I sign that {report.number} on {named(report)} was raised in error: {reason}"[:300],
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
    lift_holds(report, signature, f"{report.number} is withdrawn.", at)


def _check_withdrawable(report: Report, person: Person, first: int | None) -> None:
    if first == person.pk:
        raise NotAllowed("second_person_needed", "You have signed this withdrawal already; a second person must sign.")
    if person.pk in own_work(report):
        raise NotAllowed("own_report", "You raised or recorded this yourself; two other persons withdraw it.")
    if report.checkpoint is None:
        return
    if not all(_conforms(unit, report.checkpoint) for unit in units_of_items(item_ids_of(report)).values()):
        message = (
            "The answer that counts does not conform, or is not proof. Correct it or measure again, then withdraw."
        )
        raise Refused("still_does_not_conform", message)


def _conforms(unit: UnitCard, checkpoint: Checkpoint) -> bool:
    """Whether the answer that counts conforms and is proof."""
    for one in inspection_of_unit(unit).checkpoints:
        if one.card.characteristic_id == checkpoint.characteristic_id:
            return not open_question(one) and one.counts is not None and one.counts.passes
    return False
