"""To which released revision a new unit is inspected: the newest one that is effective for it."""

from __future__ import annotations

from datetime import datetime

from qcapp.lib.site_days import site_day

from ..cards import RevisionCard
from ..models import Effectivity
from . import previous_of, released_revision, revision_by_id
from .content import verify_content


def effective_revision(family_code: str, number: int, at: datetime) -> RevisionCard:
    """The revision for a unit with this running number opened at that time.

    The released one, unless it is effective later or from a higher number: then the one released before it, and so
    on. Where none before it is left, the released one. Raises as `released_revision`.
    """
    newest = card = released_revision(family_code)
    while not _is_effective(card.id, number, at):
        before = previous_of(card.id)
        if before is None:
            return newest
        card = before
    if card.id != newest.id:
        verify_content(card.id)
    return revision_by_id(card.id)


def _is_effective(revision_id: int, number: int, at: datetime) -> bool:
    row = Effectivity.objects.filter(revision=revision_id).first()
    if row is None:
        return True
    day = row.from_day is None or site_day(at) >= row.from_day
    return day and (row.from_number is None or number >= row.from_number)


def effective_from(revision_id: int) -> str:
    """From when on the revision is effective, in words; empty for at once."""
    row = Effectivity.objects.filter(revision=revision_id).first()
    if row is None:
        return ""
    words = [f"units opened from {row.from_day.isoformat()}"] if row.from_day else []
    words += [f"running number {row.from_number} and on"] if row.from_number is not None else []
    return ", ".join(words)
