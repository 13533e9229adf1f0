"""The two addresses: alive, and ready."""

from __future__ import annotations

from http import HTTPStatus

from django.http import HttpRequest, JsonResponse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from qcapp.people.access import public

from .checks import readiness


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
