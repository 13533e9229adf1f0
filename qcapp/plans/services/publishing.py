"""A draft's rows become stages, documents, characteristics and checkpoints: at the release, and only then."""

from __future__ import annotations

from django.db import IntegrityError, transaction

from qcapp.core.errors import Conflict, Refused

from ..cards import RevisionCard
from ..models import Characteristic, Checkpoint, Document, Draft, Stage
from ..plan_rows import PlanDocument
from ..plan_rules import ReadPlan
from ..queries import content_digest
from ..queries.drafts import draft_card, paper_of
from .drawings import settle_marks


def complete_plan(card: RevisionCard) -> ReadPlan:
    """What the draft says. Raises Refused `draft_unfinished` with the first thing that is wrong with it."""
    draft = draft_card(card.id, card.family_id)
    if draft is None:
        raise Refused("draft_unfinished", f"Revision {card.letter} has no draft; revise it first.")
    found = draft.read.plan.findings
    if found:
        first = draft.paper.row(found[0].line)
        message = f"Checkpoint {first.number if first else ''}, {found[0].column}: {found[0].message}"
        more = f" Mend this and {len(found) - 1} more first." if len(found) > 1 else " Mend this first."
        raise Refused("draft_unfinished", message + more, findings=[finding.to_json() for finding in found])
    return draft.read.plan


def publish(card: RevisionCard, plan: ReadPlan, content: str) -> None:
    """Write the plan's tables in the caller's transaction, hold them against `content`, and drop the draft.

    Raises Conflict `numbers_given_meanwhile`, Refused `content_altered`.
    """
    _insert_content(card, plan)
    settle_marks(card.id, paper_of(Draft.objects.get(revision=card.id)))
    Draft.objects.filter(revision=card.id).delete()
    if content_digest(card.id) != content:
        message = "The released plan is not the one that was reviewed; nothing was released. Tell the keeper."
        raise Refused("content_altered", message, revision=card.id)


def _insert_content(card: RevisionCard, plan: ReadPlan) -> None:
    stages = Stage.objects.bulk_create(
        Stage(
            revision_id=card.id,
            number=s.number,
            name=s.name,
            hold_point=s.hold_point,
            witness_point=s.witness_point,
        )
        for s in plan.stages
    )
    documents = Document.objects.bulk_create(
        Document(revision_id=card.id, kind=d.kind, number=d.number, document_revision=d.revision)
        for d in plan.documents
    )
    characteristics = _characteristics(card.family_id, plan)
    stage_ids = {stage.number: stage.pk for stage in stages}
    document_ids = {document.number: document.pk for document in documents}
    Checkpoint.objects.bulk_create(
        Checkpoint(
            revision_id=card.id,
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
            photo=row.photo,
            joint=row.joint,
            document_id=_document_id(row.document, document_ids),
            instruction=row.instruction,
            caution=row.caution,
            paired_with=row.paired_with,
            variants=row.variants,
            after_weld_hours=row.after_weld_hours,
        )
        for position, row in enumerate(plan.checkpoints, start=1)
    )


def _document_id(document: PlanDocument | None, ids: dict[str, int]) -> int | None:
    return ids[document.number] if document else None


def _characteristics(family_id: int, plan: ReadPlan) -> dict[str, int]:
    """The key of each checkpoint's identity, old ones kept and new ones added."""
    known = dict(Characteristic.objects.filter(family=family_id).values_list("key", "pk"))
    new = [row for row in plan.checkpoints if row.key not in known]
    try:
        with transaction.atomic():
            Characteristic.objects.bulk_create(
                Characteristic(family_id=family_id, number=row.number, key=row.key) for row in new
            )
    except IntegrityError:
        message = (
            "Another release gave some of these numbers or keys a moment ago; return this draft and renumber "
            "its new checkpoints."
        )
        raise Conflict("numbers_given_meanwhile", message) from None
    return dict(Characteristic.objects.filter(family=family_id).values_list("key", "pk"))
