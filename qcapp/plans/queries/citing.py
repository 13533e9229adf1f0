"""From a drawing or a specification to the plan revisions that cite it."""

from __future__ import annotations

from dataclasses import dataclass

from ..cards import DocumentCard, RevisionCard
from ..draft_rows import Paper
from ..models import Checkpoint, Draft
from ..plan_rows import SPECIFICATION
from ..states import RevisionState
from . import _revision, _revisions

MOST = 60


@dataclass(frozen=True)
class Citing:
    """A revision with the documents of it that were looked for, and the numbers of the checkpoints that cite them."""

    revision: RevisionCard
    documents: tuple[DocumentCard, ...]
    numbers: tuple[int, ...]


def revisions_citing(fragment: str) -> list[Citing]:
    """Revisions that cite a document whose number holds `fragment`, or "AQ-1 C" for one revision of it.

    Drafts come first, then the latest; at most `MOST`.
    """
    number, _, revision = fragment.rpartition(" ")
    words = fragment.casefold()
    cards = [_revision(row) for row in _revisions().order_by("-created_at", "-id")]
    found = []
    for card in cards:
        documents = tuple(one for one in card.documents if _matches(one, words, number.casefold(), revision))
        if documents and card.state != RevisionState.DISCARDED:
            found.append((card, documents))
    found = found[:MOST]
    numbers = _numbers([card.id for card, _ in found])
    return [
        Citing(card, documents, tuple(sorted(n for one in documents for n in numbers.get((card.id, one.number), ()))))
        for card, documents in found
    ]


def _matches(document: DocumentCard, words: str, number: str, revision: str) -> bool:
    if words in document.number.casefold():
        return True
    return bool(number) and number in document.number.casefold() and revision.casefold() == document.revision.casefold()


def _numbers(revision_ids: list[int]) -> dict[tuple[int, str], list[int]]:
    """The numbers of the checkpoints that cite each document of each revision; two queries."""
    found: dict[tuple[int, str], list[int]] = {}
    rows = Checkpoint.objects.filter(revision__in=revision_ids, document__isnull=False)
    for revision, document, number in rows.values_list("revision_id", "document__number", "characteristic__number"):
        found.setdefault((revision, document), []).append(number)
    for revision, text in Draft.objects.filter(revision__in=revision_ids).values_list("revision_id", "rows"):
        for row in Paper.from_json(text).rows:
            if row.cells["drawing"] and row.number.isdigit():
                document = row.cells["drawing"].removeprefix(SPECIFICATION).strip()
                found.setdefault((revision, document), []).append(int(row.number))
    return found
