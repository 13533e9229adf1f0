"""Containing a nonconformance and deciding what is done: a proposal, and the signatures it needs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date, datetime
from typing import TYPE_CHECKING, Any, TypedDict, Unpack

from django.db import transaction

from qcapp.audit.verbs import Verb
from qcapp.core.errors import Conflict, Invalid, NotAllowed, Refused
from qcapp.core.sealing import canonical, digest
from qcapp.lib.plain_text import plain_text
from qcapp.people.roles import Act, Role
from qcapp.people.services import require, write_signature
from qcapp.production.queries import units_of_items

from ..cards import ConcessionCard, PermitCard
from ..models import (
    Concession,
    CorrectionStep,
    CustomerApproval,
    DispositionPart,
    DispositionProposal,
    DispositionSignature,
    Report,
    ReportStatus,
)
from ..queries import ProposalCard, proposal_of
from ..queries.details import deciders_of, item_ids_of, quantity_of, serials_of, steps_of
from ..signals import approval_asked
from ..states import LEADING, NEEDS_CONCESSION, NEEDS_CORRECTION, REPORT_STATES, Disposition, Method
from .conceding import Conceded, Limit, conceded, usable_permit, use_concession
from .disturbing import left_out, to_reinspect
from .permits import use_permit
from .proving import own_work
from .steps import enter, locked, named, next_paper, remark, step

if TYPE_CHECKING:
    from qcapp.people.models import Person
    from qcapp.people.services import Proof

MOST_ATTEMPTS = 9


@transaction.atomic
def contain(*, by: Person, number: str, note: str, good_needed: int | None = None, at: datetime) -> None:
    """Say what was done at once so that nothing nonconforming goes on.

    With `good_needed` every unit from now on is among the suspects until so many in a row are clearly good. Raises
    NotAllowed, NotFound, TransitionNotAllowed, Invalid `good_needed_wrong` or of `plain_text`.
    """
    require(by, Act.CONTAIN_REPORT, at)
    note = plain_text("What was done to contain it", " ".join(note.split()), longest=600)
    if good_needed is not None and not 1 <= good_needed <= 999:
        raise Invalid("good_needed_wrong", "From 1 to 999 good units in a row end the containment; leave it out else.")
    report = locked(number)
    told = {} if good_needed is None else {"good_needed": good_needed}
    step(report, "contain", by=by, at=at, note=note, data=told)
    enter(report, Verb.REPORT_CONTAINED, by=by, at=at, note=note, **told)


# ------------------------------------------------------------------------------------------------- proposing


class Asked(TypedDict, total=False):
    """What a proposal says besides its instruction; every entry may be left out."""

    procedure: str
    reinspect: Sequence[str]  # keys of the checkpoints to inspect again
    concession_lower: Limit
    concession_upper: Limit
    ends_on: date | None  # last day of the concession
    units_at_most: int | None  # how many units may be accepted under it, those of the report among them
    permit: str  # number of a deviation permit, or of a concession for several units, that allows it already
    steps: Sequence[str]  # to confirm on the floor; without any the instruction is the one step
    method: str  # re_welding or cold_straightening
    max_attempts: int | None
    left_out_reason: str  # why checkpoints that the method may have disturbed are not inspected again
    parts: Mapping[str, int]  # a lot split by quantity, in place of one disposition
    serials: Sequence[str]  # every unit by name, where several critical ones are conceded


@transaction.atomic
def propose_disposition(
    *,
    by: Person,
    number: str,
    disposition: str = "",
    instruction: str,
    cause: str = "unknown",
    at: datetime,
    **asked: Unpack[Asked],
) -> None:
    """Propose what is done with the part. A new proposal takes the place of an older one and its signatures.

    Rework and repair name the checkpoints to inspect again; the failed one is always among them. Use as is and repair
    are concessions and need limits of their own where the checkpoint has a number; a side that is left out keeps the
    plan's limit. Raises Invalid, NotAllowed, NotFound, Refused of `usable_permit`, TransitionNotAllowed.
    """
    require(by, Act.DECIDE_REPORT, at)
    report = locked(number)
    REPORT_STATES.next(report.status.state, "decide")
    split = checked_parts(report, asked.get("parts") or {})
    chosen = leading(split) if split else _disposition(disposition)
    if cause not in set(Report.Cause.values):
        raise Invalid("cause_unknown", "Choose one of the listed causes, or 'not known yet'.")
    told = _conceded(report, chosen, asked, at) | _checked(report, chosen, instruction, asked)
    _check_each_named(report, chosen, asked.get("serials") or ())
    permitted = told["permit_id"] is not None or told["under"] is not None
    told["roles"] = _roles(report, split or {chosen: 1}, told["method"], permitted)
    steps = told.pop("steps")
    row = DispositionProposal.objects.create(report=report, disposition=chosen, by=by, at=at, **told)
    _write_beside(row, steps, split)
    ReportStatus.objects.filter(report=report).update(cause=cause, changed_at=at)
    content = _content(report, proposal_of(report.pk))
    remark(report, "disposition_proposed", by=by, at=at, note=content["instruction"], data=content)
    enter(report, Verb.REPORT_DISPOSITION_PROPOSED, by=by, at=at, cause=cause, **content)


def _conceded(report: Report, chosen: Disposition, asked: Asked, at: datetime) -> dict[str, Any]:
    """The columns of the concession, from what is asked or from the permit that allows it already."""
    limits = asked.get("concession_lower"), asked.get("concession_upper")
    wanted = Conceded(*limits, asked.get("ends_on"), asked.get("permit", "").strip(), asked.get("units_at_most"))
    card = usable_permit(report, chosen, wanted, at)
    if card:
        wanted = replace(wanted, lower=card.lower, upper=card.upper, ends_on=card.ends_on, units_at_most=None)
    lower, upper = conceded(report, chosen, wanted, at)
    under = Concession.objects.get(number=card.number) if isinstance(card, ConcessionCard) else None
    return {
        "concession_lower": lower,
        "concession_upper": upper,
        "ends_on": wanted.ends_on,
        "units_at_most": wanted.units_at_most,
        "customer_asked": chosen in NEEDS_CONCESSION and order_asks(report),
        "permit_id": card.id if isinstance(card, PermitCard) else None,
        "under": under,
    }


def order_asks(report: Report) -> bool:
    """Whether an order that one of the units is made for asks for the customer's approval of concessions."""
    orders = {unit.order_number for unit in units_of_items(item_ids_of(report)).values() if unit.order_number}
    answers = approval_asked.send(sender=None, orders=orders) if orders else []
    return any(asked for _, asked in answers)


