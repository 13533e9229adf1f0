"""What a revision says as one digest: sealed by each event, compared when the plan is used."""

from __future__ import annotations

from qcapp.core.errors import Refused
from qcapp.core.sealing import canonical, digest

from ..draft_cards import content_of, later_columns
from ..models import Checkpoint, Document, Draft, RevisionEvent, RevisionStatus, Stage
from ..states import RevisionState
from .drafts import paper_of, read_for
from .marks import marks_content


def content_digest(revision_id: int) -> str:
    """SHA-256 of the plan's canonical content as the database holds it: stages, documents, checkpoints
    and what is drawn beside them.
    """
    return digest(canonical(_content(revision_id)))


def _content(revision_id: int) -> dict[str, object]:
    """Stored texts as they stand: a specification counts by its text, not by what is read from it.

    A draft with something wrong in it counts by its rows.
    """
    draft = Draft.objects.filter(revision=revision_id).select_related("revision").first()
    if draft:
        read = read_for(draft.revision.family_id, paper_of(draft))
        marks = marks_content(revision_id, read.paper)
        return (content_of(read.plan) if read.complete else {"rows": draft.rows}) | marks
    stages = Stage.objects.filter(revision=revision_id).order_by("number")
    documents = Document.objects.filter(revision=revision_id).order_by("kind", "number")
    checkpoints = Checkpoint.objects.filter(revision=revision_id).select_related("stage", "characteristic", "document")
    return {
        "stages": [[s.number, s.name, s.hold_point, s.witness_point] for s in stages],
        "documents": [[d.kind, d.number, d.document_revision] for d in documents],
        "checkpoints": [_checkpoint_content(row) for row in checkpoints.order_by("position")],
    } | marks_content(revision_id)


def _checkpoint_content(row: Checkpoint) -> dict[str, object]:
    plain = (
        "title", "kind", "specified", "criticality", "method", "setup", "frequency", "second_inspection",
        "joint", "instruction", "caution", "paired_with",
    )  # fmt: skip
    return {name: getattr(row, name) for name in plain} | {
        "stage": row.stage.number,
        "number": row.characteristic.number,
        "key": row.characteristic.key,
        "gauge_kinds": list(row.gauge_kinds),
        "document": row.document.number if row.document else "",
        **later_columns(row.variants, row.after_weld_hours, row.photo),
    }


def verify_content(revision_id: int) -> str:
    """The content's digest, when it is the one that the latest event wrote down.

    Raises Refused `content_altered`.
    """
    found = content_digest(revision_id)
    if RevisionStatus.objects.filter(revision=revision_id, state=RevisionState.DRAFT).exists():
        return found  # a draft changes; that it changed through the services was checked while it was read
    events = RevisionEvent.objects.filter(revision=revision_id).order_by("-id")
    written = events.values_list("content_digest", flat=True).first()
    if found != written:
        message = (
            "The plan in the database is not the one that was signed: something changed it past the "
            "application. Do not inspect by it; ask the keeper of the system to compare it with a backup."
        )
        raise Refused("content_altered", message, revision=revision_id)
    return found
