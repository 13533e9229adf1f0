"""The writers of inspection plans: review, the engineer's approval, release, withdrawal.

How drafts begin is in `beginning`, how they are edited in `editing`; the locks are in `together`.
"""

from __future__ import annotations

from datetime import date, datetime
from typing import TYPE_CHECKING
from uuid import UUID

from django.db import transaction

from qcapp.audit import services as audit
from qcapp.audit.verbs import Verb
from qcapp.core.errors import Conflict, Invalid, NotAllowed, Refused
from qcapp.lib.plain_text import plain_text
from qcapp.lib.site_days import site_day
from qcapp.people.roles import Act
from qcapp.people.services import require

from ..cards import RevisionCard
from ..models import Effectivity, RevisionStatus
from ..queries import (
    approval_of,
    checkpoints_of,
    content_digest,
    differences,
    needs_engineer,
    previous_of,
    revision_by_id,
    verify_content,
)
from ..queries.drafts import writers_of
from ..states import REVISION_STATES, RevisionState
from .beginning import discard, export_cells, export_plan, import_plan, read_file, revise
from .publishing import complete_plan, publish
from .together import add_event, locked, sign

if TYPE_CHECKING:
    from qcapp.people.models import Person, Signature
    from qcapp.people.services import Proof

__all__ = [
    "approve", "discard", "export_cells", "export_plan", "import_plan", "read_file", "release",
    "return_to_draft", "revise", "send_for_review", "withdraw",
]  # fmt: skip


# ----------------------------------------------------------------------------------------------------- review


def send_for_review(*, by: Person, revision_uuid: UUID, at: datetime) -> RevisionCard:
    """The draft, in review.

    Raises NotFound `revision_unknown`, TransitionNotAllowed, Refused `draft_unfinished`, `content_altered`.
    """
    require(by, Act.SEND_PLAN_FOR_REVIEW, at)
    with transaction.atomic():
        card = locked(revision_uuid)
        state = REVISION_STATES.next(card.state, "send_for_review")
        complete_plan(card)
        found = verify_content(card.id)
        add_event(card.id, "send_for_review", state, by=by, at=at, content=found)
        audit.record(
            verb=Verb.PLAN_SENT_FOR_REVIEW,
            actor=by.uuid,
            subject=card.subject,
            at=at,
            payload={"content": found},
        )
    return revision_by_id(card.id)


def return_to_draft(*, by: Person, revision_uuid: UUID, reason: str, at: datetime) -> RevisionCard:
    """The revision, back in draft; approvals given before lapse.

    Raises NotFound `revision_unknown`, TransitionNotAllowed, Refused `content_altered`, Invalid with a code
    of `plain_text`.
    """
    require(by, Act.SEND_PLAN_FOR_REVIEW, at)
    reason = plain_text("The reason", reason, longest=300)
    with transaction.atomic():
        card = locked(revision_uuid)
        state = REVISION_STATES.next(card.state, "return")
        found = verify_content(card.id)
        add_event(card.id, "return", state, by=by, at=at, content=found, reason=reason)
        payload = {"reason": reason, "content": found}
        audit.record(verb=Verb.PLAN_RETURNED, actor=by.uuid, subject=card.subject, at=at, payload=payload)
    return revision_by_id(card.id)


def approve(*, proof: Proof, revision_uuid: UUID, at: datetime) -> RevisionCard:
    """The engineer's signature under limits and methods of critical checkpoints that are new or changed.

    And under the choice, at any checkpoint, that the mean of the readings counts instead of each of them.

    Raises NotFound `revision_unknown`, TransitionNotAllowed, Refused `content_altered`,
    `nothing_to_approve`, Conflict `approved_already`.
    """
    require(proof.person, Act.APPROVE_PLAN, at)
    with transaction.atomic():
        card = locked(revision_uuid)
        state = REVISION_STATES.next(card.state, "approve")
        found = verify_content(card.id)
        numbers = needs_engineer(card.id)
        _check_approvable(card, numbers)
        meaning = _approved(numbers, [one.number for one in checkpoints_of(card.id) if one.mean])
        signature = sign(proof, Act.APPROVE_PLAN, meaning, card, found, at)
        add_event(card.id, "approve", state, by=proof.person, at=at, content=found, signature=signature)
        payload = {"checkpoints": numbers, "content": found, "meaning": meaning}
        audit.record(verb=Verb.PLAN_APPROVED, actor=proof.person.uuid, subject=card.subject, at=at, payload=payload)
    return revision_by_id(card.id)


def _approved(numbers: list[int], means: list[int]) -> str:
    """The signature's meaning. Where a mean counts it says so: nobody signs for that without reading it."""
    chosen = [number for number in numbers if number in means]
    other = [number for number in numbers if number not in means]
    room = 80 if chosen and other else 180
    said = [f"limits and methods of the critical checkpoints {_some(other, room)}"] if other else []
    said += [f"that the mean of the readings counts at {_some(chosen, room)}"] if chosen else []
    return f"I approve {', and '.join(said)}."


def _check_approvable(card: RevisionCard, numbers: list[int]) -> None:
    if not numbers:
        message = f"Revision {card.letter} changes no limit or method of a critical checkpoint; release it."
        raise Refused("nothing_to_approve", message)
    if approval_of(card.id):
        raise Conflict("approved_already", f"Revision {card.letter} is approved already.")


def _some(numbers: list[int], room: int = 180) -> str:
    """The numbers, shortened to what a signature's meaning has room for."""
    text = ", ".join(map(str, numbers))
    return text if len(text) <= room else f"{text[:room].rpartition(',')[0]} and more, {len(numbers)} in all"