def _checked(report: Report, chosen: Disposition, instruction: str, asked: Asked) -> dict[str, Any]:
    """The texts and the correction of a proposal, read and checked; a disposition without correction has none."""
    instruction = plain_text("The instruction", " ".join(instruction.split()), longest=600)
    procedure = plain_text("The procedure", asked.get("procedure", ""), longest=60, needed=False)
    told: dict[str, Any] = {"instruction": instruction, "procedure": procedure, "method": "", "steps": []}
    if chosen not in NEEDS_CORRECTION:
        return told | {"reinspect": []}
    keys = to_reinspect(report, list(asked.get("reinspect") or ()))
    reason = plain_text("The reason", asked.get("left_out_reason", ""), longest=300, needed=False)
    method, attempts = asked.get("method", ""), asked.get("max_attempts")
    _check_method(procedure, method, attempts)
    _check_left_out(report, method, keys, reason)
    lines = [" ".join(step.split()) for step in asked.get("steps") or ()]
    steps = [plain_text("A step", line, longest=300) for line in lines if line]
    told |= {"reinspect": keys, "method": method, "left_out_reason": reason}
    told["max_attempts"] = attempts if method else None
    told["steps"] = steps or [instruction if len(instruction) <= 300 else instruction[:299].rstrip() + "…"]
    return told


def _check_method(procedure: str, method: str, attempts: int | None) -> None:
    """Re-welding and cold straightening name the procedure and how often they may be tried."""
    if not method:
        return
    if method not in set(Method):
        choices = ", ".join(one.label for one in Method)
        raise Invalid("method_unknown", f"Choose one of: {choices}; or none.")
    label = Method(method).label.capitalize()
    if not procedure:
        raise Invalid("procedure_needed", f"{label} follows the welding coordinator's procedure; name it.")
    if attempts is None or not 1 <= attempts <= MOST_ATTEMPTS:
        message = f"{label} may not be repeated at will: say how often at most, from 1 to {MOST_ATTEMPTS}."
        raise Invalid("attempts_needed", message)


def _check_left_out(report: Report, method: str, keys: list[str], reason: str) -> None:
    """What the method may have disturbed is inspected again, or a reason is given. Raises Invalid."""
    missing = left_out(report, method, keys)
    if missing and not reason:
        label = Method(method).label.capitalize()
        names = ", ".join(f"{card.number} {card.title}" for card in missing)
        message = f"{label} may have disturbed these as well: {names}. Inspect them again, or say why not."
        raise Invalid("disturbed_left_out", message, left_out=[card.key for card in missing])


