"""The writers of inspection plans: import, review, the engineer's approval, release, withdrawal.

Lock order: the revision's row, then the states of the family's revisions by key, then the head of the audit
chain. The revision's row is locked before the event that freezes it is written, or a checkpoint slips in
beside it.
"""

from __future__ import annotations

import re
from datetime import datetime
from typing import TYPE_CHECKING
from uuid import UUID

from django.db import IntegrityError, transaction

from qcapp.audit import services as audit
from qcapp.audit.verbs import Verb
from qcapp.core.errors import Conflict, Invalid, NotAllowed, Problems, Refused
from qcapp.core.sealing import canonical, digest
from qcapp.gauges.queries import kind_names
from qcapp.lib.plain_text import plain_text, shown
from qcapp.people.roles import Act
from qcapp.people.services import require, write_signature
from qcapp.production.queries import FamilyCard, family_by_code

from .cards import RevisionCard
from .models import Characteristic, Checkpoint, Document, PlanRevision, RevisionEvent, RevisionStatus, Stage
from .plan_export import write_plan
from .plan_rows import PlanDocument
from .plan_rules import Numbering, ReadPlan, read_plan
from .queries import (
    approval_of,
    content_digest,
    differences,
    needs_engineer,
    next_letter,
    numbers_given,
    previous_of,
    read_checkpoints,
    revision_by_id,
    revision_card,
    stages_of,
    verify_content,
)
from .states import REVISION_STATES, RevisionState

if TYPE_CHECKING:
    from qcapp.people.models import Person, Signature
    from qcapp.people.services import Proof

_LETTER = re.compile(r"[A-Z]{1,2}")
IMPORT = "import"  # the event that begins a revision; every other event is a move of REVISION_STATES


# --------------------------------------------------------------------------------------------- import, export


def import_plan(
    *,
    by: Person,
    family_code: str,
    letter: str,
    text_or_bytes: str | bytes,
    filename: str,
    at: datetime,
    change_note: str = "",
) -> RevisionCard:
    """A draft revision from a plan file (docs/plan-file.md).

    Nothing is written when anything in the file is wrong.

    Raises Problems `plan_file_has_errors` with every finding, Invalid `letter_unreadable` or a code of
    `plain_text`, Conflict `letter_taken`, NotFound `family_unknown`.
    """
    require(by, Act.IMPORT_PLAN, at)
    family = family_by_code(family_code)
    if not _LETTER.fullmatch(letter):
        raise Invalid("letter_unreadable", f"A revision is one or two capitals, such as D; “{shown(letter)}” is not.")
    filename = shown(filename, 120)
    change_note = plain_text("The change note", change_note, longest=300, needed=False)
    plan = _read_or_refuse(family, text_or_bytes)
    with transaction.atomic():
        revision = _insert(by, family, letter, change_note, plan, at)
        found = content_digest(revision.pk)
        _add_event(revision.pk, IMPORT, RevisionState.DRAFT, by=by, at=at, content=found, reason=filename)
        payload = {
            "file": filename, "checkpoints": len(plan.checkpoints), "change_note": change_note,
            "content": found,
        }  # fmt: skip
        subject = f"plan {family.code} {letter}"
        audit.record(verb=Verb.PLAN_IMPORTED, actor=by.uuid, subject=subject, at=at, payload=payload)
    return revision_by_id(revision.pk)


def _read_or_refuse(family: FamilyCard, source: str | bytes) -> ReadPlan:
    plan = read_plan(source, gauge_kinds=kind_names(), numbering=Numbering(numbers_given(family.id)))
    if plan.findings:
        count = len(plan.findings)
        message = f"The plan file has {count} {'error' if count == 1 else 'errors'}; nothing was imported."
        raise Problems("plan_file_has_errors", message, [finding.to_json() for finding in plan.findings])
    return plan


def _insert(
    by: Person, family: FamilyCard, letter: str, change_note: str, plan: ReadPlan, at: datetime
) -> PlanRevision:
    try:
        with transaction.atomic():
            revision = PlanRevision.objects.create(
                family_id=family.id, letter=letter, change_note=change_note, author_id=by.pk, created_at=at
            )
    except IntegrityError:
        free = next_letter(family.code)
        message = f"{family.code} has a revision {letter} already; import this one as {free}."
        raise Conflict("letter_taken", message, letter=letter, free=free) from None
    RevisionStatus.objects.create(revision=revision, family_id=family.id, state=RevisionState.DRAFT)
    _insert_content(revision, family, plan)
    return revision


