"""Where it is: a photo of what was found with a mark on it, and a mark on the family's drawing."""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal
from typing import TYPE_CHECKING
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

    Raises NotAllowed, NotFound, Invalid `mark_outside`, Refused `report_ended`, what `keep_picture` raises for a file
    that is no photo, a code of `plain_text`.
    """
    require(by, Act.RAISE_REPORT, at)
    caption = plain_text("The caption", caption, longest=160, needed=False)
    sheet = plain_text("The sheet", sheet, longest=40, needed=False)
    if mark is not None and not all(0 <= place <= ONE for place in mark):
        raise Invalid("mark_outside", "The mark lies outside the picture; place it again.")
    with transaction.atomic():
        report = locked(number)
        if report.status.state in ENDED:
            raise Refused("report_ended", f"{report.number} has ended; its pictures stand as they are.")
        kept = keep_picture(by=by, content=content, name=name, at=at)
        x, y = mark or (None, None)
        ReportPicture.objects.create(
            report=report, evidence=kept.uuid, mark_x=x, mark_y=y, sheet=sheet, caption=caption, by=by, at=at
        )
        remark(report, "picture_added", by=by, at=at, note=caption, data={"picture": str(kept.uuid)})
        enter(report, Verb.REPORT_PICTURE_ADDED, by=by, at=at, picture=str(kept.uuid), digest=kept.digest)


@transaction.atomic
def mark_place(*, by: Person, number: str, sheet: UUID, x: Decimal, y: Decimal, at: datetime) -> None:
    """Say where on a sheet of the drawing it is, as fractions of its width and height; a later mark takes its place.

    Raises NotAllowed, NotFound `report_unknown`, `sheet_unknown`, Invalid `mark_outside`, Refused `report_ended`.
    """
    require(by, Act.RAISE_REPORT, at)
    if not all(0 <= place <= ONE for place in (x, y)):
        raise Invalid("mark_outside", "The mark lies outside the drawing; place it again.")
    report = locked(number)
    if report.status.state in ENDED:
        raise Refused("report_ended", f"{report.number} has ended; its mark stands as it is.")
    known = {one.uuid: one for one in drawing_of(report)}
    if sheet not in known:
        raise NotFound("sheet_unknown", "The drawing of this part has no such sheet; choose one that is shown.")
    ReportMark.objects.create(report=report, sheet=sheet, x=x, y=y, by=by, at=at)
    told = {"sheet": str(sheet), "x": str(x), "y": str(y)}
    remark(report, "place_marked", by=by, at=at, note=f"Marked on {known[sheet].name}", data=told)
    enter(report, Verb.REPORT_PLACE_MARKED, by=by, at=at, **told)


def drawing_of(report: Report) -> list[SheetCard]:
    """The sheets of the drawing in the plan that the unit is inspected to; for a lot, of its family's released one."""
    try:
        unit = units_of_items([report.item_id])
        revision = adopted(report.item_id).revision if unit else released_card(report.item.family.code)
    except NotFound:
        return []
    return list(sheets_of(revision.id))