def _check_each_named(report: Report, chosen: Disposition, serials: Sequence[str]) -> None:
    """Critical units are conceded one by one: each is named. Raises Invalid `name_each_unit`."""
    about = serials_of(item_ids_of(report))
    if chosen in NEEDS_CONCESSION and report.severity == "critical" and len(about) > 1 and set(serials) != set(about):
        names = ", ".join(about)
        raise Invalid("name_each_unit", f"Critical units are conceded one by one; name each of: {names}.")


def _roles(report: Report, parts: Mapping[Disposition, int], method: str, permitted: bool) -> list[str]:
    """Whose signatures the proposal needs: of every part, and the welding coordinator's for their procedures.

    What a signed permit or an earlier concession allows already needs the quality manager alone.
    """
    if permitted:
        return ["quality_manager"]
    wanted = {role for part in parts for role in deciders_of(report.severity, part)}
    wanted |= {"welding_coordinator"} if method else set()
    return [role.value for role in Role if role in wanted]


def _write_beside(row: DispositionProposal, steps: list[str], split: Mapping[Disposition, int]) -> None:
    CorrectionStep.objects.bulk_create(
        CorrectionStep(proposal=row, position=place, text=text) for place, text in enumerate(steps, start=1)
    )
    DispositionPart.objects.bulk_create(
        DispositionPart(proposal=row, disposition=part, quantity=count) for part, count in split.items()
    )


def _disposition(text: str) -> Disposition:
    try:
        return Disposition(text)
    except ValueError:
        choices = ", ".join(choice.label for choice in Disposition)
        raise Invalid("disposition_unknown", f"Choose one of: {choices}.") from None


def checked_parts(report: Report, parts: Mapping[str, int]) -> dict[Disposition, int]:
    """The split of a lot; its sum is the number of pieces the report is about.

    Raises Invalid `not_a_lot`, `part_not_positive`, `sum_differs`, `disposition_unknown`.
    """
    split = {_disposition(name): count for name, count in parts.items()}
    if not split:
        return {}
    whole = quantity_of(report)
    if whole is None:
        raise Invalid("not_a_lot", "Only a lot is split by quantity; a unit is decided as a whole.")
    if any(count < 1 for count in split.values()):
        raise Invalid("part_not_positive", "Every part of the lot is one piece or more; leave the others out.")
    if sum(split.values()) != whole:
        message = f"The parts add up to {sum(split.values())}; the report is about {whole}. Correct the quantities."
        raise Invalid("sum_differs", message, sum=sum(split.values()), whole=whole)
    return split


def leading(split: Mapping[Disposition, int]) -> Disposition:
    """The part of a split that leads the report: what has to be corrected comes first."""
    return next(one for one in LEADING if one in split)


@transaction.atomic
def record_customer_approval(*, by: Person, number: str, reference: str, at: datetime) -> None:
    """What the customer wrote about the proposal that waits; the order asks for it before the last signature.

    Raises NotAllowed, NotFound, Refused `no_proposal`, `customer_not_asked`, Conflict `customer_approved`, Invalid of
    `plain_text`.
    """
    require(by, Act.RECORD_CUSTOMER_APPROVAL, at)
    reference = plain_text("The customer's approval", reference, longest=120)
    report = locked(number)
    proposal = _proposal(report, None)
    if not proposal.customer_asked:
        raise Refused("customer_not_asked", "The proposal does not ask for the customer's approval.")
    if proposal.customer_approval:
        raise Conflict("customer_approved", f"The customer's approval is recorded: {proposal.customer_approval}.")
    CustomerApproval.objects.create(proposal_id=proposal.id, reference=reference, by=by, at=at)
    remark(report, "customer_approved", by=by, at=at, note=reference)
    enter(report, Verb.REPORT_CUSTOMER_APPROVED, by=by, at=at, reference=reference)


# --------------------------------------------------------------------------------------------------- signing


