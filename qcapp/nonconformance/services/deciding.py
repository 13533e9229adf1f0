"""Containing a nonconformance and deciding what is done: a proposal, and the signatures it needs."""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from django.db import transaction

from qcapp.audit.verbs import Verb
from qcapp.core.errors import Conflict, Invalid, NotAllowed, Refused
from qcapp.core.sealing import canonical, digest
from qcapp.inspections.queries import counting_answer
from qcapp.lib.plain_text import plain_text
from qcapp.people.roles import Act, Role
from qcapp.people.services import require, write_signature

from ..models import Concession, DispositionProposal, DispositionSignature, Report, ReportStatus
from ..queries import proposal_of
from ..states import DECIDERS, NEEDS_CONCESSION, NEEDS_CORRECTION, REPORT_STATES, Disposition
from .steps import enter, locked, next_paper, remark, serial_of, step
from .values import value_that_failed

if TYPE_CHECKING:
    from qcapp.people.models import Person
    from qcapp.people.services import Proof


@transaction.atomic
def contain(*, by: Person, number: str, note: str, at: datetime) -> None:
    """Say what was done at once so that nothing nonconforming goes on. Raises TransitionNotAllowed, NotAllowed."""
    require(by, Act.CONTAIN_REPORT, at)
    note = plain_text("What was done to contain it", note, longest=600)
    report = locked(number)
    step(report, "contain", by=by, at=at, note=note)
    enter(report, Verb.REPORT_CONTAINED, by=by, at=at, note=note)


@transaction.atomic
def propose_disposition(
    *, by: Person, number: str, disposition: str, instruction: str, procedure: str = "",
    reinspect: list[str] | None = None, concession_lower: Decimal | None = None, concession_upper: Decimal | None = None,
    cause: str = "unknown", at: datetime,
) -> None:  # fmt: skip
    """Propose what is done with the part. A new proposal takes the place of an older one and its signatures.

    Rework and repair name the checkpoints to inspect again; the failed one is always among them. Use as is and repair
    are concessions and need limits of their own where the checkpoint has a number. Raises Invalid, NotAllowed,
    TransitionNotAllowed.
    """
    require(by, Act.DECIDE_REPORT, at)
    report = locked(number)
    REPORT_STATES.next(report.status.state, "decide")
    chosen = _disposition(disposition)
    instruction = plain_text("The instruction", instruction, longest=600)
    procedure = plain_text("The procedure", procedure, longest=60, needed=False)
    if cause not in set(Report.Cause.values):
        raise Invalid("cause_unknown", "Choose one of the listed causes, or 'not known yet'.")
    keys = _to_reinspect(report, chosen, reinspect or [])
    limits = _concession_limits(report, chosen, concession_lower, concession_upper)
    DispositionProposal.objects.create(
        report=report, disposition=chosen, instruction=instruction, procedure=procedure, reinspect=keys,
        concession_lower=limits[0], concession_upper=limits[1], roles=list(DECIDERS[(report.severity, chosen)]), by=by, at=at,
    )  # fmt: skip
    ReportStatus.objects.filter(report=report).update(disposition=chosen, cause=cause, changed_at=at)
    data = {"disposition": chosen.value, "instruction": instruction, "procedure": procedure, "reinspect": keys}
    remark(report, "disposition_proposed", by=by, at=at, note=instruction, data=data)
    enter(report, Verb.REPORT_DISPOSITION_SIGNED, by=by, at=at, proposed=True, **data)


def _disposition(text: str) -> Disposition:
    try:
        return Disposition(text)
    except ValueError:
        choices = ", ".join(choice.label for choice in Disposition)
        raise Invalid("disposition_unknown", f"Choose one of: {choices}.") from None


def _to_reinspect(report: Report, chosen: Disposition, keys: list[str]) -> list[str]:
    if chosen not in NEEDS_CORRECTION:
        return []
    if report.checkpoint is not None:
        keys = [*keys, report.checkpoint.characteristic.key]
    cards = [counting_answer(report.item_id, key).card for key in keys]
    if not cards:
        raise Invalid("nothing_to_reinspect", "Name at least one checkpoint that shows the correction worked.")
    chosen_keys = {card.key: card.number for card in cards if card.kind != "derived"}
    if not chosen_keys:
        raise Invalid(
            "only_computed_to_reinspect", "A computed checkpoint cannot be measured again; name the ones it is made of."
        )
    return sorted(chosen_keys, key=lambda key: chosen_keys[key])


