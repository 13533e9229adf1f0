"""Pages for entries that did not come the usual way: a file saved on a tablet, and what a revoked tablet sent."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from qcapp.core.errors import Invalid, QcError
from qcapp.lib.refusals import refusal_status
from qcapp.people.access import needs
from qcapp.people.queries import aside_cards
from qcapp.people.roles import Act

from .services.handed_in import HandedIn, judge_all_aside, take_in_file


@needs(Act.JUDGE_ASIDE)
@require_http_methods(["GET", "HEAD", "POST"])
def unsent_file(request: HttpRequest) -> HttpResponse:
    """Take in the file that a tablet saved; each entry with what became of it."""
    found: list[HandedIn] = []
    problem: QcError | None = None
    if request.method == "POST":
        try:
            given: Any = request.FILES.get("file")
            if given is None:
                raise Invalid("file_not_chosen", "Choose the file that the tablet saved.")
            found = take_in_file(by=_person(request), stream=given, at=timezone.now())
        except QcError as error:
            problem = error
    counts = {name: sum(one.verdict.outcome == name for one in found) for name in ("applied", "duplicate", "rejected")}
    return render(
        request,
        "inspections/unsent_file.html",
        {"found": found, "counts": counts, "problem": problem},
        status=refusal_status(problem) if problem else 200,
    )


@needs(Act.JUDGE_ASIDE)
@require_http_methods(["GET", "HEAD", "POST"])
def aside(request: HttpRequest) -> HttpResponse:
    """Entries of revoked tablets, each to be accepted or refused with a reason."""
    problem: QcError | None = None
    if request.method == "POST":
        try:
            done = _judge(request)
        except QcError as error:
            problem = error
        else:
            messages.success(request, done)
            return redirect("inspections:aside")
    shown = {"cards": aside_cards(), "problem": problem}
    return render(request, "inspections/aside.html", shown, status=refusal_status(problem) if problem else 200)


def _person(request: HttpRequest) -> Any:
    return request.user  # behind an act nobody is anonymous


def _judge(request: HttpRequest) -> str:
    chosen = request.POST.get("entry", "")
    accepted, reason = request.POST.get("decision") == "accept", request.POST.get("reason", "")
    ids = [card.id for card in aside_cards()] if chosen == "all" else [int(chosen) if chosen.isdigit() else 0]
    judge_all_aside(by=_person(request), entry_ids=ids, accepted=accepted, reason=reason, at=timezone.now())
    return f"{len(ids)} {'entry is' if len(ids) == 1 else 'entries are'} {'recorded' if accepted else 'refused'}."
