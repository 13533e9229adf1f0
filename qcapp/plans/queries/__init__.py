"""Readers of inspection plans: revisions, stages, checkpoints, what changed, what needs the engineer."""

from __future__ import annotations

import json
from collections.abc import Iterable
from datetime import datetime
from functools import lru_cache
from typing import Any
from uuid import UUID

from django.db.models import Count, OuterRef, QuerySet, Subquery

from qcapp.core.checkpoints.kinds import KINDS
from qcapp.core.errors import NotFound
from qcapp.lib.plain_text import shown
from qcapp.production.queries import FamilyCard, families, family_by_code

from .. import comparison
from ..cards import (
    CheckpointCard,
    Difference,
    DocumentCard,
    EventCard,
    FamilyPlans,
    Review,
    RevisionCard,
    StageCard,
)
from ..draft_cards import document_cards, stage_cards
from ..draft_rows import Paper
from ..models import Checkpoint, Document, Draft, PlanRevision, RevisionEvent, Stage
from ..prints import BalloonedSheet, ballooned
from ..states import REVISION_STATES, RevisionState
from .at_hand import findings_before_release
from .content import content_digest, verify_content
from .drafts import cards_for, numbers_given, paper_of, read_for
from .marks import marks_of, released_marks, sheets_of

__all__ = [
    "CheckpointCard",
    "Difference",
    "EventCard",
    "FamilyPlans",
    "RevisionCard",
    "StageCard",
    "approval_of",
    "ballooned_sheets",
    "checkpoints_of",
    "checkpoints_of_card",
    "content_digest",
    "differences",
    "events_of",
    "families_with_plans",
    "findings_before_release",
    "needs_engineer",
    "next_letter",
    "numbers_given",
    "possible_moves",
    "previous_of",
    "read_checkpoints",
    "released_card",
    "released_revision",
    "review_of",
    "revision_by_id",
    "revision_card",
    "revision_of",
    "stages_of",
    "verify_content",
]  # fmt: skip

# Without I, O and Q, which are misread on drawings (common practice, no source).
LETTERS = "ABCDEFGHJKLMNPRSTUVWXYZ"


# ------------------------------------------------------------------------------------------------ revisions


def revision_card(uuid: UUID | str) -> RevisionCard:
    """One revision. Raises NotFound `revision_unknown`."""
    try:
        wanted = UUID(str(uuid))
    except ValueError:
        wanted = None
    rows = list(_revisions().filter(uuid=wanted)) if wanted else []
    if not rows:
        raise NotFound("revision_unknown", "There is no such plan revision; choose one from the list of plans.")
    return _revision(rows[0])


def revision_by_id(revision_id: int) -> RevisionCard:
    """One revision by its key. Raises NotFound `revision_unknown`."""
    rows = list(_revisions().filter(pk=revision_id))
    if not rows:
        raise NotFound("revision_unknown", "There is no such plan revision; choose one from the list of plans.")
    return _revision(rows[0])


def revision_of(family_code: str, letter: str) -> RevisionCard:
    """A family's revision by its letter. Raises NotFound `family_unknown`, `revision_unknown`."""
    family = family_by_code(family_code)
    found = _revisions().filter(family=family.id, letter=letter.replace("\0", ""))
    rows = list(found.exclude(status__state=RevisionState.DISCARDED))
    if not rows:
        message = f"{family.code} has no revision {shown(letter)}; choose one from the list of plans."
        raise NotFound("revision_unknown", message)
    return _revision(rows[0])


def released_revision(family_code: str) -> RevisionCard:
    """The family's released revision, to be adopted by a unit: its content is held against the release.

    Raises NotFound `family_unknown`, `no_released_plan`, Refused `content_altered`.
    """
    card = released_card(family_code)
    verify_content(card.id)
    return card


def released_card(named: str | FamilyCard) -> RevisionCard:
    """The released revision of a family, named by its code or its card; its content unchecked.

    Raises NotFound `family_unknown`, `no_released_plan`.
    """
    family = named if isinstance(named, FamilyCard) else family_by_code(named)
    rows = list(_revisions().filter(family=family.id, status__state=RevisionState.RELEASED))
    if not rows:
        message = f"{family.code} has no released inspection plan; release one first."
        raise NotFound("no_released_plan", message, family=family.code)
    return _revision(rows[0])


def families_with_plans() -> list[FamilyPlans]:
    """Every family with its released revision, the open ones before it, and how many came before."""
    by_family: dict[int, list[RevisionCard]] = {}
    for row in _revisions().order_by("-created_at", "-id"):
        by_family.setdefault(row.family_id, []).append(_revision(row))
    return [
        FamilyPlans(family.code, family.name, *_sorted_by_state(by_family.get(family.id, []))) for family in families()
    ]


def revisions_of(family_id: int) -> list[RevisionCard]:
    """Every revision of a family that is not discarded, the latest first."""
    rows = _revisions().filter(family=family_id).exclude(status__state=RevisionState.DISCARDED)
    return [_revision(row) for row in rows.order_by("-created_at", "-id")]


