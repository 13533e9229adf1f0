"""Readers of what is drawn beside a plan: its sheets, the balloons on them, the reference pictures."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any
from uuid import UUID

from ..cards import Balloon, CheckpointCard, Picture, SheetCard
from ..draft_rows import Paper
from ..models import Balloon as BalloonRow
from ..models import Draft, DrawingSheet, ReferencePicture, RevisionSheet


@dataclass(frozen=True)
class Marks:
    """Balloons and pictures by the checkpoint's key; `astray` are balloons whose checkpoint is gone."""

    balloons: Mapping[str, Balloon] = field(default_factory=dict)
    pictures: Mapping[str, Picture] = field(default_factory=dict)
    astray: tuple[Balloon, ...] = ()

    def on(self, cards: Sequence[CheckpointCard]) -> list[CheckpointCard]:
        """The checkpoints with their balloons and pictures."""
        return [
            replace(card, balloon=self.balloons.get(card.key), picture=self.pictures.get(card.key)) for card in cards
        ]


def sheets_of(revision_id: int) -> list[SheetCard]:
    """The sheets that a revision is ballooned on, in their order."""
    rows = RevisionSheet.objects.filter(revision=revision_id).select_related("sheet__file").order_by("position", "id")
    return [sheet_card(row.sheet) for row in rows]


def sheets_by_uuid(uuids: Collection[UUID]) -> dict[UUID, SheetCard]:
    """Sheets of any drawing, by their own name; what is not known is left out."""
    rows = DrawingSheet.objects.filter(uuid__in=uuids).select_related("file")
    return {row.uuid: sheet_card(row) for row in rows}


def sheets_of_family(family_code: str) -> list[SheetCard]:
    """Every sheet that a family's drawing ever had, the oldest first."""
    rows = DrawingSheet.objects.filter(family__code__iexact=family_code).select_related("file").order_by("id")
    return [sheet_card(row) for row in rows]


def drawing_files(uuids: Collection[UUID]) -> set[UUID]:
    """Those of the kept files that are a sheet of a drawing."""
    return set(DrawingSheet.objects.filter(file__uuid__in=uuids).values_list("file__uuid", flat=True))


def balloon_count(revision_id: int) -> int:
    """How many balloons there are, those of deleted checkpoints included."""
    return BalloonRow.objects.filter(revision=revision_id).count()


def sheet_card(row: DrawingSheet) -> SheetCard:
    """The card of a row already read, with its file."""
    file: Any = row.file
    return SheetCard(
        row.pk, row.uuid, row.number, row.document_revision, row.sheet, row.title,
        file.uuid, file.digest, file.media_type, row.width, row.height,
    )  # fmt: skip


def marks_of(revision_id: int, paper: Paper | None = None) -> Marks:
    """What is drawn beside a revision; `paper` is that of its draft, where it has one."""
    if paper is None and (draft := Draft.objects.filter(revision=revision_id).first()):
        paper = Paper.from_json(draft.rows)
    return _marks(revision_id, _keys_of_rows(paper) if paper else _key_of_checkpoint)


def released_marks(revision_id: int) -> Marks:
    """As `marks_of`, for a revision that is known to have no draft any more."""
    return _marks(revision_id, _key_of_checkpoint)


def _marks(revision_id: int, key_of: Callable[[BalloonRow | ReferencePicture], str]) -> Marks:
    balloons = list(
        BalloonRow.objects.filter(revision=revision_id)
        .select_related("sheet__file", "checkpoint__characteristic")
        .order_by("row")
    )
    pictures = ReferencePicture.objects.filter(revision=revision_id).select_related(
        "file", "checkpoint__characteristic"
    )
    return Marks(
        {key: _balloon(row) for row in balloons if (key := key_of(row))},
        {key: _picture(row) for row in pictures if (key := key_of(row))},
        tuple(_balloon(row) for row in balloons if not key_of(row)),
    )


def _keys_of_rows(paper: Paper) -> Callable[[BalloonRow | ReferencePicture], str]:
    keys = {row.id: row.key for row in paper.rows}
    return lambda row: keys.get(row.row, "")


def _key_of_checkpoint(row: BalloonRow | ReferencePicture) -> str:
    return row.checkpoint.characteristic.key if row.checkpoint else ""


def _balloon(row: BalloonRow) -> Balloon:
    return Balloon(sheet_card(row.sheet), row.across, row.down)


def _picture(row: ReferencePicture) -> Picture:
    file: Any = row.file
    return Picture(file.uuid, file.name, file.digest)


def marks_content(revision_id: int, paper: Paper | None = None) -> dict[str, object]:
    """What is drawn, as the revision's digest counts it. Nothing for a plan without drawings."""
    marks = marks_of(revision_id, paper)
    sheets = [[str(s.uuid), s.number, s.document_revision, s.sheet, s.title, s.digest] for s in sheets_of(revision_id)]
    balloons = {key: [str(one.sheet.uuid), one.across, one.down] for key, one in marks.balloons.items()}
    pictures = {key: one.digest for key, one in marks.pictures.items()}
    found = {"sheets": sheets, "balloons": balloons, "pictures": pictures}
    return {name: value for name, value in found.items() if value}
