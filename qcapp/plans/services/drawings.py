"""What is drawn beside a draft: its sheets, the balloons on them, the reference pictures.

Balloons are cells of the working paper and not audited one by one; the released difference is. A sheet that is added
is: its file's digest stands in the chain.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING
from uuid import UUID

from django.db import transaction

from qcapp.audit import services as audit
from qcapp.audit.verbs import Verb
from qcapp.core.errors import Conflict, Invalid, NotFound, Refused
from qcapp.evidence.queries import EvidenceCard
from qcapp.evidence.services.keeping import keep_checked, keep_picture
from qcapp.lib.plain_text import plain_text
from qcapp.people.roles import Act
from qcapp.people.services import require

from ..cards import PARTS, Picture, RevisionCard, SheetCard
from ..cards import Balloon as BalloonCard
from ..draft_rows import DraftRow, Paper
from ..drawing_files import ReadSheet, read_drawing
from ..models import Balloon, Checkpoint, Draft, DrawingSheet, ReferencePicture, RevisionSheet
from ..queries.drafts import paper_of
from ..queries.marks import marks_of, sheet_card, sheets_of
from ..states import RevisionState
from .together import locked

if TYPE_CHECKING:
    from qcapp.people.models import Person

MOST_SHEETS = 40
_Cited = tuple[str, str, int, str]  # the drawing's number and revision, the first sheet, the title


@dataclass(frozen=True)
class AddedSheets:
    """The sheets that were added; `left_out` counts what their files held beside a drawing, by name."""

    cards: tuple[SheetCard, ...]
    left_out: dict[str, int]


@contextmanager
def _opened(by: Person, revision_uuid: UUID, at: datetime) -> Iterator[tuple[RevisionCard, Paper]]:
    """The draft, locked in one transaction, and afterwards marked as changed by the person. Raises `not_a_draft`."""
    require(by, Act.WRITE_PLAN, at)
    with transaction.atomic():
        card = locked(revision_uuid)
        if card.state != RevisionState.DRAFT:
            message = f"Revision {card.letter} is {card.state_label}; only a draft is ballooned. Revise it instead."
            raise Refused("not_a_draft", message)
        draft = Draft.objects.select_for_update().get(revision=card.id)
        draft.writers = [*draft.writers, *({by.pk} - set(draft.writers))]
        draft.changed_by_id, draft.changed_at = by.pk, at
        draft.save(update_fields=["writers", "changed_by", "changed_at"])
        yield card, paper_of(draft)


# --------------------------------------------------------------------------------------------------- sheets


def add_sheets(
    *,
    by: Person,
    revision_uuid: UUID,
    number: str,
    document_revision: str,
    content: bytes,
    name: str,
    at: datetime,
    sheet: int = 1,
    title: str = "",
    pages: str = "",
    takes_place_of: UUID | None = None,
) -> AddedSheets:
    """The sheets of an uploaded drawing, added to a draft; several pages become sheets that count on from `sheet`.

    A sheet that `takes_place_of` another takes over its balloons. Raises Refused `not_a_draft`, Conflict
    `sheet_twice`, NotFound `sheet_unknown`, Invalid `sheet_unreadable`, `sheets_too_many`, `one_page_asked`, and the
    codes of `read_drawing`, of `keep_picture` and of `plain_text`.
    """
    require(by, Act.WRITE_PLAN, at)
    cited = _cited(number, document_revision, sheet, title)
    read = read_drawing(content, pages)
    with _opened(by, revision_uuid, at) as (card, _):
        there = {one.uuid: one for one in sheets_of(card.id)}
        replaced = _replaced(there, takes_place_of, read)
        new = [_row_of_sheet(by, card, cited, place, one, name, at) for place, one in enumerate(read)]
        _refuse_twice(new, [one for one in there.values() if one is not replaced])
        for row in new:
            row.save()
        _take_their_places(card.id, new, replaced, len(there))
        cards = tuple(sheet_card(row) for row in new)
        payload = {"sheets": [[c.number, c.document_revision, c.sheet, c.digest] for c in cards]}
        audit.record(verb=Verb.DRAWING_ADDED, actor=by.uuid, subject=card.subject, at=at, payload=payload)
    left_out: Counter[str] = Counter()
    for one in read:
        left_out.update(one.left_out)
    return AddedSheets(cards, dict(left_out))


def _cited(number: str, document_revision: str, sheet: int, title: str) -> _Cited:
    if not 1 <= sheet <= 999:
        raise Invalid("sheet_unreadable", "A sheet has a whole number from 1 to 999.", field="sheet")
    return (
        plain_text("The drawing's number", number, longest=60),
        plain_text("The drawing's revision", document_revision, longest=12),
        sheet,
        plain_text("The title", title, longest=80, needed=False),
    )


def _row_of_sheet(
    by: Person,
    card: RevisionCard,
    cited: tuple[str, str, int, str],
    place: int,
    one: ReadSheet,
    name: str,
    at: datetime,
) -> DrawingSheet:
    number, document_revision, first, title = cited
    file = _kept(by, one, name, at)
    return DrawingSheet(
        family_id=card.family_id, number=number, document_revision=document_revision, sheet=first + place,
        title=title or f"Sheet {first + place}", file_id=file.id, width=file.width or one.width,
        height=file.height or one.height, added_by_id=by.pk, added_at=at,
    )  # fmt: skip


def _replaced(there: dict[UUID, SheetCard], wanted: UUID | None, read: Sequence[ReadSheet]) -> SheetCard | None:
    if wanted is None:
        return None
    if wanted not in there:
        raise NotFound("sheet_unknown", "The sheet to be replaced is not in this draft; reload the page.")
    if len(read) != 1:
        raise Invalid("one_page_asked", "One sheet takes the place of another; name one page.", field="pages")
    return there[wanted]


def _kept(by: Person, one: ReadSheet, name: str, at: datetime) -> EvidenceCard:
    if not one.media_type:
        return keep_picture(by=by, content=one.content, name=name, at=at)
    return keep_checked(by=by, content=one.content, media_type=one.media_type, ending=one.ending, name=name, at=at)


def _refuse_twice(new: Sequence[DrawingSheet], there: Sequence[SheetCard]) -> None:
    taken = {(one.number, one.sheet) for one in there}
    for row in new:
        if (row.number, row.sheet) in taken:
            message = f"Sheet {row.sheet} of {row.number} is in this draft already; replace it, or change its number."
            raise Conflict("sheet_twice", message)
    if len(new) + len(there) > MOST_SHEETS:
        raise Invalid("sheets_too_many", f"A plan is ballooned on at most {MOST_SHEETS} sheets.")


def _take_their_places(revision_id: int, new: Sequence[DrawingSheet], replaced: SheetCard | None, count: int) -> None:
    if replaced is None:
        RevisionSheet.objects.bulk_create(
            RevisionSheet(revision_id=revision_id, sheet=row, position=count + place)
            for place, row in enumerate(new, start=1)
        )
        return
    RevisionSheet.objects.filter(revision=revision_id, sheet=replaced.id).update(sheet=new[0])
    Balloon.objects.filter(revision=revision_id, sheet=replaced.id).update(sheet=new[0])


def remove_sheet(*, by: Person, revision_uuid: UUID, sheet_uuid: UUID, at: datetime) -> int:
    """The draft without the sheet and its balloons; gives how many those were. Raises as `add_sheets`."""
    with _opened(by, revision_uuid, at) as (card, _):
        sheet = _sheet(card.id, sheet_uuid)
        gone, _ = Balloon.objects.filter(revision=card.id, sheet=sheet.id).delete()
        RevisionSheet.objects.filter(revision=card.id, sheet=sheet.id).delete()
    return gone


def _sheet(revision_id: int, sheet_uuid: UUID) -> SheetCard:
    found = next((one for one in sheets_of(revision_id) if one.uuid == sheet_uuid), None)
    if found is None:
        raise NotFound("sheet_unknown", "That sheet is not in this draft; reload the page.")
    return found


# -------------------------------------------------------------------------------------------------- balloons


def place_balloon(
    *, by: Person, revision_uuid: UUID, key: str, sheet_uuid: UUID, across: int, down: int, at: datetime,
    was: str | None = None,
) -> BalloonCard:  # fmt: skip
    """The checkpoint's balloon, set or moved; `across` and `down` in hundred-thousandths of the sheet.

    `was` is the place that was seen, "" for none; None sets it whatever it was. Raises Refused `not_a_draft`, Conflict
    `changed_meanwhile`, NotFound `checkpoint_unknown`, `sheet_unknown`, Invalid `place_unreadable`.
    """
    if not (0 <= across <= PARTS and 0 <= down <= PARTS):
        raise Invalid("place_unreadable", "The place lies outside the sheet; set it on the drawing.")
    with _opened(by, revision_uuid, at) as (card, paper):
        row = _row(paper, key)
        sheet = _sheet(card.id, sheet_uuid)
        _refuse_unseen(card.id, paper, key, was)
        place = {"sheet_id": sheet.id, "across": across, "down": down}
        Balloon.objects.update_or_create(revision_id=card.id, row=row.id, defaults=place)
    return BalloonCard(sheet, across, down)


def remove_balloon(*, by: Person, revision_uuid: UUID, key: str, at: datetime, was: str | None = None) -> None:
    """The checkpoint without a balloon. Raises as `place_balloon`."""
    with _opened(by, revision_uuid, at) as (card, paper):
        row = _row(paper, key)
        _refuse_unseen(card.id, paper, key, was)
        Balloon.objects.filter(revision=card.id, row=row.id).delete()


def remove_astray(*, by: Person, revision_uuid: UUID, at: datetime) -> int:
    """Takes away the balloons whose checkpoint is no longer in the draft; gives how many."""
    with _opened(by, revision_uuid, at) as (card, paper):
        gone, _ = Balloon.objects.filter(revision=card.id).exclude(row__in=[row.id for row in paper.rows]).delete()
    return gone


def _row(paper: Paper, key: str) -> DraftRow:
    row = next((one for one in paper.rows if one.key and one.key == key), None)
    if row is None:
        raise NotFound("checkpoint_unknown", "That checkpoint is not in this draft; reload the page.")
    return row


def _refuse_unseen(revision_id: int, paper: Paper, key: str, was: str | None) -> None:
    if was is None:
        return
    now = marks_of(revision_id, paper).balloons.get(key)
    if (now.seen if now else "") != was:
        message = "Somebody else moved this balloon meanwhile; nothing was overwritten. Look again, then set it."
        raise Conflict("changed_meanwhile", message, now=now.seen if now else "")


# --------------------------------------------------------------------------------------- reference pictures


def set_picture(*, by: Person, revision_uuid: UUID, key: str, content: bytes, name: str, at: datetime) -> Picture:
    """The checkpoint's reference picture: JPEG, PNG or WebP. Raises as `keep_picture` and `place_balloon`."""
    with _opened(by, revision_uuid, at) as (card, paper):
        row = _row(paper, key)
        file = keep_picture(by=by, content=content, name=name, at=at)
        ReferencePicture.objects.update_or_create(revision_id=card.id, row=row.id, defaults={"file_id": file.id})
    return Picture(file.uuid, file.name, file.digest)


