"""Who may call a view. Every address carries its act, and one test walks them all against the rights table.

    @needs(Act.LOOK_UP_UNIT)                        looking and acting need the same right
    @needs(Act.LOOK_AT_PLAN, post=Act.IMPORT_PLAN)  sending the form needs another one
    @signed_in                                      anybody who has signed in, such as "my account"
    @public                                         everybody, such as the check of a certificate

The decorators leave `act` on the view, a dictionary from method to Act, SIGNED_IN or PUBLIC. A class of the
API writes the same dictionary itself.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import datetime
from functools import wraps
from typing import TYPE_CHECKING, Any, TypeVar
from urllib.parse import urlencode

from django.conf import settings
from django.http import HttpRequest, HttpResponse, HttpResponseBase, JsonResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone
from django.utils.http import url_has_allowed_host_and_scheme

from qcapp.core.errors import NotAllowed

from .queries import is_here, keep_roles, may, role_names
from .roles import OFFICE, Act
from .services import require
from .tablet_guard import IN_SESSION

if TYPE_CHECKING:
    from .models import Person

AnyResponse = TypeVar("AnyResponse", bound=HttpResponseBase)
View = Callable[..., HttpResponseBase]
PUBLIC = "public"
SIGNED_IN = "signed in"
CHANGED, CHANGED_FOR = "qcapp_changed", 365 * 24 * 3600
SAFE = frozenset({"GET", "HEAD", "OPTIONS"})
OPEN_TO_TEMPORARY = frozenset({"people:account", "people:own_password", "people:sign_out"})


def needs(act: Act, *, post: Act | None = None) -> Callable[[View], View]:
    """Lets only people in whose roles the act lies call the view; `post` is the act of sending when it
    differs.

    Strangers are sent to sign in and come back. Others get the refusal's page: NotAllowed (`not_permitted`).
    """
    acts: dict[str, Act | str] = {"GET": act, "POST": post or act}

    def decorate(view: View) -> View:
        @wraps(view)
        def guarded(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
            if (answer := sign_in_first(request)) is not None:
                return answer
            now = timezone.now()
            permit(request.user, act if request.method in SAFE else post or act, now)
            if owes_second_factor(request, now):
                return _to_second_factor(request)
            return _not_kept(view(request, *args, **kwargs))

        return _asking(guarded, acts)

    return decorate


def permit(person: Person, act: Act, at: datetime) -> None:
    """Raises as `require`. The roles read for it are kept for the menu and the buttons of the page that follows."""
    keep_roles(person, at)
    if person.password_is_temporary or not may(person, act, at):
        require(person, act, at)


def owes_second_factor(request: HttpRequest, at: datetime) -> bool:
    """Whether this person has to set up a second factor before anything but the own account opens.

    On an enrolled tablet the key behind the PIN is one already.
    """
    person = request.user
    if settings.QCAPP_SECOND_FACTOR != "office" or person.second_factor_at is not None:
        return False
    return not getattr(request, "session", {}).get(IN_SESSION) and not OFFICE.isdisjoint(role_names(person, at))


def second_factor_owed() -> NotAllowed:
    """What programs are told then."""
    message = "Office roles need a second factor here. Set it up in the browser, under My account, then sign in again."
    return NotAllowed("second_factor_needed", message)


def _to_second_factor(request: HttpRequest) -> HttpResponse:
    address = reverse("people:second_factor")
    if request.headers.get("HX-Request") == "true":
        return HttpResponse(status=403, headers={"HX-Redirect": address})
    if request.headers.get("Accept", "").startswith("application/json"):
        raise second_factor_owed()
    return redirect(address)


def signed_in(view: View) -> View:
    """Lets anybody call the view who has signed in and works here."""

    @wraps(view)
    def guarded(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        answer = sign_in_first(request)
        return _not_kept(view(request, *args, **kwargs)) if answer is None else answer

    return _asking(guarded, {"GET": SIGNED_IN, "POST": SIGNED_IN})


def public(view: View) -> View:
    """Says that everybody may call the view."""
    return _asking(view, {"GET": PUBLIC, "POST": PUBLIC})


def _asking(view: View, acts: Mapping[str, Act | str]) -> View:
    view.__dict__["act"] = acts
    return view


def acts_of_view(view: Any) -> Mapping[str, Act | str]:
    """What the view asks for, by method; empty when it says nothing, which is a mistake that a test finds."""
    for holder in (view, getattr(view, "cls", None), getattr(view, "view_class", None)):
        found = getattr(holder, "act", None)
        if isinstance(found, Mapping):
            return found
    return {}


def sign_in_first(request: HttpRequest) -> HttpResponse | None:
    """The answer for somebody who has to sign in, or replace a temporary password, before anything else."""
    person = request.user
    if not person.is_authenticated or not is_here(person, timezone.now()):
        return _to_sign_in(request)
    match = request.resolver_match
    if person.password_is_temporary and (match is None or match.view_name not in OPEN_TO_TEMPORARY):
        return redirect("people:account")
    return None


def mark_changed(response: AnyResponse) -> AnyResponse:
    """Leaves the mark by which the floor's pages know that another person may be here now (static/capture/store.js).

    The pages read it without network, so it lies open to scripts; it names nobody.
    """
    response.set_cookie(CHANGED, "1", max_age=CHANGED_FOR, samesite="Lax", secure=settings.SESSION_COOKIE_SECURE)
    return response


def safe_next(request: HttpRequest, target: str, fallback: str = "/") -> str:
    """`target` when it is an address of this site, else `fallback`: a link must not lead away after a
    sign-in.
    """
    safe = url_has_allowed_host_and_scheme(
        target, allowed_hosts={request.get_host()}, require_https=request.is_secure()
    )
    return target if safe and target.startswith("/") else fallback


def _to_sign_in(request: HttpRequest) -> HttpResponse:
    """Sign in and come back; after a sent form, to the page it was on, told that nothing was stored."""
    sent = request.method not in SAFE
    back = request.META.get("HTTP_REFERER", "") if sent else request.get_full_path()
    back = "/" + back.split("/", 3)[3] if sent and back.count("/") >= 3 else back
    query = {"next": safe_next(request, back)} | ({"ended": "1"} if sent else {})
    address = f"{reverse('people:sign_in')}?{urlencode(query)}"
    if request.headers.get("HX-Request") == "true":
        # A fragment must not be replaced by the sign-in page: the browser is told to go there as a whole.
        return HttpResponse(status=401, headers={"HX-Redirect": address})
    if request.headers.get("Accept", "").startswith("application/json"):
        body = {
            "code": "sign_in_needed",
            "message": "Your session has ended. Sign in, then send again.",
            "sign_in": address,
        }
        return JsonResponse(body, status=401)
    return redirect(address)


def _not_kept(response: HttpResponseBase) -> HttpResponseBase:
    """Pages behind a sign-in stay out of caches and are gone from the back button after signing out."""
    response.headers.setdefault("Cache-Control", "private, no-store")
    return response