@transaction.atomic
def sign_disposition(*, proof: Proof, number: str, role: str, proposal_id: int | None = None, at: datetime) -> None:
    """Sign the proposal in one of the roles it needs; with the last signature the report is decided.

    Nobody signs twice, and nobody decides a report they raised or a result they recorded. With `proposal_id` only the
    proposal that was looked at is signed. Raises NotAllowed `own_report`, `signed_already`, `not_permitted`; Invalid
    `role_not_needed`; Refused `no_proposal`; Conflict `role_signed`, `proposal_changed`; TransitionNotAllowed.
    """
    require(proof.person, Act.DECIDE_REPORT, at)
    report = locked(number)
    REPORT_STATES.next(report.status.state, "decide")
    proposal = _proposal(report, proposal_id)
    _check_signatory(report, proof.person, role, proposal)
    decided = set(proposal.missing) == {role}
    if decided and proposal.customer_asked and not proposal.customer_approval:
        message = "The order asks for the customer's approval: record it, then give the last signature."
        raise Refused("customer_approval_missing", message)
    content = _content(report, proposal)
    signature = write_signature(
        proof=proof,
        act=Act.DECIDE_REPORT,
        role=Role(role),
        meaning=f"I agree to {proposal.label} for {report.number} on {named(report)}.",
        subject=f"report {report.number}",
        covers=digest(canonical(content)),
        at=at,
    )
    DispositionSignature.objects.create(proposal_id=proposal.id, role=role, signature=signature)
    remark(report, "disposition_signed", by=proof.person, at=at, note=Role(role).label, signature=signature)
    if decided:
        _decide(report, proposal, proof.person, at, content)
    verb = Verb.REPORT_DECIDED if decided else Verb.REPORT_DISPOSITION_SIGNED
    enter(report, verb, by=proof.person, at=at, role=role, signature=str(signature.uuid), **content)


def _proposal(report: Report, proposal_id: int | None) -> ProposalCard:
    """The proposal that waits for signatures. Raises Refused `no_proposal`, Conflict `proposal_changed`."""
    proposal = proposal_of(report.pk)
    if proposal is None or not proposal.missing:
        raise Refused("no_proposal", f"{report.number} has no proposal yet; propose a disposition first.")
    if proposal_id not in (None, proposal.id):
        raise Conflict("proposal_changed", "Another disposition was proposed meanwhile. Read it, then sign.")
    return proposal


def _check_signatory(report: Report, person: Person, role: str, proposal: ProposalCard) -> None:
    if role in proposal.signed:
        raise Conflict("role_signed", f"{proposal.signed[role]} has signed as {Role(role).label} already.")
    if role not in proposal.missing:
        wanted = ", ".join(Role(name).label for name in proposal.missing)
        raise Invalid("role_not_needed", f"This disposition needs the signatures of: {wanted}.")
    if person.pk in proposal.signer_ids:
        message = "You have signed this disposition in another role; a second person must sign."
        raise NotAllowed("signed_already", message)
    if person.pk in own_work(report):
        raise NotAllowed("own_report", "You raised or recorded this yourself; another person decides it.")


def _content(report: Report, proposal: ProposalCard | None) -> dict[str, Any]:
    """What a signature under the proposal covers."""
    if proposal is None:
        return {}
    return {
        "report": report.number,
        "disposition": proposal.disposition,
        "instruction": proposal.instruction,
        "procedure": proposal.procedure,
        "reinspect": proposal.reinspect,
        "lower": _text(proposal.concession_lower),
        "upper": _text(proposal.concession_upper),
        **_further(proposal),
    }


def _further(proposal: ProposalCard) -> dict[str, Any]:
    """What else the proposal says; only what is filled in."""
    told = {
        "method": proposal.method,
        "max_attempts": proposal.max_attempts,
        "left_out_reason": proposal.left_out_reason,
        "steps": [step.text for step in steps_of(proposal.id, 0)],
        "parts": {part.disposition: part.quantity for part in proposal.parts},
        "ends_on": None if proposal.ends_on is None else proposal.ends_on.isoformat(),
        "units_at_most": proposal.units_at_most,
        "permit": proposal.permit_number,
        "customer_asked": proposal.customer_asked,
    }
    return {name: value for name, value in told.items() if value}


def _decide(report: Report, proposal: ProposalCard, by: Person, at: datetime, content: dict[str, Any]) -> None:
    step(report, "decide", by=by, at=at, note=proposal.label, data=content)
    ReportStatus.objects.filter(report=report).update(decided=proposal.id)
    if proposal.permit_number.startswith("CN-"):
        use_concession(report, proposal.permit_number, at)
    elif proposal.permit_number:
        use_permit(report, proposal.permit_number, at)
    if proposal.disposition in NEEDS_CONCESSION or any(one.disposition in NEEDS_CONCESSION for one in proposal.parts):
        Concession.objects.create(
            number=next_paper("CN", at),
            report=report,
            proposal_id=proposal.id,
            item_id=report.item_id,
            checkpoint_id=report.checkpoint_id,
            lower=proposal.concession_lower,
            upper=proposal.concession_upper,
            statement=proposal.instruction[:400],
            approved_at=at,
            ends_on=proposal.ends_on,
            units_at_most=proposal.units_at_most,
            customer_approval=proposal.customer_approval,
        )


def _text(value: Limit) -> str | None:
    return None if value is None else str(value)
