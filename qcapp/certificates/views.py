"""Release of a unit with what stands against it, certificates, and the public check that one is real."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from typing import Any

from django import forms as django_forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST, require_safe

from qcapp.core.errors import QcError
from qcapp.inspections.queries import open_near_limit_critical, unproven
from qcapp.inspections.services import decide_result
from qcapp.lib.refusals import refusal_status
from qcapp.people.access import needs, public
from qcapp.people.queries import acts_of
from qcapp.people.roles import Act
from qcapp.people.services import Proof, prove_identity
from qcapp.production.queries import unit_by_serial

from . import forms
from .queries import certificate, certificates_of, check_token, release_state
from .services.issuing import issue_certificate, withdraw_certificate
from .services.releasing import release, withdraw_release
from .services.rendering import frozen_json, pdf_bytes

Perform = Callable[[dict[str, Any], datetime], object]


@require_safe
@needs(Act.LOOK_UP_UNIT)
def release_page(request: HttpRequest, serial: str) -> HttpResponse:
    return _page(request, serial)


@require_POST
@needs(Act.RELEASE_UNIT)
def release_unit(request: HttpRequest, serial: str) -> HttpResponse:
    return _act(
        request, serial, "release", forms.ReleaseForm(request.POST), f"{serial} is released.",
        lambda data, at: release(proof=_proof(request, data["pin"], at), serial=serial, at=at),
    )  # fmt: skip


@require_POST
@needs(Act.RELEASE_UNIT)
def withdraw(request: HttpRequest, serial: str) -> HttpResponse:
    return _act(
        request, serial, "withdraw", forms.WithdrawForm(request.POST), f"The release of {serial} is withdrawn.",
        lambda data, at: withdraw_release(
            proof=_proof(request, data["pin"], at), serial=serial, reason=data["reason"], at=at
        ),
    )  # fmt: skip


@require_POST
@needs(Act.ISSUE_CERTIFICATE)
def issue(request: HttpRequest, serial: str) -> HttpResponse:
    return _act(
        request, serial, "issue", forms.IssueForm(request.POST), "The certificate is issued.",
        lambda data, at: issue_certificate(by=request.user, serial=serial, at=at, change_note=data["change_note"]),
    )  # fmt: skip


@require_POST
@needs(Act.DECIDE_RESULT)
def decide(request: HttpRequest, serial: str) -> HttpResponse:
    return _act(
        request, serial, "decide", forms.DecideForm(request.POST), "The decision is recorded.",
        lambda data, at: decide_result(
            proof=_proof(request, data["pin"], at), operation=data["operation"], about=data["about"],
            accepted=data["accepted"], reason=data["reason"], at=at,
        ),
    )  # fmt: skip


@require_POST
@needs(Act.ISSUE_CERTIFICATE)
def withdraw_issue(request: HttpRequest, number: str, issue: int) -> HttpResponse:
    serial = certificate(number, issue).serial
    return _act(
        request, serial, "withdraw_issue", forms.WithdrawForm(request.POST), f"{number} issue {issue} is withdrawn.",
        lambda data, at: withdraw_certificate(
            proof=_proof(request, data["pin"], at), number=number, issue=issue, reason=data["reason"], at=at
        ),
    )  # fmt: skip


@require_safe
@needs(Act.GET_CERTIFICATE)
def pdf(request: HttpRequest, number: str, issue: int) -> HttpResponse:
    """The certificate's own file: the same bytes at every asking."""
    card = certificate(number, issue)
    response = HttpResponse(pdf_bytes(card, at=timezone.now()), content_type="application/pdf")
    response["Content-Disposition"] = f'inline; filename="{card.number}-issue-{card.issue}.pdf"'
    return response


@require_safe
@needs(Act.GET_CERTIFICATE)
def frozen(request: HttpRequest, number: str, issue: int) -> HttpResponse:
    return HttpResponse(frozen_json(certificate(number, issue)), content_type="application/json; charset=utf-8")


@never_cache
@require_safe
@public
def check(request: HttpRequest, token: str) -> HttpResponse:
    """Is this paper real, and is it the current one? Tells only what the holder has in hand."""
    try:
        card = check_token(token)
    except QcError as error:
        return render(request, "certificates/check.html", {"problem": error.message}, status=404)
    return render(request, "certificates/check.html", {"card": card})


def _proof(request: HttpRequest, pin: str, at: datetime) -> Proof:
    address = request.META.get("REMOTE_ADDR", "")
    return prove_identity(person=request.user, secret=pin, method="pin", at=at, address=address)


def _act(
    request: HttpRequest, serial: str, name: str, form: django_forms.Form, done: str, perform: Perform
) -> HttpResponse:
    """Do it and come back; a refusal shows the page again with what was typed, except the PIN."""
    status = 400
    if form.is_valid():
        try:
            perform(form.cleaned_data, timezone.now())
        except QcError as error:
            form.add_error(None, error.message)
            status = refusal_status(error)
        else:
            messages.success(request, done, extra_tags="in")
            return redirect("certificates:release", serial=serial)
    return _page(request, serial, bound={name: form}, status=status)


def _page(
    request: HttpRequest, serial: str, bound: dict[str, django_forms.Form] | None = None, status: int = 200
) -> HttpResponse:
    unit = unit_by_serial(serial)
    held = acts_of(request.user, timezone.now())
    state = release_state(unit.serial)
    waiting = [*open_near_limit_critical(unit.item_id), *unproven(unit.item_id)]
    may_release = Act.RELEASE_UNIT in held
    shown = {
        "release": forms.ReleaseForm() if may_release and state.ready and not state.released else None,
        "withdraw": forms.WithdrawForm() if may_release and state.released else None,
        "issue": forms.IssueForm() if Act.ISSUE_CERTIFICATE in held and state.released else None,
        "withdraw_issue": forms.WithdrawForm() if Act.ISSUE_CERTIFICATE in held else None,
    }
    may_decide = Act.DECIDE_RESULT in held
    context = {
        "unit": unit,
        "state": state,
        "against": sum(not finding.ok for finding in state.findings),
        "waiting": [(one, _decide_form(one, bound) if may_decide else None) for one in waiting],
        "certificates": certificates_of(unit.item_id),
        "may_get": Act.GET_CERTIFICATE in held,
        "forms": {**shown, **(bound or {})},
    }
    return render(request, "certificates/release.html", context, status=status)


def _decide_form(one: Any, bound: dict[str, django_forms.Form] | None) -> django_forms.Form:
    """The form of one decision; the one that was just refused keeps what was typed."""
    refused = (bound or {}).get("decide")
    if refused is not None and refused.data.get("operation") == str(one.operation) and refused.data.get("about") == one.about:
        return refused
    return forms.DecideForm(initial={"operation": one.operation, "about": one.about})
