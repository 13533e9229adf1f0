"""Reports that end without a correction: conceded, scrapped, returned, or withdrawn because raised in error."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING

from django.db import transaction

from qcapp.audit.verbs import Verb
from qcapp.core.errors import NotAllowed, Refused
from qcapp.core.sealing import canonical, digest
from qcapp.inspections.queries import counting_answer
from qcapp.lib.plain_text import plain_text
from qcapp.people.roles import Act
from qcapp.people.services import require, write_signature
from qcapp.production.services import lift_hold_of_source, move_unit

from ..models import Move, Report
from ..states import NEEDS_CORRECTION, REPORT_STATES, Disposition
from .correcting import _close
from .steps import enter, locked, remark, serial_of, step

if TYPE_CHECKING:
    from qcapp.people.models import Person
    from qcapp.people.services import Proof

FIRST_SIGNATURE = "withdrawal_signed"


@transaction.atomic
def close_without_correction(*, proof: Proof, number: str, corrective_action: str, at: datetime) -> None:
    """Close a report decided as use as is, scrap or return to supplier. Scrap takes the serial out for good.

    Raises Refused `correction_needed`, TransitionNotAllowed, NotAllowed.
    """
    require(proof.person, Act.CLOSE_REPORT, at)
    corrective_action = plain_text("The corrective action", corrective_action, longest=600)
    report = locked(number)
    REPORT_STATES.next(report.status.state, "close_without_correction")
    chosen = Disposition(report.status.disposition)
    if chosen in NEEDS_CORRECTION:
        raise Refused(
            "correction_needed", f"{number} was decided as {chosen.label}: it closes after the correction is verified."
        )
    unit = getattr(report.item, "unit", None)
    if chosen is Disposition.SCRAP and unit is not None:
        move_unit(by=proof.person, unit_id=unit.pk, move="scrap", reason=f"{report.number}: {report.title}", at=at)
    _close(report, "close_without_correction", proof, corrective_action, at)


@transaction.atomic
def sign_withdrawal(*, proof: Proof, number: str, reason: str, at: datetime) -> bool:
    """Withdraw a report that was raised in error: two persons sign. True when this was the second signature.

    A report whose checkpoint still does not conform cannot be withdrawn. Raises Refused `still_does_not_conform`,
    NotAllowed `second_person_needed`, `own_report`, TransitionNotAllowed.
    """
    require(proof.person, Act.WITHDRAW_REPORT, at)
    reason = plain_text("The reason", reason, longest=300)
    report = locked(number)
    REPORT_STATES.next(report.status.state, "withdraw")
    _check_withdrawable(report, proof.person)
    first = Move.objects.filter(report=report, name=FIRST_SIGNATURE).order_by("-id").first()
    if first is not None and first.by_id == proof.person.pk:
        raise NotAllowed("second_person_needed", "You have signed this withdrawal already; a second person must sign.")
    content = {"report": report.number, "reason": reason, "second": first is not None}
    meaning = f"I sign that {report.number} on {serial_of(report)} was raised in error: {reason}"[:300]
    signature = write_signature(
        proof=proof, act=Act.WITHDRAW_REPORT, meaning=meaning, subject=f"report {report.number}",
        covers=digest(canonical(content)), at=at,
    )  # fmt: skip
    if first is None:
        remark(report, FIRST_SIGNATURE, by=proof.person, at=at, note=reason, signature=signature)
        enter(report, Verb.REPORT_WITHDRAWAL_SIGNED, by=proof.person, at=at, **content)
        return False
    step(report, "withdraw", by=proof.person, at=at, note=reason, signature=signature)
    lift_hold_of_source(
        signature=signature, item_id=report.item_id, source=report.number, reason=f"{report.number} is withdrawn.", at=at
    )
    enter(report, Verb.REPORT_WITHDRAWN, by=proof.person, at=at, **content)
    return True


def _check_withdrawable(report: Report, person: Person) -> None:
    own = {report.raised_by_id} | ({report.result.person_id} if report.result else set())
    if person.pk in own:
        raise NotAllowed("own_report", "You raised or recorded this yourself; two other persons withdraw it.")
    if report.checkpoint is None:
        return
    answer = counting_answer(report.item_id, report.checkpoint.characteristic.key).counts
    if answer is None or not answer.passes:
        raise Refused(
            "still_does_not_conform",
            "The answer that counts still does not conform. Correct the entry or measure again first; then withdraw.",
        )
