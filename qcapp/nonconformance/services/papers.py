"""Papers about a report: the tag that hangs on the part, the report with its history, the paper that goes back."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING, Any

from django.conf import settings

from qcapp.core.errors import Invalid, NotFound
from qcapp.lib.pdf import html_to_pdf
from qcapp.lib.printing import paper, printable
from qcapp.lib.qr_codes import qr_svg
from qcapp.lib.site_days import site_day
from qcapp.production.queries import holds_by_item, units_of_items

from ..queries import ReportView, report

if TYPE_CHECKING:
    from qcapp.people.models import Person

NARROWEST, WIDEST = 38, 210  # mm of roll
TEMPLATES = "nonconformance/papers"


def tag_pdf(*, number: str, serial: str = "", width: int | None = None, viewer: Person, at: datetime) -> bytes:
    """The hold tag of a unit as a label `width` mm wide, or as an A4 sheet without a width.

    Without a serial it is the unit the report was raised at; a suspect unit on hold for the report has a tag too. The
    tag says where, not what, while the second inspection is owed. Raises NotFound `report_unknown`, `not_held`, Invalid
    `width_out_of_range`.
    """
    if width is not None and not NARROWEST <= width <= WIDEST:
        raise Invalid(
            "width_out_of_range", f"Labels are from {NARROWEST} to {WIDEST} mm wide; choose the roll's width."
        )
    view = report(number, viewer=viewer, at=at)
    tagged, reason = _tagged(view, serial.strip().upper())
    context = {"width": width, "height": None if width is None else _height(width), "tagged": tagged, "reason": reason}
    return _pdf("tag", view, context, title=f"Hold tag {view.card.number} {tagged}", at=view.card.raised_at)


def _tagged(view: ReportView, serial: str) -> tuple[str, str]:
    """What the tag hangs on, and why: the reason of the hold itself."""
    if not view.serials:
        return str(view.facts.get("lot", "lot")), view.card.title
    serial = serial or view.serials[0]
    if serial in view.serials:
        return serial, view.card.title
    for move in view.moves:
        if serial in move.data.get("serials", ()):
            return serial, move.note
    raise NotFound("not_held", f"{serial[:40]} is not on hold for {view.card.number}; look at the unit again.")


def _height(width: int) -> int:
    """Room for the words and the code: wide labels lay them side by side."""
    return 70 if width >= 80 else width + 62


def report_pdf(*, number: str, viewer: Person, at: datetime) -> bytes:
    """The report with everything that became of it. Raises NotFound `report_unknown`."""
    view = report(number, viewer=viewer, at=at)
    units = units_of_items(view.item_ids)
    holds = [hold for found in holds_by_item(view.item_ids).values() for hold in found if hold.source == number.upper()]
    context = {"units": list(units.values()), "holds": holds, "printed": at}
    return _pdf("report", view, context, title=f"Nonconformance report {view.card.number}", at=at)


def return_pdf(*, number: str, viewer: Person, at: datetime) -> bytes:
    """The paper that goes back with the parts. Raises NotFound `report_unknown`, `no_return_note`."""
    view = report(number, viewer=viewer, at=at)
    note = view.return_note
    if note is None:
        raise NotFound("no_return_note", f"No paper is written for {view.card.number} yet; write it on the report.")
    return _pdf("return", view, {"note": note}, title=f"Return note {note.number}", at=note.at)


def _pdf(name: str, view: ReportView, context: dict[str, Any], *, title: str, at: datetime) -> bytes:
    address = f"{settings.QCAPP_PUBLIC_URL.rstrip('/')}/nonconformances/{view.card.number}/"
    context |= {"report": view, "card": view.card, "address": address, "qr": qr_svg(address), "title": title}
    context |= {"demonstration": settings.QCAPP_DEMO, "maker": settings.QCAPP_SITE_NAME, "day": site_day(at)}
    html = printable(paper(f"{TEMPLATES}/{name}.html", context))
    return html_to_pdf(html, identifier=view.card.uuid.hex, created=at, title=title)
