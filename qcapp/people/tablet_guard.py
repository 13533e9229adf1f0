"""What an enrolled tablet may call, and nothing else; a revoked one may only hand in what it still holds.

A tablet is known by its cookie, and a session that was opened on it says so too: taking the cookie away frees nobody.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from django.conf import settings
from django.contrib import auth
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import redirect
from django.urls import Resolver404, resolve, reverse

from qcapp.core.errors import NotAllowed
from qcapp.lib.refusals import refuse

from . import queries

if TYPE_CHECKING:
    from .models import Tablet

COOKIE = "qcapp_tablet"
COOKIE_LASTS = 400 * 24 * 3600  # the longest that browsers keep one; each contact renews it
IN_SESSION = "tablet"

ALLOWED: dict[str, frozenset[str]] = {
    "capture:floor": frozenset({"GET"}),
    "capture:bench": frozenset({"GET"}),
    "capture:lot": frozenset({"GET"}),
    "capture:setup": frozenset({"GET"}),
    "api:lot-grid": frozenset({"GET"}),
    "capture:shell": frozenset({"GET"}),
    "capture:manifest": frozenset({"GET"}),
    "capture:worker": frozenset({"GET"}),
    "capture:words": frozenset({"GET"}),
    "capture:decode": frozenset({"POST"}),
    "capture:weld": frozenset({"GET", "POST"}),
    "capture:corrections": frozenset({"GET"}),
    "capture:correction": frozenset({"GET", "POST"}),
    "people:sign_in": frozenset({"GET", "POST"}),
    "people:sign_out": frozenset({"POST"}),
    "inspections:open": frozenset({"GET", "POST"}),
    "api:session": frozenset({"GET", "POST", "DELETE"}),
    "api:tablet": frozenset({"GET"}),
    "api:tablet-people": frozenset({"POST"}),
    "api:tablet-switch": frozenset({"POST"}),
    "api:operations": frozenset({"POST"}),
    "api:discards": frozenset({"POST"}),
    "api:bench": frozenset({"GET"}),
    "api:photos": frozenset({"POST"}),
    "api:remarks": frozenset({"POST"}),
    "api:marks": frozenset({"POST"}),
    "api:setup-checks": frozenset({"GET", "POST"}),
    "api:reports": frozenset({"POST"}),
    "api:gauge-doubt": frozenset({"POST"}),
    "evidence:file": frozenset({"GET"}),
    "evidence:small": frozenset({"GET"}),
    "api:sign-offs": frozenset({"POST"}),
    "api:units": frozenset({"GET"}),
    "api:gauges": frozenset({"GET"}),
    "api:welds": frozenset({"GET", "POST"}),
    "api:weld-sheet": frozenset({"GET"}),
    "api:arcs": frozenset({"POST"}),
    "gauges:study": frozenset({"GET"}),
    "gauges:read_study": frozenset({"GET", "POST"}),
    "nonconformance:raise-lot": frozenset({"GET", "POST"}),
    "guide": frozenset({"GET"}),
    "guide_picture": frozenset({"GET"}),
    "goods:overview": frozenset({"GET"}),
    "goods:delivery": frozenset({"GET"}),
    "goods:lot": frozenset({"GET"}),
    "goods:report": frozenset({"GET", "POST"}),
}
TO_FLOOR = "people:account"  # a shared tablet belongs to nobody: it is locked and changes hands on the floor
OF_REVOKED = frozenset({"api:operations", "api:session", "people:sign_in"})
ROUTE = "A shared tablet opens the floor's pages only. Use a computer of the office for this."
REVOKED = "This tablet was revoked. Bring it to the keeper; what it holds can still be saved to a file."


class TabletGuardMiddleware:
    """Puts `request.tablet`, the enrolled tablet or None; `request.tablet_revoked`; refuses what is not listed."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        tablet = _tablet_of(request)
        request.tablet, request.tablet_revoked = tablet, bool(tablet and tablet.revoked_at)  # type: ignore[attr-defined]
        if tablet is None:
            return self.get_response(request)
        if tablet.revoked_at:
            auth.logout(request)
        if (problem := _problem(request, tablet)) is not None:
            asks_account = not tablet.revoked_at and request.method == "GET" and request.path_info == reverse(TO_FLOOR)
            return redirect("capture:floor") if asks_account else refuse(request, problem)
        return self.get_response(request)


def _tablet_of(request: HttpRequest) -> Tablet | None:
    tablet = queries.tablet_of_token(request.COOKIES.get(COOKIE, ""))
    has_session = settings.SESSION_COOKIE_NAME in request.COOKIES
    named = request.session.get(IN_SESSION) if tablet is None and has_session else None
    return queries.tablet_by_uuid(named) if named else tablet


def _problem(request: HttpRequest, tablet: Tablet) -> NotAllowed | None:
    try:
        name = resolve(request.path_info).view_name
    except Resolver404:
        return None  # answered with 404 as everywhere
    if tablet.revoked_at and name not in OF_REVOKED:
        return NotAllowed("tablet_revoked", REVOKED)
    method = "GET" if request.method in ("HEAD", "OPTIONS") else str(request.method)
    return None if method in ALLOWED.get(name, ()) else NotAllowed("tablet_route", ROUTE)


def remember(response: Any, token: str, *, secure: bool) -> Any:
    """The answer with the cookie by which the tablet is known; scripts cannot read it."""
    response.set_cookie(COOKIE, token, max_age=COOKIE_LASTS, httponly=True, samesite="Lax", secure=secure)
    return response
