"""Opening a unit on the family's released plan."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from qcapp.core.errors import QcError
from qcapp.lib.refusals import refusal_status
from qcapp.people.access import needs
from qcapp.people.queries import site_day
from qcapp.people.roles import Act
from qcapp.production.queries import families, propose_serial

from .forms import OpenForm
from .services import open_unit


@require_http_methods(["GET", "POST"])
@needs(Act.OPEN_UNIT)
def open_page(request: HttpRequest) -> HttpResponse:
    """Choose the family, take the proposed serial or type another, open."""
    known = families()
    chosen = request.GET.get("family") or (known[0].code if known else "")
    at = timezone.now()
    choices = [(one.code, f"{one.code} {one.name}") for one in known]
    form = OpenForm(request.POST or None, families=choices, initial=_proposal(chosen, site_day(at).year))
    status = 200
    if request.method == "POST" and form.is_valid():
        try:
            unit = open_unit(by=request.user, at=at, **form.cleaned_data)
        except QcError as error:
            form.add_error("serial" if "serial" in error.code else None, error.message)
            status = refusal_status(error)
        else:
            messages.success(request, f"{unit.serial} is open.", extra_tags="in")
            on_tablet = getattr(request, "tablet", None)  # the unit's history is read in the office
            return redirect("capture:bench" if on_tablet else "history:unit", serial=unit.serial)
    context = {"form": form, "families": known, "chosen": chosen}
    return render(request, "inspections/open.html", context, status=status)


def _proposal(family_code: str, year: int) -> dict[str, str]:
    try:
        return {"family_code": family_code, "serial": propose_serial(family_code, year)}
    except QcError:
        return {}
