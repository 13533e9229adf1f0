"""Pages about tablets: the keeper's list, and the one page on which a tablet is enrolled."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.conf import settings
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST

from qcapp.core.errors import QcError
from qcapp.lib.middleware import client_address
from qcapp.lib.refusals import refusal_status

from . import forms, queries, services, tablet_guard
from .access import needs, public
from .roles import Act


@needs(Act.LOOK_AT_TABLETS, post=Act.KEEP_TABLETS)
@require_http_methods(["GET", "HEAD", "POST"])
def tablets(request: HttpRequest) -> HttpResponse:
    """Every tablet with what it holds unsent; the form makes another and shows its code once."""
    form = forms.TabletForm(request.POST if request.method == "POST" else None)
    if request.method != "POST" or not form.is_valid():
        return _list(request, form=form, status=200 if request.method != "POST" else 400)
    try:
        tablet, code = services.add_tablet(by=_person(request), at=timezone.now(), **form.cleaned_data)
    except QcError as error:
        return _list(request, form=form, problem=error, status=refusal_status(error))
    return _list(request, form=forms.TabletForm(), code=code, name=tablet.name)


@needs(Act.KEEP_TABLETS)
@require_POST
def code(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """Another one-time code, shown once."""
    tablet = queries.tablet_by_uuid(uuid)
    given = services.new_code(by=_person(request), tablet=tablet, at=timezone.now())
    return _list(request, form=forms.TabletForm(), code=given, name=tablet.name)


@needs(Act.KEEP_TABLETS)
@require_POST
def revoke(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """The tablet is lost or given away."""
    tablet = queries.tablet_by_uuid(uuid)
    reason = request.POST.get("reason", "")
    try:
        services.revoke_tablet(by=_person(request), tablet=tablet, reason=reason, at=timezone.now())
    except QcError as error:
        return _list(request, form=forms.TabletForm(), problem=error, status=refusal_status(error))
    messages.success(request, f"{tablet.name} is revoked. What it sends from now on is kept aside to be judged.")
    return redirect("people:tablets")


@public
@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def enrol(request: HttpRequest) -> HttpResponse:
    """On the tablet itself: the keeper's code makes this browser a shared tablet."""
    problem: QcError | None = None
    if request.method == "POST":
        try:
            _, token = services.enrol(
                code=request.POST.get("code", "")[:40], at=timezone.now(), address=client_address(request)
            )
        except QcError as error:
            problem = error
        else:
            request.session.flush()  # the keeper may have been signed in here
            return tablet_guard.remember(redirect("capture:floor"), token, secure=settings.SESSION_COOKIE_SECURE)
    return render(
        request, "people/enrol.html", {"problem": problem}, status=refusal_status(problem) if problem else 200
    )


def _person(request: HttpRequest) -> Any:
    return request.user  # behind an act nobody is anonymous


def _list(request: HttpRequest, *, status: int = 200, **shown: Any) -> HttpResponse:
    acts = queries.acts_of(_person(request), timezone.now())
    return render(
        request,
        "people/tablets.html",
        shown
        | {"cards": queries.tablet_cards(), "may_keep": Act.KEEP_TABLETS in acts, "may_judge": Act.JUDGE_ASIDE in acts},
        status=status,
    )
