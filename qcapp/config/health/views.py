"""Alive, and ready, for programs; how the system fares, for the keeper."""

from __future__ import annotations

from http import HTTPStatus

from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET, require_safe

from qcapp.people.access import needs, public
from qcapp.people.roles import Act

from .checks import readiness
from .watched import NEAR, OUT, facts


@public
@never_cache
@require_safe
def live(request: HttpRequest) -> JsonResponse:
    """200 as long as the process answers. Restart it when this fails."""
    return JsonResponse({"status": "live"})


@public
@never_cache
@require_safe
def ready(request: HttpRequest) -> JsonResponse:
    """200 when the site may be used, else 503; the checks by name, "ok" or "failed"."""
    checks = readiness()
    holds = all(checks.values())
    body = {
        "status": "ready" if holds else "not ready",
        "checks": {name: "ok" if fine else "failed" for name, fine in checks.items()},
    }
    return JsonResponse(body, status=HTTPStatus.OK if holds else HTTPStatus.SERVICE_UNAVAILABLE)


@needs(Act.LOOK_AT_SYSTEM)
@require_GET
def system(request: HttpRequest) -> HttpResponse:
    """Everything that is watched, with what to do about it."""
    at = timezone.now()
    told = facts(at)
    states = {fact.state for fact in told}
    worst = OUT if OUT in states else NEAR if NEAR in states else ""
    shown = {"facts": told, "at": at, "worst": worst, "ready": readiness()}
    return render(request, "health/system.html", shown)