def _insert_content(revision: PlanRevision, family: FamilyCard, plan: ReadPlan) -> None:
    stages = Stage.objects.bulk_create(
        Stage(
            revision=revision,
            number=s.number,
            name=s.name,
            hold_point=s.hold_point,
            witness_point=s.witness_point,
        )
        for s in plan.stages
    )
    documents = Document.objects.bulk_create(
        Document(revision=revision, kind=d.kind, number=d.number, document_revision=d.revision) for d in plan.documents
    )
    characteristics = _characteristics(family, plan)
    stage_ids = {stage.number: stage.pk for stage in stages}
    document_ids = {document.number: document.pk for document in documents}
    Checkpoint.objects.bulk_create(
        Checkpoint(
            revision=revision,
            stage_id=stage_ids[row.stage_number],
            characteristic_id=characteristics[row.key],
            position=position,
            title=row.title,
            kind=row.kind,
            specified=row.specified,
            criticality=row.criticality,
            method=row.method,
            setup=row.setup,
            gauge_kinds=list(row.gauge_kinds),
            frequency=row.frequency,
            second_inspection=row.second_inspection,
            joint=row.joint,
            document_id=_document_id(row.document, document_ids),
            instruction=row.instruction,
            caution=row.caution,
            paired_with=row.paired_with,
        )
        for position, row in enumerate(plan.checkpoints, start=1)
    )


def _document_id(document: PlanDocument | None, ids: dict[str, int]) -> int | None:
    return ids[document.number] if document else None


def _characteristics(family: FamilyCard, plan: ReadPlan) -> dict[str, int]:
    """The key of each checkpoint's identity, old ones kept and new ones added."""
    known = dict(Characteristic.objects.filter(family=family.id).values_list("key", "pk"))
    new = [row for row in plan.checkpoints if row.key not in known]
    try:
        with transaction.atomic():
            Characteristic.objects.bulk_create(
                Characteristic(family_id=family.id, number=row.number, key=row.key) for row in new
            )
    except IntegrityError:
        message = "Another import gave some of these numbers or keys a moment ago; import the file again."
        raise Conflict("numbers_given_meanwhile", message) from None
    return dict(Characteristic.objects.filter(family=family.id).values_list("key", "pk"))


def export_plan(revision_id: int) -> str:
    """The revision as a plan file that reads back to the same content. Raises NotFound `revision_unknown`."""
    revision_by_id(revision_id)
    return write_plan(stages_of(revision_id), read_checkpoints(revision_id))


# ----------------------------------------------------------------------------------------------------- review


def send_for_review(*, by: Person, revision_uuid: UUID, at: datetime) -> RevisionCard:
    """The draft, in review.

    Raises NotFound `revision_unknown`, TransitionNotAllowed, Refused `content_altered`.
    """
    require(by, Act.SEND_PLAN_FOR_REVIEW, at)
    with transaction.atomic():
        card = _locked(revision_uuid)
        state = REVISION_STATES.next(card.state, "send_for_review")
        found = verify_content(card.id)
        _add_event(card.id, "send_for_review", state, by=by, at=at, content=found)
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
        card = _locked(revision_uuid)
        state = REVISION_STATES.next(card.state, "return")
        found = verify_content(card.id)
        _add_event(card.id, "return", state, by=by, at=at, content=found, reason=reason)
        payload = {"reason": reason, "content": found}
        audit.record(verb=Verb.PLAN_RETURNED, actor=by.uuid, subject=card.subject, at=at, payload=payload)
    return revision_by_id(card.id)


def approve(*, proof: Proof, revision_uuid: UUID, at: datetime) -> RevisionCard:
    """The engineer's signature under limits and methods of critical checkpoints that are new or changed.

    Raises NotFound `revision_unknown`, TransitionNotAllowed, Refused `content_altered`,
    `nothing_to_approve`, Conflict `approved_already`.
    """
    require(proof.person, Act.APPROVE_PLAN, at)
    with transaction.atomic():
        card = _locked(revision_uuid)
        state = REVISION_STATES.next(card.state, "approve")
        found = verify_content(card.id)
        numbers = needs_engineer(card.id)
        _check_approvable(card, numbers)
        meaning = f"I approve limits and methods of the critical checkpoints {_some(numbers)}."
        signature = _sign(proof, Act.APPROVE_PLAN, meaning, card, found, at)
        _add_event(card.id, "approve", state, by=proof.person, at=at, content=found, signature=signature)
        payload = {"checkpoints": numbers, "content": found}
        audit.record(verb=Verb.PLAN_APPROVED, actor=proof.person.uuid, subject=card.subject, at=at, payload=payload)
    return revision_by_id(card.id)