def remove_picture(*, by: Person, revision_uuid: UUID, key: str, at: datetime) -> None:
    """The checkpoint without a reference picture. Raises Refused `not_a_draft`, NotFound `checkpoint_unknown`."""
    with _opened(by, revision_uuid, at) as (card, paper):
        ReferencePicture.objects.filter(revision=card.id, row=_row(paper, key).id).delete()


# -------------------------------------------------------------------------- into the next draft, and the release


def carry_over(source_id: int, revision_id: int, paper: Paper) -> None:
    """What is drawn beside one revision, beside the draft that begins from it; in the caller's transaction."""
    sheets = sheets_of(source_id)
    marks = marks_of(source_id)
    files = dict(ReferencePicture.objects.filter(revision=source_id).values_list("file__uuid", "file"))
    RevisionSheet.objects.bulk_create(
        RevisionSheet(revision_id=revision_id, sheet_id=sheet.id, position=place)
        for place, sheet in enumerate(sheets, start=1)
    )
    Balloon.objects.bulk_create(
        Balloon(revision_id=revision_id, row=row.id, sheet_id=one.sheet.id, across=one.across, down=one.down)
        for row in paper.rows
        if (one := marks.balloons.get(row.key))
    )
    ReferencePicture.objects.bulk_create(
        ReferencePicture(revision_id=revision_id, row=row.id, file_id=files[picture.file_uuid])
        for row in paper.rows
        if (picture := marks.pictures.get(row.key))
    )


def settle_marks(revision_id: int, paper: Paper) -> None:
    """At the release: balloons and pictures name the checkpoints that were just written; those of none go."""
    checkpoints = dict(Checkpoint.objects.filter(revision=revision_id).values_list("characteristic__key", "pk"))
    ids = {row.id: checkpoints.get(row.key) for row in paper.rows}
    for rows in (Balloon.objects.filter(revision=revision_id), ReferencePicture.objects.filter(revision=revision_id)):
        for row in rows:
            row.checkpoint_id = ids.get(row.row)
            if row.checkpoint_id is None:
                row.delete()
            else:
                row.save(update_fields=["checkpoint"])
