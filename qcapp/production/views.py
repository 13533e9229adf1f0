"""What the welding coordinator keeps: weld procedures and welders' qualifications."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, datetime
from http import HTTPStatus
from typing import Any
from uuid import UUID

from django import forms as django_forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from qcapp.core.errors import QcError
from qcapp.lib.middleware import client_address
from qcapp.lib.refusals import refusal_status
from qcapp.lib.several_forms import SeveralForms
from qcapp.lib.site_days import months_later, site_day
from qcapp.people.access import needs
from qcapp.people.queries import may, person_by_badge
from qcapp.people.roles import Act
from qcapp.people.services import prove_identity

from . import forms
from .queries.welding import (
    CONTINUITY,
    QualificationCard,
    Work,
    qualification_by_uuid,
    qualifications,
    weld_procedures,
    work_of,
)
from .services import welding as services
from .services.continuity import confirm_qualification


@needs(Act.LOOK_AT_PLAN)
@require_safe
def welding(request: HttpRequest) -> HttpResponse:
    """The procedures in force and what each welder is qualified for; expired ones say so."""
    now = timezone.now()
    today = site_day(now)
    shown = {
        "procedures": weld_procedures(),
        "qualifications": _qualifications(today),
        "confirms": may(request.user, Act.CONFIRM_WELDER, now),
        "keeps": may(request.user, Act.KEEP_WELDING, now),
    }
    return render(request, "production/welding.html", shown)


def _qualifications(today: date) -> list[tuple[QualificationCard, str, Work]]:
    """Each with where it stands and the work recorded for it; those to be confirmed first, those run out last."""
    cards = sorted(qualifications(), key=lambda one: (one.expires_on < today, one.due_on, one.welder_name))
    work = work_of(cards, months_later(today, -CONTINUITY))
    return [(one, one.standing(today), work[one.id]) for one in cards]


@needs(Act.LOOK_AT_PLAN, post=Act.CONFIRM_WELDER)
@require_http_methods(["GET", "HEAD", "POST"])
def qualification(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """One qualification with its confirmations, the work recorded since, and the form that confirms it."""
    card, now = qualification_by_uuid(uuid), timezone.now()
    page = SeveralForms(request, {"confirm": forms.ConfirmationForm})

    def confirm(told: dict[str, Any], at: datetime) -> object:
        pin, address = told.pop("pin"), client_address(request)
        proof = prove_identity(person=request.user, secret=pin, method="pin", at=at, address=address)
        return confirm_qualification(proof=proof, uuid=uuid, at=at, **told)

    page.hear({"confirm": confirm})
    if page.done:
        messages.success(request, f"{card.certificate} is confirmed.", extra_tags="in")
        return redirect("production:qualification", uuid=uuid)
    today = site_day(now)
    since = months_later(today, -CONTINUITY)
    shown = {
        "one": card, "standing": card.standing(today), "since": since, "forms": page.forms,
        "work": work_of([card], since)[card.id],
        "confirms": may(request.user, Act.CONFIRM_WELDER, now),
    }  # fmt: skip
    return render(request, "production/qualification.html", shown, status=page.status)


@needs(Act.KEEP_WELDING)
@require_http_methods(["GET", "HEAD", "POST"])
def add_procedure(request: HttpRequest) -> HttpResponse:
    """A weld procedure, or its next revision."""
    form = forms.ProcedureForm(request.POST or None)

    def add(values: dict[str, Any], at: datetime) -> str:
        services.add_procedure(by=request.user, scope=_scope(values), at=at, **values)
        return f"{values['number'].upper()} revision {values['revision'].upper()} is in force now."

    return _added(request, form, add, "Add a weld procedure or its next revision")


@needs(Act.KEEP_WELDING)
@require_http_methods(["GET", "HEAD", "POST"])
def add_qualification(request: HttpRequest) -> HttpResponse:
    """A welder's qualification."""
    form = forms.QualificationForm(request.POST or None, at=timezone.now())

    def add(values: dict[str, Any], at: datetime) -> str:
        welder = person_by_badge(values.pop("welder"))
        services.add_qualification(by=request.user, welder=welder, scope=_scope(values), at=at, **values)
        return f"The qualification of {welder.name} holds until {values['expires_on']:%-d %b %Y}."

    return _added(request, form, add, "Add a welder's qualification")


def _scope(values: dict[str, Any]) -> services.Range:
    return services.Range(*(values.pop(name) for name in ("process", "thickness_from", "thickness_to")))


def _added(
    request: HttpRequest, form: django_forms.Form, add: Callable[[dict[str, Any], datetime], str], title: str
) -> HttpResponse:
    """Do it and go back to the list; a refusal shows the form again with what was typed."""
    status: int = HTTPStatus.OK
    if request.method == "POST":
        status = HTTPStatus.BAD_REQUEST
        if form.is_valid():
            try:
                messages.success(request, add(dict(form.cleaned_data), timezone.now()), extra_tags="in")
                return redirect("production:welding")
            except QcError as error:
                form.add_error(None, error.message)
                status = refusal_status(error)
    return render(request, "production/add.html", {"form": form, "title": title}, status=status)
