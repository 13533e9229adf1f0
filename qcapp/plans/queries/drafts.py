"""Readers of drafts: the working paper, what is wrong with it, and the last steps that can be undone."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from datetime import datetime

from qcapp.core.errors import Refused
from qcapp.gauges.queries import kind_names

from ..cards import CheckpointCard
from ..draft_cards import checkpoint_cards
from ..draft_rows import Paper, ReadPaper, read_paper
from ..models import Characteristic, Draft, DraftStep
from ..plan_rules import Numbering


@dataclass(frozen=True)
class StepCard:
    """One edit that can be undone."""

    version: int
    said: str
    by_name: str
    at: datetime


@dataclass(frozen=True)
class DraftCard:
    """A draft's working paper as it was read, its version, and its last step."""

    read: ReadPaper
    version: int
    last: StepCard | None

    @property
    def paper(self) -> Paper:
        return self.read.paper


def numbers_given(family_id: int) -> dict[int, str]:
    """Every number that a released revision of the family has given to a checkpoint, with its key."""
    return dict(Characteristic.objects.filter(family=family_id).values_list("number", "key"))


def read_for(family_id: int, paper: Paper) -> ReadPaper:
    """What a paper says in this family, with the kinds of gauge that there are."""
    return read_paper(paper, gauge_kinds=kind_names(), numbering=Numbering(numbers_given(family_id)))


def cards_for(family_id: int, read: ReadPaper) -> list[CheckpointCard]:
    """The rows of a paper that can be read, as cards that know the identities of earlier revisions."""
    identities = dict(Characteristic.objects.filter(family=family_id).values_list("key", "pk"))
    return checkpoint_cards(read, identities)


def digest_of(rows: str) -> str:
    """SHA-256 of the stored text of a draft's rows."""
    return hashlib.sha256(rows.encode()).hexdigest()


def paper_of(draft: Draft) -> Paper:
    """The paper that is stored. Raises Refused `content_altered` when it did not come through the services."""
    if digest_of(draft.rows) != draft.digest:
        message = (
            "The draft in the database is not the one that was written here: something changed it past the "
            "application. Ask the keeper of the system to compare it with a backup, or discard it."
        )
        raise Refused("content_altered", message, revision=draft.revision_id)
    return Paper.from_json(draft.rows)


def draft_card(revision_id: int, family_id: int) -> DraftCard | None:
    """The working paper of a revision; None once it is released."""
    draft = Draft.objects.filter(revision=revision_id).first()
    if draft is None:
        return None
    return DraftCard(read_for(family_id, paper_of(draft)), draft.version, last_step(draft.pk))


def last_step(draft_id: int) -> StepCard | None:
    """The edit that would be undone next."""
    row = DraftStep.objects.filter(draft=draft_id).select_related("by").order_by("-version").first()
    return StepCard(row.version, row.said, row.by.name, row.at) if row else None


def last_said(revision_id: int) -> str:
    """What would be undone next, in words; empty when nothing."""
    steps = DraftStep.objects.filter(draft__revision=revision_id).order_by("-version")
    return steps.values_list("said", flat=True).first() or ""


def writers_of(revision_id: int) -> list[int]:
    """Keys of everybody who changed the draft of a revision that is not released yet."""
    return list(Draft.objects.filter(revision=revision_id).values_list("writers", flat=True).first() or [])
