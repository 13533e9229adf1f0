"""Containing a nonconformance and deciding what is done: a proposal, and the signatures it needs."""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from django.db import transaction

from qcapp.audit.verbs import Verb
from qcapp.core.errors import Conflict, Invalid, NotAllowed, NotFound, Refused
from qcapp.core.sealing import canonical, digest
from qcapp.inspections.queries import adopted, counting_answer
from qcapp.inspections.queries.standing import inputs_of
from qcapp.lib.plain_text import plain_text, shown
from qcapp.people.roles import Act, Role
from qcapp.people.services import require, write_signature

from ..cards import numbers_in, within
from ..models import Concession, DispositionProposal, DispositionSignature, Report, ReportStatus
from ..queries import ProposalCard, proposal_of
from ..states import DECIDERS, NEEDS_CONCESSION, NEEDS_CORRECTION, REPORT_STATES, Disposition
from .proving import own_work
from .steps import enter, locked, next_paper, remark, serial_of, step

if TYPE_CHECKING:
    from qcapp.inspections.queries import CheckpointView
    from qcapp.people.models import Person
    from qcapp.people.services import Proof
    from qcapp.plans.queries import CheckpointCard

Limit = Decimal | None


@transaction.atomic
def contain(*, by: Person, number: str, note: str, at: datetime) -> None:
    """Say what was done at once so that nothing nonconforming goes on.

    Raises NotAllowed, NotFound, TransitionNotAllowed, Invalid of `plain_text`.
    """
    require(by, Act.CONTAIN_REPORT, at)
    note = plain_text("What was done to contain it", " ".join(note.split()), longest=600)
    report = locked(number)
    step(report, "contain", by=by, at=at, note=note)
    enter(report, Verb.REPORT_CONTAINED, by=by, at=at, note=note)


# ------------------------------------------------------------------------------------------------- proposing


@transaction.atomic
def propose_disposition(
    *,
    by: Person,
    number: str,
    disposition: str,
    instruction: str,
    procedure: str = "",
    reinspect: list[str] | None = None,
    concession_lower: Limit = None,
    concession_upper: Limit = None,
    cause: str = "unknown",
    at: datetime,
) -> None:
    """Propose what is done with the part. A new proposal takes the place of an older one and its signatures.

    Rework and repair name the checkpoints to inspect again; the failed one is always among them. Use as is and repair
    are concessions and need limits of their own where the checkpoint has a number; a side that is left out keeps the
    plan's limit. Raises Invalid, NotAllowed, NotFound, TransitionNotAllowed.
    """
    require(by, Act.DECIDE_REPORT, at)
    report = locked(number)
    REPORT_STATES.next(report.status.state, "decide")
    chosen = _disposition(disposition)
    if cause not in set(Report.Cause.values):
        raise Invalid("cause_unknown", "Choose one of the listed causes, or 'not known yet'.")
    lower, upper = _concession_limits(report, chosen, concession_lower, concession_upper)
    told = {
        "instruction": plain_text("The instruction", " ".join(instruction.split()), longest=600),
        "procedure": plain_text("The procedure", procedure, longest=60, needed=False),
        "reinspect": _to_reinspect(report, reinspect or []) if chosen in NEEDS_CORRECTION else [],
        "roles": list(DECIDERS[report.severity, chosen]),
    }
    limits = {"concession_lower": lower, "concession_upper": upper}
    DispositionProposal.objects.create(report=report, disposition=chosen, by=by, at=at, **told, **limits)
    ReportStatus.objects.filter(report=report).update(cause=cause, changed_at=at)
    content = _content(report, proposal_of(report.pk))
    remark(report, "disposition_proposed", by=by, at=at, note=content["instruction"], data=content)
    enter(report, Verb.REPORT_DISPOSITION_PROPOSED, by=by, at=at, cause=cause, **content)


def _disposition(text: str) -> Disposition:
    try:
        return Disposition(text)
    except ValueError:
        choices = ", ".join(choice.label for choice in Disposition)
        raise Invalid("disposition_unknown", f"Choose one of: {choices}.") from None


