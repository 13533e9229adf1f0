"""Pages of what is plated, coated or heat-treated outside: what is out now, and one unit with what was done to it."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from http import HTTPStatus
from typing import Any

from django import forms as django_forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from qcapp.core.errors import NotFound
from qcapp.lib.plain_text import shown
from qcapp.lib.several_forms import Perform, SeveralForms
from qcapp.people.access import needs
from qcapp.people.queries import may
from qcapp.people.roles import Act
from qcapp.production.queries import open_holds, unit_by_serial
from qcapp.production.queries.as_built import lot_by_code
from qcapp.production.queries.places import unit_by_scan

from . import forms
from .queries.outside import out_now, sent_out
from .services import outside as services

LONGEST = 40
OUTSIDE_FORMS: Mapping[str, type[django_forms.Form]] = {"out": forms.SendOutForm, "back": forms.ReceiveBackForm}


def outside_acts(request: HttpRequest, code: str) -> dict[str, Perform]:
    """What the forms of a lot's or unit's outside processes do, by name."""

    def out(told: dict[str, Any], at: datetime) -> object:
        return services.send_out(by=request.user, code=code, at=at, **told)

    def back(told: dict[str, Any], at: datetime) -> object:
        paper = told.pop("paper")
        return services.receive_back(
            by=request.user, code=code, paper=paper.read(), paper_name=paper.name, at=at, **told
        )  # fmt: skip

    return {"out": out, "back": back}


@require_safe
@needs(Act.LOOK_AT_GOODS)
def outside(request: HttpRequest) -> HttpResponse:
    """What is out now; a scanned lot or unit leads to its own page, where it is sent out and received back."""
    code, problem = request.GET.get("code", "").strip(), ""
    if code:
        try:
            return _page_of(code)
        except NotFound:
            problem = f"There is no unit or lot {shown(code)}; scan its label again."
    context = {"out": out_now(), "code": code[:LONGEST], "problem": problem}
    return render(request, "goods/outside.html", context, status=HTTPStatus.NOT_FOUND if problem else HTTPStatus.OK)


def _page_of(code: str) -> HttpResponse:
    try:
        return redirect("goods:unit_outside", serial=unit_by_scan(code).serial)
    except NotFound:
        return redirect("goods:lot", code=lot_by_code(code).code)


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Act.LOOK_AT_GOODS, post=Act.KEEP_GOODS)
def unit_outside(request: HttpRequest, serial: str) -> HttpResponse:
    """One unit: what was done to it outside, and the form that sends it out or receives it back."""
    unit = unit_by_serial(serial)
    page = SeveralForms(request, OUTSIDE_FORMS)
    page.hear(outside_acts(request, unit.serial))
    if page.done:
        return redirect("goods:unit_outside", serial=unit.serial)
    done = sent_out(unit.item_id)
    context = {
        "unit": unit, "outside": done, "is_out": bool(done and done[0].returned_at is None), "forms": page.forms,
        "holds": open_holds(unit.item_id), "keeps": may(request.user, Act.KEEP_GOODS, timezone.now()),
    }  # fmt: skip
    return render(request, "goods/unit_outside.html", context, status=page.status)
