"""A defect marked on the ballooned drawing, from the bench."""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal
from typing import TYPE_CHECKING
from uuid import UUID

from django.db import transaction

from qcapp.audit.verbs import Verb
from qcapp.core.errors import Invalid, NotFound, Refused
from qcapp.inspections.queries import adopted
from qcapp.lib.plain_text import plain_text, shown
from qcapp.people.roles import Act
from qcapp.people.services import require
from qcapp.plans.queries.marks import sheets_of
from qcapp.production.queries import unit_by_serial
from qcapp.production.services import lock_unit

from ..models import ReportMark
from ..queries import active_by_checkpoint
from .steps import enter, locked, remark

if TYPE_CHECKING:
    from qcapp.people.models import Person

WHOLE = 1000


@transaction.atomic
def mark_on_drawing(
    *, by: Person, serial: str, checkpoint_key: str, sheet: UUID, mark: tuple[int, int], caption: str = "", at: datetime
) -> tuple[str, bool]:
    """The open report about the checkpoint that the mark was set with, and whether it is new; twice is harmless.

    `mark` is across and down in thousandths of the sheet. Raises NotAllowed `not_permitted`; NotFound
    `serial_unknown`, `checkpoint_unknown`, `sheet_unknown`; Invalid `mark_outside` or of `plain_text`; Refused
    `no_report_to_mark`.
    """
    require(by, Act.RAISE_REPORT, at)
    caption = plain_text("The caption", caption, longest=160, needed=False)
    if not all(0 <= place <= WHOLE for place in mark):
        raise Invalid("mark_outside", "The mark lies outside the picture; place it again.")
    unit = lock_unit(unit_by_serial(serial).id)
    plan = adopted(unit.item_id)
    card = next((card for card in plan.checkpoints if card.key == checkpoint_key), None)
    if card is None:
        message = f"The plan of {unit.serial} has no checkpoint {shown(checkpoint_key)}."
        raise NotFound("checkpoint_unknown", message)
    drawn = next((one for one in sheets_of(plan.revision.id) if one.uuid == sheet), None)
    if drawn is None:
        raise NotFound("sheet_unknown", "That drawing is not one of this unit's plan; load the page again.")
    number = active_by_checkpoint(unit.item_id).get(card.id)
    if number is None:
        raise Refused("no_report_to_mark", f"No open report is about {card.number}; report it first, then mark it.")
    report = locked(number)
    x, y = (Decimal(place) / WHOLE for place in mark)
    if ReportMark.objects.filter(report=report, sheet=sheet, x=x, y=y).exists():
        return number, False
    ReportMark.objects.create(report=report, sheet=sheet, x=x, y=y, further=True, caption=caption, by=by, at=at)
    told = {"sheet": str(sheet), "x": str(x), "y": str(y)}
    remark(report, "place_marked", by=by, at=at, note=caption or f"Marked on {drawn.name}", data=told)
    enter(report, Verb.REPORT_PLACE_MARKED, by=by, at=at, **told)
    return number, True
