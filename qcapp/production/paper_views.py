"""Pages of what has to hold on the day of the work: fixtures with their verifications, inspectors' authorisations."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from qcapp.lib.several_forms import SeveralForms
from qcapp.lib.site_days import site_day
from qcapp.people.access import needs
from qcapp.people.queries import may, person_by_badge
from qcapp.people.roles import Act

from . import paper_forms as forms
from .queries.authorising import authorisations, eyesight_checks
from .queries.fixtures import fixture_by_number, fixtures
from .services.authorising import authorise_inspector, record_eyesight
from .services.fixtures import add_fixture, verify_fixture

GET_AND_POST = ["GET", "HEAD", "POST"]


@require_http_methods(GET_AND_POST)
@needs(Act.LOOK_AT_GAUGES, post=Act.KEEP_GAUGES)
def fixture_list(request: HttpRequest) -> HttpResponse:
    """Every fixture, those that may not be used first, and the form for a new one."""
    page = SeveralForms(request, {"fixture": forms.FixtureForm})

    def add(told: dict[str, Any], at: datetime) -> object:
        return add_fixture(by=request.user, at=at, **told).number

    number = page.hear({"fixture": add})
    if page.done:
        return redirect("production:fixture", number=number)
    now = timezone.now()
    context = {"fixtures": fixtures(now), "forms": page.forms, "keeps": may(request.user, Act.KEEP_GAUGES, now)}
    return render(request, "production/fixtures.html", context, status=page.status)


@require_http_methods(GET_AND_POST)
@needs(Act.LOOK_AT_GAUGES, post=Act.KEEP_GAUGES)
def fixture(request: HttpRequest, number: str) -> HttpResponse:
    """One fixture with its verifications."""
    now = timezone.now()
    card = fixture_by_number(number, now)
    page = SeveralForms(request, {"verify": forms.VerificationForm})

    def verify(told: dict[str, Any], at: datetime) -> object:
        return verify_fixture(by=request.user, number=card.number, at=at, **told)

    page.hear({"verify": verify})
    if page.done:
        return redirect("production:fixture", number=card.number)
    context = {"fixture": card, "forms": page.forms, "keeps": may(request.user, Act.KEEP_GAUGES, now)}
    return render(request, "production/fixture.html", context, status=page.status)


@require_http_methods(GET_AND_POST)
@needs(Act.LOOK_AT_PLAN, post=Act.KEEP_WELDING)
def inspectors(request: HttpRequest) -> HttpResponse:
    """Who is authorised for which method until when, and the last eyesight checks."""
    page = SeveralForms(request, {"authorise": forms.AuthorisationForm, "eyes": forms.EyesightForm})

    def authorise(told: dict[str, Any], at: datetime) -> None:
        inspector = person_by_badge(told.pop("badge"))
        authorise_inspector(by=request.user, inspector=inspector, at=at, **told)

    def eyes(told: dict[str, Any], at: datetime) -> None:
        record_eyesight(by=request.user, inspector=person_by_badge(told.pop("badge")), at=at, **told)

    page.hear({"authorise": authorise, "eyes": eyes})
    if page.done:
        return redirect("production:inspectors")
    now = timezone.now()
    today = site_day(now)
    context = {
        "authorisations": [(one, one.issued_on <= today <= one.expires_on) for one in authorisations()],
        "eyes": [(one, one.holds_until is not None and today <= one.holds_until) for one in eyesight_checks()],
        "forms": page.forms,
        "keeps": may(request.user, Act.KEEP_WELDING, now),
    }
    return render(request, "production/inspectors.html", context, status=page.status)
