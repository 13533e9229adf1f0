"""The tablet's pages: where a unit is picked up, the bench, and what keeps both open without network."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase, JsonResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from qcapp.core.errors import NotFound, QcError
from qcapp.gauges.setup import setups_of
from qcapp.gauges.studying import studies_to_read
from qcapp.goods.queries.lots import open_samples
from qcapp.inspections.queries.overview import overview_of
from qcapp.inspections.queries.waiting import StageAt, stage_at
from qcapp.lib.spoken import said
from qcapp.nonconformance.queries import corrections_waiting
from qcapp.people.access import needs, public
from qcapp.people.queries import may
from qcapp.people.roles import Act
from qcapp.production.queries import unit_by_serial, units_in_build
from qcapp.production.queries.as_built import lot_by_code
from qcapp.production.queries.places import unit_by_scan
from qcapp.production.queries.stations import StationCard, station_named, stations

from .language import OTHERS, words_of
from .shell import SHELLS, shell_html, worker_script
from .shell import manifest as app_manifest

ON_THE_FLOOR = 24
FEW = 8  # of the units that wait elsewhere
IN_BUILD = 300
STATION_COOKIE = "qcapp_station"
STATION_KEPT = 400 * 24 * 3600  # the longest that browsers keep one


View = Callable[..., HttpResponseBase]


def shell_for_tablets(name: str) -> Callable[[View], View]:
    """A shared tablet on which nobody is signed in gets the page without names; the page asks who works there."""

    def decorate(view: View) -> View:
        @wraps(view)
        def shown(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
            if getattr(request, "tablet", None) is not None and not request.user.is_authenticated:
                return HttpResponse(shell_html(name))
            return view(request, *args, **kwargs)

        return shown

    return decorate


@never_cache
@require_safe
@shell_for_tablets("floor")
@needs(Act.RECORD_RESULT)
def floor(request: HttpRequest) -> HttpResponse:
    """Type or scan a serial or a tag, or pick one of the units in build."""
    serial = request.GET.get("serial", "").strip()
    problem: QcError | None = None
    if serial:
        try:
            return redirect("capture:bench", serial=unit_by_scan(serial).serial)
        except NotFound as error:
            problem = error
    here = _here(request)
    context = _listed(here) | {
        "station": here,
        "setups": ", ".join(sorted(one.gauge_number for one in setups_of().values() if one.reason(timezone.now()))),
        "stations": stations(),
        "studies": studies_to_read(request.user),
        "problem": said(problem.message) if problem else "",
        "serial": serial,
        "shared": getattr(request, "tablet", None) is not None,
        "corrections": corrections_waiting() if may(request.user, Act.CORRECT_REPORT, timezone.now()) else 0,
        "may_open": may(request.user, Act.OPEN_UNIT, timezone.now()),
    }
    response = render(request, "capture/floor.html", context, status=404 if problem else 200)
    if "station" in request.GET:
        code = here.code if here else ""
        response.set_cookie(STATION_COOKIE, code, max_age=STATION_KEPT, httponly=True, samesite="Lax")
    return response


def _listed(here: StationCard | None) -> dict[str, Any]:
    """What waits at the station, the one opened first on top; and the other units in build, the latest first."""
    found = units_in_build(limit=IN_BUILD if here else ON_THE_FLOOR)
    at = stage_at([unit.item_id for unit in found]) if here else {}
    waits = [one for one in reversed(found) if here and here.takes(one.family_code, _number(at.get(one.item_id)))]
    waits = waits[:ON_THE_FLOOR]
    others = [one for one in found if one not in waits][: ON_THE_FLOOR if not here else FEW]
    progress = overview_of([unit.item_id for unit in (*waits, *others)])
    waiting, units = ([(u, progress.get(u.item_id), at.get(u.item_id)) for u in some] for some in (waits, others))
    return {"waiting": waiting, "units": units, "lots": open_samples(FEW)}


def _number(stage: StageAt | None) -> int | None:
    return stage.number if stage else None


def _here(request: HttpRequest) -> StationCard | None:
    """The station of this tablet: the one picked on it, else the place that the keeper gave it."""
    picked = request.GET.get("station", request.COOKIES.get(STATION_COOKIE))
    tablet: Any = getattr(request, "tablet", None)
    return station_named(picked if picked is not None else tablet.place if tablet else "")


@never_cache
@require_safe
@shell_for_tablets("bench")
@needs(Act.RECORD_RESULT)
def bench(request: HttpRequest, serial: str) -> HttpResponse:
    """The page shell of one unit; everything on it is fetched by the page itself, also the name of who is there."""
    return render(request, "capture/bench.html", {"serial": unit_by_serial(serial).serial})


@never_cache
@require_safe
@shell_for_tablets("lot")
@needs(Act.RECORD_RESULT)
def lot(request: HttpRequest, code: str) -> HttpResponse:
    """The sample of a lot as a grid; the page fetches everything on it by itself."""
    return render(request, "capture/lot.html", {"code": lot_by_code(code).code})


@never_cache
@require_safe
@shell_for_tablets("setup")
@needs(Act.RECORD_RESULT)
def setup(request: HttpRequest) -> HttpResponse:
    """Gauges read on their setting masters at the start of a shift."""
    return render(request, "capture/setup.html")


@public
@require_safe
def shell(request: HttpRequest, name: str) -> HttpResponse:
    """What a tablet keeps of a page. Everybody gets the same bytes, so the next person sees nothing of the former."""
    if name not in SHELLS:
        raise Http404
    return HttpResponse(shell_html(name), headers={"Cache-Control": "no-cache"})


@public
@require_safe
def words(request: HttpRequest, code: str) -> HttpResponse:
    """What the scripts say in German or Spanish; a tablet keeps it, so that it speaks so without network too."""
    if code not in OTHERS:
        raise Http404
    return JsonResponse(words_of(code), headers={"Cache-Control": "no-cache"})


@public
@require_safe
def worker(request: HttpRequest) -> HttpResponse:
    """The service worker, at the root because it may only serve what lies below it. Asked for anew each time."""
    headers = {"Cache-Control": "no-cache"}
    return HttpResponse(worker_script(), content_type="text/javascript; charset=utf-8", headers=headers)


@public
@require_safe
def manifest(request: HttpRequest) -> HttpResponse:
    """The web app manifest for the home screen."""
    return JsonResponse(app_manifest(), content_type="application/manifest+json")
