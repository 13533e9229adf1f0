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
from qcapp.inspections.queries.overview import overview_of
from qcapp.lib.spoken import said
from qcapp.people.access import needs, public
from qcapp.people.queries import may
from qcapp.people.roles import Act
from qcapp.production.queries import unit_by_serial, units_in_build

from .language import OTHERS, words_of
from .shell import SHELLS, shell_html, worker_script
from .shell import manifest as app_manifest

ON_THE_FLOOR = 24


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
        "problem": said(problem.message) if problem else "",
        "serial": serial,
        "shared": getattr(request, "tablet", None) is not None,
        "may_open": may(request.user, Act.OPEN_UNIT, timezone.now()),
    }
    return render(request, "capture/floor.html", context, status=404 if problem else 200)


@never_cache
@require_safe
@shell_for_tablets("bench")
@needs(Act.RECORD_RESULT)
def bench(request: HttpRequest, serial: str) -> HttpResponse:
    """The page shell of one unit; everything on it is fetched by the page itself, also the name of who is there."""
    return render(request, "capture/bench.html", {"serial": unit_by_serial(serial).serial})


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
