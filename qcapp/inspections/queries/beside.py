"""What stands beside the answers of an item: photos with their marks, notes, why something could not be checked."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any, TypeVar
from uuid import UUID

from ..models import Photo, Remark
from ..states import CheckpointState

if TYPE_CHECKING:
    from .shapes import CheckpointView

Place = tuple[int, int]  # the characteristic and the round


@dataclass(frozen=True)
class PhotoCard:
    """One picture taken at a checkpoint; `marks` are points in thousandths of its width and height."""

    operation: UUID
    file: UUID
    digest: str
    characteristic_id: int
    number: int
    title: str
    round: int
    inspection: int
    of_result: UUID | None
    marks: Sequence[Sequence[int]]
    note: str
    person_id: int
    person_name: str
    taken_at: datetime


@dataclass(frozen=True)
class RemarkCard:
    """One thing said at a checkpoint: a note, why it cannot be checked now, how the part stood."""

    operation: UUID
    characteristic_id: int
    number: int
    title: str
    round: int
    inspection: int
    kind: str
    kind_label: str
    text: str
    person_id: int
    person_name: str
    written_at: datetime


Card = TypeVar("Card", PhotoCard, RemarkCard)


def photos_of(item_id: int) -> list[PhotoCard]:
    """Every picture of the item, in the order in which they were taken."""
    rows = Photo.objects.filter(item=item_id).select_related("file", "person", "checkpoint__characteristic")
    return [_photo(row) for row in rows.order_by("taken_at", "id")]


def remarks_of(item_id: int) -> list[RemarkCard]:
    """Everything said beside the item's answers, in the order in which it was said."""
    rows = Remark.objects.filter(item=item_id).select_related("person", "checkpoint__characteristic")
    return [_remark(row) for row in rows.order_by("written_at", "id")]


def _photo(row: Photo) -> PhotoCard:
    person: Any = row.person
    return PhotoCard(
        operation=row.operation,
        file=row.file.uuid,
        digest=row.file.digest,
        characteristic_id=row.checkpoint.characteristic_id,
        number=row.checkpoint.characteristic.number,
        title=row.checkpoint.title,
        round=row.round,
        inspection=row.inspection,
        of_result=row.of_result,
        marks=tuple(tuple(mark) for mark in row.marks),
        note=row.note,
        person_id=person.pk,
        person_name=person.name,
        taken_at=row.taken_at,
    )


def _remark(row: Remark) -> RemarkCard:
    person: Any = row.person
    return RemarkCard(
        operation=row.operation,
        characteristic_id=row.checkpoint.characteristic_id,
        number=row.checkpoint.characteristic.number,
        title=row.checkpoint.title,
        round=row.round,
        inspection=row.inspection,
        kind=row.kind,
        kind_label=row.get_kind_display(),
        text=row.text,
        person_id=person.pk,
        person_name=person.name,
        written_at=row.written_at,
    )


def by_place(cards: Iterable[Card]) -> Mapping[Place, list[Card]]:
    """The cards by characteristic and round."""
    found: dict[Place, list[Card]] = defaultdict(list)
    for card in cards:
        found[card.characteristic_id, card.round].append(card)
    return found


def without_photo(item_id: int, checkpoints: Iterable[CheckpointView]) -> list[CheckpointView]:
    """Of these, the due checkpoints whose plan asks for a photo and that have none in their current round."""
    asking = [one for one in checkpoints if one.card.photo and one.state is not CheckpointState.NOT_DUE]
    if not asking:
        return []
    rows = Photo.objects.filter(item=item_id).values_list("checkpoint__characteristic_id", "round")
    there = set(rows)
    return [one for one in asking if (one.card.characteristic_id, one.round) not in there]
