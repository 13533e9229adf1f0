"""The page "Limits": numbers for whoever writes a plan, computed while typing. Nothing is stored."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from qcapp.core.errors import NotFound
from qcapp.lib.plain_text import shown
from qcapp.people.access import needs
from qcapp.people.roles import Act

from .parts import PARTS, Part

ANSWER = "answer"


@needs(Act.LOOK_AT_PLAN)
@require_safe
def page(request: HttpRequest) -> HttpResponse:
    """`?part=welds&level=C…`: the part with its answer; for a script that asks while typing the answer alone."""
    part = _part(request.GET.get("part", next(iter(PARTS))))
    form = part.read(request.GET.dict())
    form.is_valid()
    if request.headers.get("HX-Target") == ANSWER:
        return render(request, "plans/limits/answer.html", part.context(form) | {"alone": True})
    return render(request, "plans/limits/page.html", part.context(form) | {"parts": PARTS.values()})


def _part(key: str) -> Part:
    if key in PARTS:
        return PARTS[key]
    raise NotFound("part_unknown", f"There is no part “{shown(key)}”; it is one of {', '.join(PARTS)}.")
