"""Release of a unit with what stands against it, certificates."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from http import HTTPStatus
from typing import Any

from django import forms as django_forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_POST, require_safe

from qcapp.core.errors import QcError
from qcapp.inspections.queries import Unproven
from qcapp.inspections.services import decide_result
from qcapp.lib.middleware import client_address
from qcapp.lib.refusals import refusal_status
from qcapp.people.access import needs
from qcapp.people.queries import acts_of
from qcapp.people.roles import Act
from qcapp.people.services import Proof, prove_identity

from . import forms
from .queries import ReleaseState, certificate, certificates_of, release_state
from .services.issuing import issue_certificate, withdraw_certificate
from .services.packing import package_of
from .services.releasing import release, withdraw_release
from .services.rendering import frozen_json, pdf_bytes

Perform = Callable[[dict[str, Any], datetime], object]
Bound = dict[str, django_forms.Form]


@require_safe
@needs(Act.LOOK_UP_UNIT)
def release_page(request: HttpRequest, serial: str) -> HttpResponse:
    """What is proven and what is not, the certificate, and what the person may do about it."""
    return _page(request, serial)


@require_POST
@needs(Act.RELEASE_UNIT)
@sensitive_post_parameters("pin")
def release_unit(request: HttpRequest, serial: str) -> HttpResponse:
    """The signed release."""

    def perform(data: dict[str, Any], at: datetime) -> object:
        release(proof=_proof(request, data["pin"], at), serial=serial, at=at)
        return None

    form = forms.ReleaseForm(request.POST, auto_id="release_%s")
    return _act(request, serial, "release", form, f"{serial} is released.", perform)


@require_POST
@needs(Act.RELEASE_UNIT)
@sensitive_post_parameters("pin")
def withdraw(request: HttpRequest, serial: str) -> HttpResponse:
    """The release, taken back."""

    def perform(data: dict[str, Any], at: datetime) -> object:
        proof = _proof(request, data["pin"], at)
        return withdraw_release(proof=proof, serial=serial, reason=data["reason"], at=at)

    form = forms.WithdrawForm(request.POST, auto_id="withdraw_%s")
    return _act(request, serial, "withdraw", form, f"The release of {serial} is withdrawn.", perform)


@require_POST
@needs(Act.ISSUE_CERTIFICATE)
def issue(request: HttpRequest, serial: str) -> HttpResponse:
    """The next issue of the certificate."""

    def perform(data: dict[str, Any], at: datetime) -> object:
        return issue_certificate(by=request.user, serial=serial, at=at, change_note=data["change_note"])

    form = forms.IssueForm(request.POST, auto_id="issue_%s")
    return _act(request, serial, "issue", form, "The certificate is issued.", perform)


@require_POST
@needs(Act.DECIDE_RESULT)
@sensitive_post_parameters("pin")
def decide(request: HttpRequest, serial: str) -> HttpResponse:
    """A signed decision about one answer that does not count by itself."""

    def perform(data: dict[str, Any], at: datetime) -> object:
        chosen = {name: data[name] for name in ("operation", "about", "accepted", "reason")}
        decide_result(proof=_proof(request, data["pin"], at), at=at, **chosen)
        return None

    return _act(request, serial, "decide", forms.DecideForm(request.POST), "The decision is recorded.", perform)


@require_POST
@needs(Act.ISSUE_CERTIFICATE)
@sensitive_post_parameters("pin")
def withdraw_issue(request: HttpRequest, number: str, issue: int) -> HttpResponse:
    """An issue that no longer stands."""
    card = certificate(number, issue)

    def perform(data: dict[str, Any], at: datetime) -> object:
        proof = _proof(request, data["pin"], at)
        return withdraw_certificate(proof=proof, number=card.number, issue=issue, reason=data["reason"], at=at)

    form = forms.WithdrawForm(request.POST, auto_id="withdraw_issue_%s")
    done = f"{card.number} issue {issue} is withdrawn."
    return _act(request, card.serial, "withdraw_issue", form, done, perform)


@require_safe
@needs(Act.GET_CERTIFICATE)
def pdf(request: HttpRequest, number: str, issue: int) -> HttpResponse:
    """The certificate's own file: the same bytes at every asking."""
    card = certificate(number, issue)
    name = f"{card.number}-issue-{card.issue}.pdf"
    data = pdf_bytes(
        card, at=timezone.now(), language=request.GET.get("language", ""), paper=request.GET.get("paper", "")
    )
    headers = {"Content-Disposition": f'inline; filename="{name}"'}
    return HttpResponse(data, content_type="application/pdf", headers=headers)


