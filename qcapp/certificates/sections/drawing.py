"""The sheets that the plan is ballooned on, each with its balloons: the numbers are those of the checkpoints."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from qcapp.plans.queries.marks import sheets_of

from .record import Record

if TYPE_CHECKING:
    from qcapp.plans.cards import SheetCard


@dataclass(frozen=True)
class Spot:
    """A balloon; `across` and `down` in hundred-thousandths of the sheet's width and height."""

    number: int
    across: int
    down: int


@dataclass(frozen=True)
class Sheet:
    """One sheet by its digest; the bytes are kept evidence. `width` to `height` is its shape."""

    file: str
    digest: str
    media_type: str
    drawing: str
    revision: str
    sheet: int
    title: str
    width: int
    height: int
    spots: tuple[Spot, ...]


@dataclass(frozen=True)
class Drawing:
    """The sheets in the plan's order; `shown` is the family's choice, and always so in a first-article report."""

    shown: bool
    sheets: tuple[Sheet, ...]


def build(record: Record) -> Drawing:
    """What the checkpoints' numbers point at."""
    shown = record.choice.drawing or record.choice.kind == "first_article"
    sheets = sheets_of(record.standing.inspection.revision.id) if shown else []
    return Drawing(shown, tuple(_sheet(record, one) for one in sheets))


def _sheet(record: Record, one: SheetCard) -> Sheet:
    cards = [view.card for view in record.standing.inspection.checkpoints]
    drawn = [(card.number, card.balloon) for card in cards if card.balloon and card.balloon.sheet.id == one.id]
    return Sheet(
        file=str(one.file_uuid),
        digest=one.digest,
        media_type=one.media_type,
        drawing=one.number,
        revision=one.document_revision,
        sheet=one.sheet,
        title=one.title,
        width=one.width,
        height=one.height,
        spots=tuple(Spot(number, balloon.across, balloon.down) for number, balloon in drawn),
    )