def _sorted_by_state(
    cards: list[RevisionCard],
) -> tuple[RevisionCard | None, tuple[RevisionCard, ...], tuple[RevisionCard, ...]]:
    released = next((card for card in cards if card.state == RevisionState.RELEASED), None)
    coming = tuple(card for card in cards if card.state in (RevisionState.DRAFT, RevisionState.IN_REVIEW))
    past = tuple(card for card in cards if card.state in (RevisionState.SUPERSEDED, RevisionState.WITHDRAWN))
    return released, coming, past


def next_letter(family_code: str) -> str:
    """The letter that the family's next revision should have. Raises NotFound `family_unknown`."""
    revisions = PlanRevision.objects.filter(family=family_by_code(family_code).id)
    taken = set(revisions.exclude(status__state=RevisionState.DISCARDED).values_list("letter", flat=True))
    letters = (*LETTERS, *(a + b for a in LETTERS for b in LETTERS))
    last = max((letters.index(letter) for letter in taken if letter in letters), default=-1)
    return letters[min(last + 1, len(letters) - 1)]


def previous_of(revision_id: int) -> RevisionCard | None:
    """The revision that this one is held against: the last one released before it and not withdrawn since."""
    own = PlanRevision.objects.filter(pk=revision_id).values("family", release=_event_id("release")).first()
    if own is None:
        return None
    earlier = _revisions().filter(family=own["family"], release_id__isnull=False).exclude(pk=revision_id)
    earlier = earlier.exclude(status__state=RevisionState.WITHDRAWN)
    if own["release"] is not None:
        earlier = earlier.filter(release_id__lt=own["release"])
    row = earlier.order_by("-release_id").first()
    return _revision(row) if row else None


def possible_moves(revision_id: int) -> list[str]:
    """The moves that the revision's state permits now, by name."""
    return REVISION_STATES.possible(revision_by_id(revision_id).state)


def events_of(revision_id: int) -> list[EventCard]:
    """What happened to a revision, the latest first."""
    rows = RevisionEvent.objects.filter(revision=revision_id).select_related("by", "signature").order_by("-id")
    return [
        EventCard(
            row.kind, row.state, RevisionState(row.state).label, row.by_id, row.by.name, row.at, row.reason,
            row.signature.role.replace("_", " ") if row.signature else "",
            row.signature.meaning if row.signature else "", row.content_digest,
        )
        for row in rows
    ]  # fmt: skip


def _revisions() -> QuerySet[Any]:
    documents = Document.objects.order_by("kind", "number")
    return (
        PlanRevision.objects.select_related("family", "author", "status", "draft")
        .prefetch_related("stages")
        .prefetch_related(_prefetch("documents", documents))
        .annotate(
            checkpoint_count=Count("checkpoints"),
            release_id=_event_id("release"),
            released_at=Subquery(
                RevisionEvent.objects.filter(revision=OuterRef("pk"), kind="release").values("at")[:1]
            ),
        )
    )


def _prefetch(name: str, rows: QuerySet[Any]) -> Any:
    from django.db.models import Prefetch

    return Prefetch(name, queryset=rows)


def _event_id(kind: str) -> Subquery:
    return Subquery(RevisionEvent.objects.filter(revision=OuterRef("pk"), kind=kind).values("id")[:1])


def _revision(row: PlanRevision) -> RevisionCard:
    stages, documents, count = _parts_of(row)
    return RevisionCard(
        id=row.pk,
        uuid=row.uuid,
        family_id=row.family_id,
        family_code=row.family.code,
        family_name=row.family.name,
        letter=row.letter,
        state=row.status.state,
        state_label=RevisionState(row.status.state).label,
        change_note=row.change_note,
        author_id=row.author_id,
        author_name=row.author.name,
        created_at=row.created_at,
        released_at=row.released_at,  # type: ignore[attr-defined]  # annotated by _revisions
        stages=stages,
        checkpoint_count=count,
        documents=documents,
    )


def _parts_of(row: PlanRevision) -> tuple[tuple[StageCard, ...], tuple[DocumentCard, ...], int]:
    """Stages, documents and the number of checkpoints: from the working paper until there are tables."""
    draft = getattr(row, "draft", None)
    if draft:
        paper = Paper.from_json(draft.rows)
        return stage_cards(paper), document_cards(paper), len(paper.rows)
    stages = sorted(row.stages.all(), key=lambda stage: stage.number)
    documents = tuple(DocumentCard(d.kind, d.number, d.document_revision) for d in row.documents.all())
    return tuple(map(_stage, stages)), documents, row.checkpoint_count  # type: ignore[attr-defined]


# ----------------------------------------------------------------------------------------------- checkpoints


def stages_of(revision_id: int) -> list[StageCard]:
    """The stages of a revision in order."""
    draft = Draft.objects.filter(revision=revision_id).first()
    if draft:
        return list(stage_cards(Paper.from_json(draft.rows)))
    return [_stage(row) for row in Stage.objects.filter(revision=revision_id).order_by("number")]


def _stage(row: Stage) -> StageCard:
    return StageCard(row.pk, row.number, row.name, row.hold_point, row.witness_point)


