"""A report on a lot, and the mark on the drawing that says where something is."""

from __future__ import annotations

from decimal import Decimal
from http import HTTPStatus
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from qcapp.core.errors import QcError
from qcapp.lib.refusals import refusal_status
from qcapp.people.access import needs
from qcapp.people.roles import Act

from . import forms
from .queries import report, report_row
from .services import by_hand
from .services.picturing import drawing_of, mark_place

GET_AND_POST = ["GET", "HEAD", "POST"]
WIDE = 720  # pixels that a sheet is shown wide, so that a click tells where it was
PER_CENT = 100


@require_http_methods(GET_AND_POST)
@needs(Act.RAISE_REPORT)
def raise_on_lot(request: HttpRequest) -> HttpResponse:
    """Raise a report about pieces of a lot, or all of it."""
    initial = {"lot_code": request.GET.get("lot", "")[:36]}
    sent, files = (request.POST, request.FILES) if request.method == "POST" else (None, None)
    form = forms.LotForm(sent, files, initial=initial)
    status = HTTPStatus.BAD_REQUEST if form.is_bound else HTTPStatus.OK
    if form.is_valid():
        try:
            number = by_hand.raise_on_lot(by=request.user, at=timezone.now(), **form.cleaned_data)
        except QcError as error:
            form.add_error(None, error.message)
            status = refusal_status(error)
        else:
            messages.success(request, f"{number} is open and the lot is on hold.", extra_tags="in")
            if getattr(request, "tablet", None):  # the report itself is read in the office
                return redirect(request.get_full_path())
            return redirect("nonconformance:report", number=number)
    return render(request, "nonconformance/raise_lot.html", {"form": form}, status=status)


@require_http_methods(GET_AND_POST)
@needs(Act.RAISE_REPORT)
def mark(request: HttpRequest, number: str) -> HttpResponse:
    """Say where on the drawing it is: a click on the sheet, or two numbers."""
    view = report(number, viewer=request.user, at=timezone.now())
    sheets = [] if view.card.hidden else drawing_of(report_row(number))
    form = forms.MarkForm(_clicked(request, sheets), sheets=[(str(one.uuid), one.name) for one in sheets])
    status = HTTPStatus.BAD_REQUEST if form.is_bound else HTTPStatus.OK
    if form.is_valid():
        try:
            mark_place(by=request.user, number=number, at=timezone.now(), **form.place)
        except QcError as error:
            form.add_error(None, error.message)
            status = refusal_status(error)
        else:
            return redirect("nonconformance:report", number=number)
    shown = [(one, WIDE, round(WIDE * float(one.height) / float(one.width))) for one in sheets]
    context = {"report": view, "sheets": shown, "form": form}
    return render(request, "nonconformance/mark.html", context, status=status)


def _clicked(request: HttpRequest, sheets: Any) -> dict[str, str] | None:
    """What was sent; a click on a sheet becomes the per cent that the fields hold."""
    if request.method != "POST":
        return None
    sent = {name: str(value) for name, value in request.POST.items()}
    for sheet in sheets:
        if str(sheet.uuid) == sent.get("sheet") and "at.x" in sent:
            tall = WIDE * float(sheet.height) / float(sheet.width)
            sent["across"], sent["down"] = _percent(sent["at.x"], WIDE), _percent(sent.get("at.y", ""), tall)
    return sent


def _percent(pixels: str, whole: float) -> str:
    """Pixels as per cent of the sheet, with two decimals; what is no number is left to the form."""
    if not (pixels.isascii() and pixels.isdigit() and len(pixels) < 6):
        return pixels
    share = Decimal(int(pixels)) * PER_CENT / Decimal(str(whole))
    return str(min(share, Decimal(PER_CENT)).quantize(Decimal("0.01")))
