"""The photos taken at the unit's checkpoints: what each shows, and which bytes it is."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from qcapp.inspections.queries.beside import photos_of

from .record import Record

if TYPE_CHECKING:
    from qcapp.inspections.queries.beside import PhotoCard

MOST = 12  # on the paper; the package holds all


@dataclass(frozen=True)
class Photo:
    """One picture by its digest; the bytes are kept evidence."""

    file: str
    digest: str
    checkpoint: str
    round: int
    note: str
    taken: str


@dataclass(frozen=True)
class Pictures:
    """The latest photos, in the order taken; `further` counts those that only the package holds."""

    shown: bool
    photos: tuple[Photo, ...]
    further: int


def build(record: Record) -> Pictures:
    """The photos, where the family chose them."""
    found = photos_of(record.standing.inspection.unit.item_id) if record.choice.pictures else []
    return Pictures(
        shown=record.choice.pictures,
        photos=tuple(_photo(record, one) for one in found[-MOST:]),
        further=max(0, len(found) - MOST),
    )


def _photo(record: Record, one: PhotoCard) -> Photo:
    return Photo(
        file=str(one.file),
        digest=one.digest,
        checkpoint=f"{one.number} {one.title}",
        round=one.round,
        note=one.note,
        taken=record.moment(one.taken_at),
    )