def checkpoints_of(revision_id: int) -> list[CheckpointCard]:
    """The checkpoints of a revision in the order of the floor.

    Those of a frozen revision are read once per process.
    """
    frozen = PlanRevision.objects.filter(pk=revision_id, events__kind="release").values_list("uuid", flat=True).first()
    return list(_frozen_checkpoints(frozen, revision_id)) if frozen else read_checkpoints(revision_id)


def checkpoints_of_card(card: RevisionCard) -> list[CheckpointCard]:
    """As `checkpoints_of`, for a revision at hand, whose card says whether it is frozen."""
    return list(_frozen_checkpoints(card.uuid, card.id)) if card.released_at else read_checkpoints(card.id)


@lru_cache(maxsize=64)
def _frozen_checkpoints(uuid: UUID, revision_id: int) -> tuple[CheckpointCard, ...]:
    """Kept by uuid, because a key may be given again after a restore or in another database."""
    return tuple(read_checkpoints(revision_id))


def read_checkpoints(revision_id: int) -> list[CheckpointCard]:
    """As `checkpoints_of`, always from the database; of a draft, the rows that can be read."""
    draft = Draft.objects.filter(revision=revision_id).select_related("revision").first()
    if draft:
        family_id = draft.revision.family_id
        read = read_for(family_id, paper_of(draft))
        return marks_of(revision_id, read.paper).on(cards_for(family_id, read))
    rows = Checkpoint.objects.filter(revision=revision_id).select_related("stage", "characteristic", "document")
    return released_marks(revision_id).on([_checkpoint(row) for row in rows.order_by("position")])


def _checkpoint(row: Checkpoint) -> CheckpointCard:
    kind = KINDS[row.kind]
    spec_json = json.loads(row.specified)
    spec = kind.read_spec(spec_json)
    return CheckpointCard(
        id=row.pk,
        number=row.characteristic.number,
        key=row.characteristic.key,
        title=row.title,
        kind=row.kind,
        spec=spec,
        spec_json=spec_json,
        limits_text=kind.describe_limits(spec),
        criticality=row.criticality,
        method=row.method,
        setup=row.setup,
        setup_label=Checkpoint.Setup(row.setup).label,
        gauge_kinds=tuple(row.gauge_kinds),
        frequency=row.frequency,
        second_inspection=row.second_inspection,
        photo=row.photo,
        joint=row.joint,
        document_number=row.document.number if row.document else "",
        document_revision=row.document.document_revision if row.document else "",
        document_kind=row.document.kind if row.document else "",
        instruction=row.instruction,
        caution=row.caution,
        paired_with=row.paired_with,
        stage_number=row.stage.number,
        stage_id=row.stage_id,
        position=row.position,
        characteristic_id=row.characteristic_id,
        variants=row.variants,
        after_weld_hours=row.after_weld_hours,
    )


def ballooned_sheets(revision_id: int) -> list[BalloonedSheet]:
    """The sheets of a revision with their balloons, as SVG texts that need no other file.

    Raises as `evidence.queries.content`.
    """
    checkpoints = checkpoints_of(revision_id)
    return [ballooned(sheet, checkpoints) for sheet in sheets_of(revision_id)]


# ------------------------------------------------------------------------------------------------ comparison


def differences(old_id: int | None, new_id: int) -> list[Difference]:
    """What the new revision changes against the old one; without an old one everything is new."""
    old = checkpoints_of(old_id) if old_id is not None else []
    return comparison.differences(old, checkpoints_of(new_id))


def needs_engineer(revision_id: int) -> list[int]:
    """Numbers of critical checkpoints whose limits or method are new or changed, removed ones included.

    Held against `previous_of`; without a previous revision every critical checkpoint is new.
    """
    previous = previous_of(revision_id)
    old = checkpoints_of(previous.id) if previous else []
    return comparison.critical_changes(old, checkpoints_of(revision_id))


def approval_of(revision_id: int) -> EventCard | None:
    """The engineer's approval given since the revision was last sent for review; None when there is none."""
    return _approval(events_of(revision_id))


def _approval(events: Iterable[EventCard]) -> EventCard | None:
    for event in events:
        if event.kind in ("approve", "send_for_review"):
            return event if event.kind == "approve" else None
    return None


def review_of(card: RevisionCard, at: datetime, checkpoints: list[CheckpointCard] | None = None) -> Review:
    """What whoever reviews a revision looks at, each revision read once; `checkpoints` are its own, where at hand.

    Until its release it is held against the gauges that may be used `at` that time.
    """
    previous, events = previous_of(card.id), events_of(card.id)
    new = checkpoints_of_card(card) if checkpoints is None else checkpoints
    old = checkpoints_of_card(previous) if previous else []
    concerned = tuple(comparison.critical_changes(old, new))
    return Review(
        previous=previous,
        differences=tuple(comparison.differences(old, new)),
        needs_engineer=concerned,
        means=tuple(card.number for card in new if card.mean and card.number in concerned),
        approval=_approval(events),
        findings=tuple(findings_before_release(card, new, at)),
        events=tuple(events),
    )
