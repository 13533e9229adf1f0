"""Where it is: a photo of what was found with a mark on it, and a mark on the family's drawing."""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal
from typing import TYPE_CHECKING, Any
from uuid import UUID

from django.db import transaction

from qcapp.audit.verbs import Verb
from qcapp.core.errors import Invalid, NotFound, Refused
from qcapp.evidence.services.keeping import keep_picture
from qcapp.inspections.queries import adopted
from qcapp.lib.plain_text import plain_text
from qcapp.people.roles import Act
from qcapp.people.services import require
from qcapp.plans.queries import released_card
from qcapp.plans.queries.marks import sheets_of
from qcapp.production.queries import units_of_items

from ..models import Report, ReportMark, ReportPicture
from ..states import ENDED
from .steps import enter, locked, remark

if TYPE_CHECKING:
    from qcapp.people.models import Person
    from qcapp.plans.queries.marks import SheetCard

ONE = Decimal(1)


def add_picture(
    *,
    by: Person,
    number: str,
    content: bytes,
    name: str,
    mark: tuple[Decimal, Decimal] | None = None,
    sheet: str = "",
    caption: str = "",
    at: datetime,
) -> None:
    """Keep a photo beside the report, with a mark as fractions of its width and height.

    With `sheet`, the uuid of a sheet of the drawing, the mark is on that sheet instead: a further one of `mark_place`.
    Raises NotAllowed, NotFound `report_unknown`, `sheet_unknown`, Invalid `mark_outside`, `mark_missing`, Refused
    `report_ended`, what `keep_picture` raises for a file that is no photo, a code of `plain_text`.
    """
    require(by, Act.RAISE_REPORT, at)
    caption = plain_text("The caption", caption, longest=160, needed=False)
    if sheet and mark is None:
        raise Invalid("mark_missing", "Say where on the sheet it is, or leave the sheet out.")
    if mark is not None and not all(0 <= place <= ONE for place in mark):
        raise Invalid("mark_outside", "The mark lies outside the picture; place it again.")
    with transaction.atomic():
        report = locked(number)
        if report.status.state in ENDED:
            raise Refused("report_ended", f"{report.number} has ended; its pictures stand as they are.")
        kept = keep_picture(by=by, content=content, name=name, at=at)
        x, y = (None, None) if sheet or mark is None else mark
        ReportPicture.objects.create(
            report=report, evidence=kept.uuid, mark_x=x, mark_y=y, caption=caption, by=by, at=at
        )
        if sheet and mark:
            _set(report, _sheet(report, sheet), mark, further=True, caption=caption, by=by, at=at)
        remark(report, "picture_added", by=by, at=at, note=caption, data={"picture": str(kept.uuid)})
        enter(report, Verb.REPORT_PICTURE_ADDED, by=by, at=at, picture=str(kept.uuid), digest=kept.digest)


@transaction.atomic
def mark_place(
    *, by: Person, number: str, sheet: UUID, x: Decimal, y: Decimal, further: bool = False, caption: str = "",
    at: datetime,
) -> None:  # fmt: skip
    """Say where on a sheet of the drawing it is, as fractions of its width and height.

    A later mark takes the place of the one before; a further one stands beside those already set. Raises NotAllowed,
    NotFound `report_unknown`, `sheet_unknown`, Invalid `mark_outside` or of `plain_text`, Refused `report_ended`.
    """
    require(by, Act.RAISE_REPORT, at)
    caption = plain_text("The caption", caption, longest=160, needed=False)
    if not all(0 <= place <= ONE for place in (x, y)):
        raise Invalid("mark_outside", "The mark lies outside the drawing; place it again.")
    report = locked(number)
    if report.status.state in ENDED:
        raise Refused("report_ended", f"{report.number} has ended; its mark stands as it is.")
    drawn = _sheet(report, str(sheet))
    told = _set(report, drawn, (x, y), further=further, caption=caption, by=by, at=at)
    remark(report, "place_marked", by=by, at=at, note=caption or f"Marked on {drawn.name}", data=told)
    enter(report, Verb.REPORT_PLACE_MARKED, by=by, at=at, **told)


def _sheet(report: Report, named: str) -> SheetCard:
    """The sheet of the report's drawing with this uuid. Raises NotFound `sheet_unknown`."""
    found = next((one for one in drawing_of(report) if str(one.uuid) == named.strip().lower()), None)
    if found is None:
        raise NotFound("sheet_unknown", "The drawing of this part has no such sheet; choose one that is shown.")
    return found


def _set(
    report: Report, sheet: SheetCard, place: tuple[Decimal, Decimal], *, further: bool, caption: str, by: Person,
    at: datetime,
) -> dict[str, Any]:  # fmt: skip
    """Write the mark; gives what the record keeps of it."""
    x, y = place
    ReportMark.objects.create(report=report, sheet=sheet.uuid, x=x, y=y, further=further, caption=caption, by=by, at=at)
    return {"sheet": str(sheet.uuid), "x": str(x), "y": str(y)}


def drawing_of(report: Report) -> list[SheetCard]:
    """The sheets of the drawing in the plan that the unit is inspected to; for a lot, of its family's released one."""
    try:
        unit = units_of_items([report.item_id])
        revision = adopted(report.item_id).revision if unit else released_card(report.item.family.code)
    except NotFound:
        return []
    return list(sheets_of(revision.id))