# ---------------------------------------------------------------------------------------- release, withdrawal


def release(
    *,
    proof: Proof,
    revision_uuid: UUID,
    at: datetime,
    from_day: date | None = None,
    from_number: int | None = None,
) -> RevisionCard:
    """The revision, released; the one released before is superseded in the same transaction.

    Units opened before `from_day`, or with a running number below `from_number`, are still inspected to the one
    before. Raises Invalid `effective_in_the_past`, `effective_without_previous`,
    NotFound `revision_unknown`, TransitionNotAllowed, NotAllowed `released_by_author`,
    `one_person_twice`, Refused `engineer_missing`, `change_note_missing`, `content_altered`, `draft_unfinished`,
    Conflict `numbers_given_meanwhile`.
    """
    require(proof.person, Act.RELEASE_PLAN, at)
    with transaction.atomic():
        card = locked(revision_uuid)
        state = REVISION_STATES.next(card.state, "release")
        plan = complete_plan(card)
        found = verify_content(card.id)
        _check_signers(card, proof)
        previous = previous_of(card.id)
        _check_note(card, previous)
        changes = differences(previous.id if previous else None, card.id)
        effective = _effective(card, previous, from_day, from_number, at)
        publish(card, plan, found)
        meaning = f"I release revision {card.letter} for inspection{effective}."
        signature = sign(proof, Act.RELEASE_PLAN, meaning, card, found, at)
        superseded = _supersede(card.family_id, by=proof.person, signature=signature, at=at)
        add_event(card.id, "release", state, by=proof.person, at=at, content=found, signature=signature)
        payload = {
            "content": found, "supersedes": superseded,
            "compared_with": previous.letter if previous else None,
            "differences": [change.to_json() for change in changes],
        } | ({"effective": effective.strip()} if effective else {})  # fmt: skip
        audit.anchor_on_commit(at=at)
        audit.record(verb=Verb.PLAN_RELEASED, actor=proof.person.uuid, subject=card.subject, at=at, payload=payload)
    return revision_by_id(card.id)


def _check_note(card: RevisionCard, previous: RevisionCard | None) -> None:
    if previous is not None and not card.change_note:
        message = (
            f"Revision {card.letter} has no note of what it changes against {previous.letter}; return it, discard the "
            "draft and import it again with one."
        )
        raise Refused("change_note_missing", message)


def _effective(
    card: RevisionCard, previous: RevisionCard | None, from_day: date | None, from_number: int | None, at: datetime
) -> str:
    """Write down from when on the revision is effective, and say it in words; empty for at once."""
    if from_day is None and from_number is None:
        return ""
    if from_day is not None and from_day < site_day(at):
        raise Invalid("effective_in_the_past", "A revision is effective from today or a later day.", field="from_day")
    if previous is None:
        message = f"Revision {card.letter} is the first one; it is effective at once."
        raise Invalid("effective_without_previous", message, field="from_day")
    Effectivity.objects.create(revision_id=card.id, from_day=from_day, from_number=from_number)
    day = f" from {from_day.isoformat()}" if from_day else ""
    return day + (f" from running number {from_number}" if from_number is not None else "")


def _check_signers(card: RevisionCard, proof: Proof) -> None:
    if proof.person.pk == card.author_id:
        message = f"{card.author_name} wrote revision {card.letter}; another person has to release it."
        raise NotAllowed("released_by_author", message)
    if proof.person.pk in writers_of(card.id):
        message = f"You changed the draft of revision {card.letter}; another person has to release it."
        raise NotAllowed("released_by_author", message)
    numbers, approval = needs_engineer(card.id), approval_of(card.id)
    if numbers and approval is None:
        message = (
            f"The engineer has to approve checkpoints {_some(numbers)} first: limits or method of what is critical, "
            "or that a mean counts, are new or changed."
        )
        raise Refused("engineer_missing", message, numbers=numbers)
    if approval and approval.by_id == proof.person.pk:
        message = "Who approved as engineer cannot release as well; one person never signs twice for one act."
        raise NotAllowed("one_person_twice", message)


def _supersede(family_id: int, *, by: Person, signature: Signature, at: datetime) -> str | None:
    """Supersede what the family has released until now, and give its letter."""
    status = RevisionStatus.objects.filter(family=family_id, state=RevisionState.RELEASED).first()
    if status is None:
        return None
    state = REVISION_STATES.next(status.state, "supersede")
    found = content_digest(status.revision_id)
    add_event(status.revision_id, "supersede", state, by=by, at=at, content=found, signature=signature)
    return status.revision.letter


def withdraw(*, proof: Proof, revision_uuid: UUID, reason: str, at: datetime) -> RevisionCard:
    """The revision, withdrawn: no unit is opened with it from now on.

    Raises NotFound `revision_unknown`, TransitionNotAllowed, Invalid with a code of `plain_text`.
    """
    require(proof.person, Act.RELEASE_PLAN, at)
    reason = plain_text("The reason", reason, longest=300)
    with transaction.atomic():
        card = locked(revision_uuid)
        state = REVISION_STATES.next(card.state, "withdraw")
        found = content_digest(card.id)
        signature = sign(proof, Act.RELEASE_PLAN, f"I withdraw revision {card.letter}.", card, found, at)
        add_event(
            card.id,
            "withdraw",
            state,
            by=proof.person,
            at=at,
            content=found,
            reason=reason,
            signature=signature,
        )
        payload = {"reason": reason, "content": found}
        audit.anchor_on_commit(at=at)
        audit.record(verb=Verb.PLAN_WITHDRAWN, actor=proof.person.uuid, subject=card.subject, at=at, payload=payload)
    return revision_by_id(card.id)
