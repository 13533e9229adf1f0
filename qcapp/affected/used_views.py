"""Where used: one name, what carries it, and the units that it went into."""

from __future__ import annotations

from http import HTTPStatus
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from qcapp.core.errors import QcError
from qcapp.lib.refusals import refusal_status
from qcapp.people.access import needs
from qcapp.people.queries import acts_of
from qcapp.people.roles import Act

from .papers import names_in
from .using import LONGEST, Thing, things_named, uses_of

SHOWN = 500  # units on a page; who is affected gives them all as a file


@require_safe
@needs(Act.LOOK_UP_UNIT)
def where_used(request: HttpRequest) -> HttpResponse:
    """The search field; what has the name, where it is several things; where the one thing is used."""
    at = timezone.now()
    name, key = request.GET.get("name", "").strip(), request.GET.get("is", "")
    context: dict[str, Any] = {
        "name": name[:LONGEST],
        "things": [],
        "asks": Act.ASK_AFFECTED in acts_of(request.user, at),
    }
    if not name:
        return render(request, "affected/used.html", context)
    try:
        things = things_named(name, at)
    except QcError as error:
        status = refusal_status(error)
        return render(request, "affected/used.html", context | {"problem": error.message}, status=status)
    chosen = [thing for thing in things if thing.key == key] or things
    context["things"] = things
    if len(chosen) == 1:
        context |= _used(request, chosen[0])
    return render(request, "affected/used.html", context, status=HTTPStatus.OK)


def _used(request: HttpRequest, thing: Thing) -> dict[str, Any]:
    found = uses_of(thing)
    sees = Act.SEE_CUSTOMERS in acts_of(request.user, timezone.now())
    names = names_in(found.rows[:SHOWN]) if sees else {}
    shown = [(row, names.get(row.customer, "")) for row in found.rows[:SHOWN]]
    return {"used": found, "shown": shown, "names": sees, "more": max(0, len(found.rows) - SHOWN), "plain": True}