def _concession_limits(
    report: Report, chosen: Disposition, lower: Decimal | None, upper: Decimal | None
) -> tuple[Decimal | None, Decimal | None]:
    if chosen not in NEEDS_CONCESSION:
        if lower is not None or upper is not None:
            raise Invalid("concession_not_needed", "Only use as is and repair carry limits of a concession; leave them out.")
        return None, None
    if lower is not None and upper is not None and lower > upper:
        raise Invalid("limits_crossed", "The lower limit of the concession is above its upper limit; swap them.")
    value = value_that_failed(report)
    if value is None:
        return lower, upper
    if lower is None and upper is None:
        raise Invalid("concession_without_limits", "Say up to which value this concession holds, such as max 0.36.")
    inside = (lower is None or value >= lower) and (upper is None or value <= upper)
    if chosen is Disposition.USE_AS_IS and not inside:
        raise Invalid("concession_too_narrow", f"The value {value} lies outside the limits of this concession.")
    return lower, upper


@transaction.atomic
def sign_disposition(*, proof: Proof, number: str, role: str, at: datetime) -> None:
    """Sign the proposal in one of the roles it needs; with the last signature the report is decided.

    Nobody signs twice, and nobody decides a report they raised or a result they recorded. Raises NotAllowed
    `own_report`, `signed_already`, Invalid `role_not_needed`, Refused `no_proposal`, Conflict `role_signed`.
    """
    report = locked(number)
    REPORT_STATES.next(report.status.state, "decide")
    proposal = proposal_of(report.pk)
    if proposal is None:
        raise Refused("no_proposal", f"{number} has no proposal yet; propose a disposition first.")
    _may_sign(report, proof, role, proposal.signed, proposal.signer_ids, proposal.missing)
    content: dict[str, Any] = {
        "report": report.number, "disposition": proposal.disposition, "instruction": proposal.instruction,
        "procedure": proposal.procedure, "reinspect": proposal.reinspect, "lower": _text(proposal.concession_lower),
        "upper": _text(proposal.concession_upper),
    }  # fmt: skip
    signature = write_signature(
        proof=proof, act=Act.DECIDE_REPORT, role=Role(role), at=at, subject=f"report {report.number}",
        meaning=f"I agree to {proposal.label} for {report.number} on {serial_of(report)}.", covers=digest(canonical(content)),
    )  # fmt: skip
    DispositionSignature.objects.create(proposal_id=proposal.id, role=role, signature=signature)
    remark(report, "disposition_signed", by=proof.person, at=at, note=Role(role).label, signature=signature)
    last = set(proposal.missing) == {role}
    if last:
        _decide(report, proof.person, at, content)
    verb = Verb.REPORT_DECIDED if last else Verb.REPORT_DISPOSITION_SIGNED
    enter(report, verb, by=proof.person, at=at, role=role, signature=str(signature.uuid), **content)


def _may_sign(
    report: Report, proof: Proof, role: str, signed: dict[str, str], signers: frozenset[int], missing: tuple[str, ...]
) -> None:
    person = proof.person
    if role in signed:
        raise Conflict("role_signed", f"{signed[role]} has signed as {Role(role).label} already.")
    if role not in missing:
        wanted = ", ".join(Role(name).label for name in missing)
        raise Invalid("role_not_needed", f"This disposition needs the signatures of: {wanted}.")
    if person.pk in signers:
        raise NotAllowed("signed_already", "You have signed this disposition in another role; a second person must sign.")
    own = {report.raised_by_id} | ({report.result.person_id} if report.result else set())
    if person.pk in own:
        raise NotAllowed("own_report", "You raised or recorded this yourself; another person decides it.")


def _decide(report: Report, by: Person, at: datetime, content: dict[str, Any]) -> None:
    step(report, "decide", by=by, at=at, note=Disposition(content["disposition"]).label, data=content)
    if Disposition(content["disposition"]) not in NEEDS_CONCESSION:
        return
    Concession.objects.create(
        number=next_paper("CN", at), report=report, item_id=report.item_id, checkpoint_id=report.checkpoint_id,
        lower=content["lower"], upper=content["upper"], statement=content["instruction"][:400], approved_at=at,
    )  # fmt: skip


def _text(value: Decimal | None) -> str | None:
    return None if value is None else str(value)