def _check_approvable(card: RevisionCard, numbers: list[int]) -> None:
    if not numbers:
        message = f"Revision {card.letter} changes no limit or method of a critical checkpoint; release it."
        raise Refused("nothing_to_approve", message)
    if approval_of(card.id):
        raise Conflict("approved_already", f"Revision {card.letter} is approved already.")


def _some(numbers: list[int]) -> str:
    """The numbers, shortened to what a signature's meaning has room for."""
    text = ", ".join(map(str, numbers))
    return text if len(text) <= 180 else f"{text[:180].rpartition(',')[0]} and more, {len(numbers)} in all"


# ---------------------------------------------------------------------------------------- release, withdrawal


def release(*, proof: Proof, revision_uuid: UUID, at: datetime) -> RevisionCard:
    """The revision, released; the one released before is superseded in the same transaction.

    Raises NotFound `revision_unknown`, TransitionNotAllowed, NotAllowed `released_by_author`,
    `one_person_twice`, Refused `engineer_missing`, `content_altered`.
    """
    require(proof.person, Act.RELEASE_PLAN, at)
    with transaction.atomic():
        card = _locked(revision_uuid)
        state = REVISION_STATES.next(card.state, "release")
        found = verify_content(card.id)
        _check_signers(card, proof)
        previous = previous_of(card.id)
        changes = differences(previous.id if previous else None, card.id)
        signature = _sign(proof, Act.RELEASE_PLAN, f"I release revision {card.letter} for inspection.", card, found, at)
        superseded = _supersede(card.family_id, by=proof.person, signature=signature, at=at)
        _add_event(card.id, "release", state, by=proof.person, at=at, content=found, signature=signature)
        payload = {
            "content": found, "supersedes": superseded,
            "compared_with": previous.letter if previous else None,
            "differences": [change.to_json() for change in changes],
        }  # fmt: skip
        audit.anchor_on_commit(at=at)
        audit.record(verb=Verb.PLAN_RELEASED, actor=proof.person.uuid, subject=card.subject, at=at, payload=payload)
    return revision_by_id(card.id)


def _check_signers(card: RevisionCard, proof: Proof) -> None:
    if proof.person.pk == card.author_id:
        message = f"{card.author_name} wrote revision {card.letter}; another person has to release it."
        raise NotAllowed("released_by_author", message)
    numbers, approval = needs_engineer(card.id), approval_of(card.id)
    if numbers and approval is None:
        message = (
            f"The engineer has to approve the critical checkpoints {_some(numbers)} first: limits or method "
            "are new or changed."
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
    _add_event(status.revision_id, "supersede", state, by=by, at=at, content=found, signature=signature)
    return status.revision.letter


def withdraw(*, proof: Proof, revision_uuid: UUID, reason: str, at: datetime) -> RevisionCard:
    """The revision, withdrawn: no unit is opened with it from now on.

    Raises NotFound `revision_unknown`, TransitionNotAllowed, Invalid with a code of `plain_text`.
    """
    require(proof.person, Act.RELEASE_PLAN, at)
    reason = plain_text("The reason", reason, longest=300)
    with transaction.atomic():
        card = _locked(revision_uuid)
        state = REVISION_STATES.next(card.state, "withdraw")
        found = content_digest(card.id)
        signature = _sign(proof, Act.RELEASE_PLAN, f"I withdraw revision {card.letter}.", card, found, at)
        _add_event(
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


# --------------------------------------------------------------------------------------------------- together


def _locked(revision_uuid: UUID) -> RevisionCard:
    """The revision as it stands, its row and its family's states locked until the transaction ends."""
    card = revision_card(revision_uuid)
    list(PlanRevision.objects.select_for_update().filter(pk=card.id).values_list("pk"))
    list(RevisionStatus.objects.select_for_update().filter(family=card.family_id).order_by("pk").values_list("pk"))
    return revision_by_id(card.id)


def _add_event(
    revision_id: int,
    kind: str,
    state: str,
    *,
    by: Person,
    at: datetime,
    content: str,
    reason: str = "",
    signature: Signature | None = None,
) -> None:
    RevisionEvent.objects.create(
        revision_id=revision_id, kind=kind, state=state, by_id=by.pk, at=at, reason=reason,
        signature=signature, content_digest=content,
    )  # fmt: skip
    RevisionStatus.objects.filter(revision=revision_id).update(state=state)


def _sign(proof: Proof, act: Act, meaning: str, card: RevisionCard, content: str, at: datetime) -> Signature:
    """A signature that covers the family, the letter, what was meant and the whole content."""
    covers = digest(canonical({"subject": card.subject, "meaning": meaning, "content": content}))
    return write_signature(proof=proof, act=act, meaning=meaning, subject=card.subject, covers=covers, at=at)
