"""Papers about a report as PDF."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.views.decorators.http import require_safe

from qcapp.core.errors import Invalid
from qcapp.people.access import needs
from qcapp.people.roles import Act

from .services import papers


@require_safe
@needs(Act.LOOK_AT_REPORTS)
def tag(request: HttpRequest, number: str) -> HttpResponse:
    """The hold tag: `width` is the roll's in mm, a sheet without it; `serial` that of a further or suspect unit."""
    serial, at = request.GET.get("serial", "")[:60], timezone.now()
    data = papers.tag_pdf(number=number, serial=serial, width=tag_width(request.GET), viewer=request.user, at=at)
    return _inline(data, f"{number}-tag.pdf")


@require_safe
@needs(Act.LOOK_AT_REPORTS)
def report(request: HttpRequest, number: str) -> HttpResponse:
    """The report and its history."""
    return _inline(papers.report_pdf(number=number, viewer=request.user, at=timezone.now()), f"{number}.pdf")


@require_safe
@needs(Act.LOOK_AT_REPORTS)
def return_note(request: HttpRequest, number: str) -> HttpResponse:
    """The paper that goes back to the supplier with the parts."""
    return _inline(papers.return_pdf(number=number, viewer=request.user, at=timezone.now()), f"{number}-return.pdf")


def tag_width(asked: object) -> int | None:
    """The roll's width from an address; None for a sheet. Raises Invalid `width_out_of_range`."""
    text = asked.get("width", "")[:5] if hasattr(asked, "get") else ""
    if text in ("", "a4"):
        return None
    if not text.isascii() or not text.isdigit():
        raise Invalid("width_out_of_range", "Give the roll's width in whole millimetres, or a4 for a sheet.")
    return int(text)


def _inline(data: bytes, name: str) -> HttpResponse:
    return HttpResponse(
        data, content_type="application/pdf", headers={"Content-Disposition": f'inline; filename="{name}"'}
    )
