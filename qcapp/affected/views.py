"""The suspect units of a report: where each is, and the one act that holds the chosen ones."""

from __future__ import annotations

from http import HTTPStatus

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from qcapp.core.errors import QcError
from qcapp.lib.refusals import refusal_status
from qcapp.nonconformance.services.suspecting import hold_suspects
from qcapp.people.access import needs
from qcapp.people.queries import may
from qcapp.people.roles import Act

from .suspects import population

LONGEST_START = 9


@require_safe
@needs(Act.LOOK_AT_REPORTS)
def suspects(request: HttpRequest, number: str) -> HttpResponse:
    """Every unit that shares with the report what may have caused the fault."""
    return _page(request, number)


@require_POST
@needs(Act.HOLD_SUSPECTS)
def hold(request: HttpRequest, number: str) -> HttpResponse:
    """Put the chosen units on hold with a reason."""
    reason, chosen = request.POST.get("reason", ""), request.POST.getlist("serial")
    try:
        held = hold_suspects(by=request.user, number=number, serials=chosen, reason=reason, at=timezone.now())
    except QcError as error:
        return _page(request, number, problem=error.message, reason=reason, status=refusal_status(error))
    messages.success(request, f"{len(held)} units are on hold for {number}.", extra_tags="in")
    return redirect("affected:suspects", number=number)


def _page(
    request: HttpRequest, number: str, *, problem: str = "", reason: str = "", status: int = HTTPStatus.OK
) -> HttpResponse:
    at = timezone.now()
    text = request.GET.get("from", "")
    start = int(text) if text.isascii() and text.isdigit() and len(text) <= LONGEST_START else 0
    found = population(number, viewer=request.user, at=at, start=start)
    context = {
        "found": found,
        "card": found.report.card,
        "suspects": found.suspects,
        "chosen": set(request.POST.getlist("serial")) or {one.unit.serial for one in found.suspects if one.chosen},
        "may_hold": may(request.user, Act.HOLD_SUSPECTS, at) and not found.report.card.ended,
        "problem": problem,
        "reason": reason,
    }
    return render(request, "affected/suspects.html", context, status=status)
