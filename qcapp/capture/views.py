"""The tablet's pages: where a unit is picked up, and the bench."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_safe

from qcapp.core.errors import NotFound, QcError
from qcapp.inspections.queries.overview import overview_of
from qcapp.people.access import needs
from qcapp.people.queries import may
from qcapp.people.roles import Act
from qcapp.production.queries import unit_by_serial, units_in_build

ON_THE_FLOOR = 24


@never_cache
@require_safe
@needs(Act.RECORD_RESULT)
def floor(request: HttpRequest) -> HttpResponse:
    """Type or scan a serial, or pick one of the units in build."""
    serial = request.GET.get("serial", "").strip()
    problem: QcError | None = None
    if serial:
        try:
            return redirect("capture:bench", serial=unit_by_serial(serial).serial)
        except NotFound as error:
            problem = error
    units = units_in_build(limit=ON_THE_FLOOR)
    progress = overview_of([unit.item_id for unit in units])
    context = {
        "units": [(unit, progress.get(unit.item_id)) for unit in units],
        "problem": problem,
        "serial": serial,
        "may_open": may(request.user, Act.OPEN_UNIT, timezone.now()),
    }
    return render(request, "capture/floor.html", context, status=404 if problem else 200)


@never_cache
@require_http_methods(["GET", "HEAD"])
@needs(Act.RECORD_RESULT)
def bench(request: HttpRequest, serial: str) -> HttpResponse:
    """The page shell of one unit; everything on it is fetched by the page itself."""
    return render(request, "capture/bench.html", {"serial": unit_by_serial(serial).serial})