@require_safe
@needs(Act.GET_CERTIFICATE)
def frozen(request: HttpRequest, number: str, issue: int) -> HttpResponse:
    """What the certificate says, for machines."""
    return HttpResponse(frozen_json(certificate(number, issue)), content_type="application/json; charset=utf-8")


@require_safe
@needs(Act.GET_CERTIFICATE)
def package(request: HttpRequest, number: str, issue: int) -> HttpResponse:
    """Everything about one issue in one file, for a customer or an authority."""
    card = certificate(number, issue)
    headers = {"Content-Disposition": f'attachment; filename="{card.number}-issue-{card.issue}.zip"'}
    return HttpResponse(package_of(card, at=timezone.now()), content_type="application/zip", headers=headers)


def _proof(request: HttpRequest, pin: str, at: datetime) -> Proof:
    return prove_identity(person=request.user, secret=pin, method="pin", at=at, address=client_address(request))


def _act(
    request: HttpRequest, serial: str, name: str, form: django_forms.Form, done: str, perform: Perform
) -> HttpResponse:
    """Do it and come back; a refusal shows the page again with what was typed, except the PIN."""
    status = HTTPStatus.BAD_REQUEST
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


def _page(request: HttpRequest, serial: str, bound: Bound | None = None, status: int = HTTPStatus.OK) -> HttpResponse:
    held = acts_of(request.user, timezone.now())
    state = release_state(serial)
    refused = (bound or {}).get("decide") if Act.DECIDE_RESULT in held else None
    waiting = [*state.standing.near_limit, *state.standing.unproven]
    context = {
        "unit": state.unit,
        "state": state,
        "against": sum(not finding.ok for finding in state.findings),
        "waiting": [(one, _decide_form(one, refused) if Act.DECIDE_RESULT in held else None) for one in waiting],
        "stray": refused if refused and not any(_is_about(refused, one) for one in waiting) else None,
        "certificates": certificates_of(state.unit.item_id),
        "may_get": Act.GET_CERTIFICATE in held,
        "forms": _fresh_forms(state, held) | (bound or {}),
    }
    return render(request, "certificates/release.html", context, status=status)


def _fresh_forms(state: ReleaseState, held: frozenset[Act]) -> Bound:
    """The forms of what is possible now and lies in the person's roles."""
    wanted: dict[str, tuple[type[django_forms.Form], bool]] = {
        "release": (forms.ReleaseForm, Act.RELEASE_UNIT in held and state.ready and not state.released),
        "withdraw": (forms.WithdrawForm, Act.RELEASE_UNIT in held and state.released),
        "issue": (forms.IssueForm, Act.ISSUE_CERTIFICATE in held and state.released),
        "withdraw_issue": (forms.WithdrawForm, Act.ISSUE_CERTIFICATE in held),
    }
    return {name: form(auto_id=f"{name}_%s") for name, (form, possible) in wanted.items() if possible}


def _decide_form(one: Unproven, refused: django_forms.Form | None) -> django_forms.Form:
    """The form of one decision; the one that was just refused keeps what was typed."""
    if refused is not None and _is_about(refused, one):
        return refused
    return forms.DecideForm(initial={"operation": one.operation, "about": one.about})


def _is_about(form: django_forms.Form, one: Unproven) -> bool:
    return (form.data.get("operation"), form.data.get("about")) == (str(one.operation), one.about)