def _to_reinspect(report: Report, keys: list[str]) -> list[str]:
    """Keys of the checkpoints to inspect again, by number: computed ones stand for what they are computed from."""
    cards = {card.key: card for card in adopted(report.item_id).checkpoints}
    own = [report.checkpoint.characteristic.key] if report.checkpoint else []
    unknown = [key for key in keys if key not in cards]
    if unknown:
        name = shown(unknown[0])
        raise NotFound("checkpoint_unknown", f"The plan of this unit has no checkpoint {name}.", checkpoint=name)
    chosen = {key for wanted in (*keys, *own) if wanted in cards for key in _measured(wanted, cards)}
    if not chosen:
        raise Invalid("nothing_to_reinspect", "Name at least one checkpoint that shows the correction worked.")
    return sorted(chosen, key=lambda key: cards[key].number)


def _measured(key: str, cards: dict[str, CheckpointCard]) -> set[str]:
    """The checkpoint itself, or for a computed one those that people answer and it is computed from."""
    if cards[key].kind != "derived":
        return {key}
    return {one for read in inputs_of(cards[key]) if read in cards for one in _measured(read, cards)}


def _concession_limits(report: Report, chosen: Disposition, lower: Limit, upper: Limit) -> tuple[Limit, Limit]:
    given = lower is not None or upper is not None
    if chosen not in NEEDS_CONCESSION:
        if given:
            message = "Only use as is and repair carry limits of a concession; leave them out."
            raise Invalid("concession_not_needed", message)
        return None, None
    if lower is not None and upper is not None and lower > upper:
        raise Invalid("limits_crossed", "The lower limit of the concession is above its upper limit; swap them.")
    numbers = _numbers_at_issue(report)
    if not numbers:
        if given:
            raise Invalid("concession_without_number", "There is no number to limit here; leave the limits out.")
        return None, None
    if not given:
        raise Invalid("concession_without_limits", "Say up to which value this concession holds, such as max 0.36.")
    lower, upper = _sides_from_plan(report, lower, upper)
    if chosen is Disposition.USE_AS_IS and not within(numbers, lower, upper):
        values = ", ".join(map(str, numbers))
        raise Invalid("concession_too_narrow", f"{values} lies outside the limits of this concession; widen them.")
    return lower, upper


def _counting(report: Report) -> CheckpointView | None:
    """The checkpoint that the report is about as it stands; None for a report about none, or none of the plan now."""
    if report.checkpoint is None:
        return None
    try:
        return counting_answer(report.item_id, report.checkpoint.characteristic.key)
    except NotFound:
        return None


def _numbers_at_issue(report: Report) -> list[Decimal]:
    """The numbers that a concession has to cover: of the answer that counts, or of the first one found."""
    view = _counting(report)
    counts = view.counts if view else None
    if counts is not None and not counts.passes:
        return numbers_in(counts.answer)
    return numbers_in(report.result_answer)


def _sides_from_plan(report: Report, lower: Limit, upper: Limit) -> tuple[Limit, Limit]:
    """Both limits: a side that the concession leaves out stays the plan's. A natural boundary needs none."""
    view = _counting(report)
    band = getattr(view.card.spec, "band", None) if view else None
    if band is None:
        return lower, upper
    if lower is None and "lower" not in band.natural:
        lower = band.lower
    if upper is None and "upper" not in band.natural:
        upper = band.upper
    return lower, upper


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
    content = _content(report, proposal)
    signature = write_signature(
        proof=proof,
        act=Act.DECIDE_REPORT,
        role=Role(role),
        meaning=f"I agree to {proposal.label} for {report.number} on {serial_of(report)}.",
        subject=f"report {report.number}",
        covers=digest(canonical(content)),
        at=at,
    )
    DispositionSignature.objects.create(proposal_id=proposal.id, role=role, signature=signature)
    remark(report, "disposition_signed", by=proof.person, at=at, note=Role(role).label, signature=signature)
    decided = set(proposal.missing) == {role}
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
    }


def _decide(report: Report, proposal: ProposalCard, by: Person, at: datetime, content: dict[str, Any]) -> None:
    step(report, "decide", by=by, at=at, note=proposal.label, data=content)
    ReportStatus.objects.filter(report=report).update(decided=proposal.id)
    if proposal.disposition in NEEDS_CONCESSION:
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
        )


def _text(value: Limit) -> str | None:
    return None if value is None else str(value)
