"""Rework and repair as work on the floor: what is to be corrected, and its steps, each confirmed by name."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_safe

from qcapp.core.errors import Invalid, QcError
from qcapp.lib.refusals import refusal_status
from qcapp.lib.spoken import said
from qcapp.nonconformance.queries import report, to_correct
from qcapp.nonconformance.services import correcting
from qcapp.people.access import needs
from qcapp.people.roles import Act


@never_cache
@require_safe
@needs(Act.CORRECT_REPORT)
def corrections(request: HttpRequest) -> HttpResponse:
    """What is to be corrected, waiting longest first."""
    found = to_correct(viewer=request.user, at=timezone.now())
    return render(request, "capture/corrections.html", {"reports": found})


@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
@needs(Act.CORRECT_REPORT)
def correction(request: HttpRequest, number: str) -> HttpResponse:
    """One correction: its instruction and its steps. It needs the network, because others may confirm steps too."""
    problem: QcError | None = None
    if request.method == "POST":
        try:
            _perform(request, number, timezone.now())
        except QcError as error:
            problem = error
        else:
            return redirect("capture:correction", number=number)
    view = report(number, viewer=request.user, at=timezone.now())
    context: dict[str, Any] = {"report": view, "card": view.card, "problem": said(problem.message) if problem else ""}
    context["note"] = request.POST.get("note", "") if problem else ""
    return render(request, "capture/correction.html", context, status=refusal_status(problem) if problem else 200)


def _perform(request: HttpRequest, number: str, at: datetime) -> None:
    """What the button that was pressed says. Raises QcError."""
    act, note = request.POST.get("act", ""), request.POST.get("note", "")
    told = {"by": request.user, "number": number, "note": note, "at": at}
    if act == "start":
        correcting.start_correction(**told)
    elif act == "finish":
        correcting.finish_correction(**told)
    elif act.isascii() and act.isdigit() and len(act) < 5:
        correcting.confirm_step(position=int(act), **told)
    else:
        raise Invalid("step_unreadable", "Press one of the buttons of this page again.")
