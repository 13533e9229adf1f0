"""The start page, the search for a serial, and everything about one unit on one screen."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_safe

from qcapp.certificates.queries import CertificateCard, latest_certificates
from qcapp.customers.lookup import look_up
from qcapp.inspections.queries.outliers import value_view
from qcapp.lib.spoken_drawings import shown_drawing
from qcapp.nonconformance.queries import reports
from qcapp.people.access import needs, signed_in
from qcapp.people.queries import acts_of
from qcapp.people.roles import Act
from qcapp.production.queries import UnitCard, recent_units, unit_by_serial, units_in_build
from qcapp.production.queries.places import WhereCard, units_to_leave, whereabouts

from .labels import label_pdf
from .pictures import spread_picture
from .printing import history_pdf
from .queries import unit_history

LONGEST = 60
SHOWN = 40
WAITING = 8  # units and reports on the start page
LEAVING = 200  # units that are looked through for those that may leave


@require_safe
@signed_in
def home(request: HttpRequest) -> HttpResponse:
    """What waits, by what the person may do."""
    at = timezone.now()
    held = acts_of(request.user, at)
    looks = Act.LOOK_AT_REPORTS in held
    leaving = _leaving() if Act.DISPATCH_UNIT in held else []
    context = {
        "dispatches": Act.DISPATCH_UNIT in held,
        "leaving": leaving[:SHOWN],
        "more_leave": len(leaving) > SHOWN,
        "may_search": Act.LOOK_UP_UNIT in held,
        "may_record": Act.RECORD_RESULT in held,
        "units": units_in_build(limit=WAITING) if Act.LOOK_UP_UNIT in held else [],
        "reports": reports(state="active", limit=WAITING, viewer=request.user, at=at) if looks else [],
    }
    return render(request, "history/home.html", context)


def _leaving() -> list[tuple[UnitCard, WhereCard | None, CertificateCard | None]]:
    """What is released and still here, with its place and its last certificate; what may leave today in front."""
    units = units_to_leave(LEAVING)
    items = [unit.item_id for unit in units]
    places, papers = (whereabouts(items), latest_certificates(items)) if items else ({}, {})

    def waits(unit: UnitCard) -> bool:
        paper = papers.get(unit.item_id)
        return unit.on_hold or unit.away or paper is None or paper.standing != "current"

    return [(one, places.get(one.item_id), papers.get(one.item_id)) for one in sorted(units, key=waits)]


@require_safe
@needs(Act.LOOK_UP_UNIT)
def units(request: HttpRequest) -> HttpResponse:
    """Units by any part of the serial; the only match opens at once."""
    fragment = request.GET.get("q", "").strip()
    too_long = len(fragment) > LONGEST
    held = acts_of(request.user, timezone.now())
    found = look_up(fragment, names=Act.SEE_CUSTOMERS in held, limit=SHOWN) if fragment and not too_long else []
    if len(found) == 1:
        return redirect("history:unit", serial=found[0].unit.serial)
    units = recent_units(SHOWN) if not fragment else [one.unit for one in found]
    context = {
        "q": fragment[:LONGEST], "units": units, "found": found, "too_long": too_long, "full": len(units) == SHOWN,
        "names": Act.SEE_CUSTOMERS in held, "may_ask": Act.ASK_AFFECTED in held,
    }  # fmt: skip
    return render(request, "history/units.html", context, status=400 if too_long else 200)


@require_safe
@needs(Act.LOOK_UP_UNIT)
def unit(request: HttpRequest, serial: str) -> HttpResponse:
    """Everything that happened to one unit."""
    at = timezone.now()
    held = acts_of(request.user, at)
    context = {
        "history": unit_history(serial, viewer=request.user, at=at),
        "may_record": Act.RECORD_RESULT in held,
        "may_raise": Act.RAISE_REPORT in held,
        "may_lift": Act.LIFT_HOLD in held,
        "may_decide": Act.DECIDE_APPLICABILITY in held,
        "may_get": Act.GET_CERTIFICATE in held,
        "may_build_in": Act.BUILD_IN in held,
        "may_send": Act.KEEP_GOODS in held,
        "may_dispatch": Act.DISPATCH_UNIT in held,
        "may_serve": Act.RECORD_SERVICE in held,
        "names": Act.SEE_CUSTOMERS in held,
        "values_address": reverse("history:value", kwargs={"serial": serial, "key": "key"}).removesuffix("key/"),
    }
    return render(request, "history/unit.html", context)


@require_safe
@needs(Act.LOOK_UP_UNIT)
def printed(request: HttpRequest, serial: str) -> HttpResponse:
    """The whole history as PDF."""
    at = timezone.now()
    history = unit_history(serial, viewer=request.user, at=at)
    pdf = history_pdf(history, names=Act.SEE_CUSTOMERS in acts_of(request.user, at))
    name = f'inline; filename="{history.unit.serial}-history.pdf"'
    return HttpResponse(pdf, content_type="application/pdf", headers={"Content-Disposition": name})


@require_safe
@needs(Act.LOOK_UP_UNIT)
def value(request: HttpRequest, serial: str, key: str) -> HttpResponse:
    """One value with its band, among the family's values."""
    view = value_view(serial, key, viewer=request.user, at=timezone.now())
    picture = shown_drawing(spread_picture(view))
    return render(request, "history/value.html", {"view": view, "picture": picture})


@require_safe
@needs(Act.LOOK_UP_UNIT)
def label(request: HttpRequest, serial: str, form: str) -> HttpResponse:
    """The unit's label as PDF, for a sheet or a roll."""
    pdf = label_pdf(unit_by_serial(serial), form)
    return HttpResponse(pdf, content_type="application/pdf", headers={"Content-Disposition": "inline"})
