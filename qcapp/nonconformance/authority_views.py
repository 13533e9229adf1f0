"""Who decides what, permits given before making, one report over many units, and the signed lifting of a hold."""

from __future__ import annotations

from http import HTTPStatus
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from qcapp.core.errors import QcError
from qcapp.lib.middleware import client_address
from qcapp.lib.refusals import refusal_status
from qcapp.lib.site_days import site_day
from qcapp.people.access import needs
from qcapp.people.queries import may
from qcapp.people.roles import Act
from qcapp.people.services import prove_identity
from qcapp.plans.queries.specified import units_of_measure
from qcapp.production.queries import hold_by_uuid, units_of_items
from qcapp.production.services import lift_hold

from . import forms
from .queries import details
from .services import by_hand, deciders, permits
from .states import Disposition

SEVERITIES = ("critical", "major", "minor")


# --------------------------------------------------------------------------------------------- who decides what


@require_safe
@needs(Act.LOOK_AT_REPORTS)
def deciders_page(request: HttpRequest) -> HttpResponse:
    """The table as it stands, and what was changed in it."""
    return _deciders(request, forms.DecidersForm())


@require_POST
@needs(Act.SET_DECIDERS)
def set_deciders(request: HttpRequest) -> HttpResponse:
    """Change one line of the table."""
    form = forms.DecidersForm(request.POST)
    status = HTTPStatus.BAD_REQUEST
    if form.is_valid():
        try:
            deciders.set_deciders(by=request.user, at=timezone.now(), **form.cleaned_data)
        except QcError as error:
            form.add_error(None, error.message)
            status = refusal_status(error)
        else:
            messages.success(request, "The table is changed; proposals that wait keep their signatures.")
            return redirect("nonconformance:deciders")
    return _deciders(request, form, status)


def _deciders(request: HttpRequest, form: forms.DecidersForm, status: int = HTTPStatus.OK) -> HttpResponse:
    table = details.deciders_table()
    rows = [(one.label, [table[severity, one] for severity in SEVERITIES]) for one in Disposition]
    changes = details.decider_changes()
    context = {"severities": SEVERITIES, "rows": rows, "form": form, "changes": changes}
    context["may_change"] = may(request.user, Act.SET_DECIDERS, timezone.now())
    return render(request, "nonconformance/deciders.html", context, status=status)


# ---------------------------------------------------------------------------------------------------- permits


@require_safe
@needs(Act.LOOK_AT_REPORTS)
def permits_page(request: HttpRequest) -> HttpResponse:
    """Deviation permits with what is left of them."""
    return _permits(request, forms.PermitForm())


@require_POST
@needs(Act.PROPOSE_PERMIT)
def propose_permit(request: HttpRequest) -> HttpResponse:
    """A permit that waits for its two signatures."""
    form = forms.PermitForm(request.POST)
    status = HTTPStatus.BAD_REQUEST
    if form.is_valid():
        try:
            number = permits.propose_permit(by=request.user, at=timezone.now(), **form.cleaned_data)
        except QcError as error:
            form.add_error(None, error.message)
            status = refusal_status(error)
        else:
            messages.success(request, f"{number} waits for the engineer's and the quality manager's signatures.")
            return redirect("nonconformance:permits")
    return _permits(request, form, status)


@require_POST
@needs(Act.SIGN_PERMIT)
@sensitive_post_parameters("pin")
def sign_permit(request: HttpRequest, number: str) -> HttpResponse:
    """One of the two signatures under a permit."""
    form = forms.SignPermitForm(request.POST)
    at = timezone.now()
    if not form.is_valid():
        return _permits(request, forms.PermitForm(), HTTPStatus.BAD_REQUEST, "Choose your role and type your PIN.")
    try:
        proof = prove_identity(
            person=request.user, secret=form.cleaned_data["pin"], method="pin", at=at, address=client_address(request)
        )
        permits.sign_permit(proof=proof, number=number, role=form.cleaned_data["role"], at=at)
    except QcError as error:
        return _permits(request, forms.PermitForm(), refusal_status(error), error.message)
    messages.success(request, f"You have signed {number}.")
    return redirect("nonconformance:permits")


def _permits(
    request: HttpRequest, form: forms.PermitForm, status: int = HTTPStatus.OK, problem: str = ""
) -> HttpResponse:
    at = timezone.now()
    cards = details.permits(site_day(at))
    units = units_of_measure({card.characteristic_id for card in cards})
    context = {
        "permits": [
            (card, units.get(card.characteristic_id, ""), forms.SignPermitForm(auto_id=f"{card.number}_%s"))
            for card in cards
        ],
        "form": form,
        "may_propose": may(request.user, Act.PROPOSE_PERMIT, at),
        "may_sign": may(request.user, Act.SIGN_PERMIT, at),
        "problem": problem,
    }
    return render(request, "nonconformance/permits.html", context, status=status)


# --------------------------------------------------------------------------------------- one report, many units


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Act.RAISE_REPORT)
def raise_grouped(request: HttpRequest) -> HttpResponse:
    """One report over many units, in place of a flood."""
    initial = {name: request.GET.get(name, "")[:160] for name in ("title", "source", "serials") if name in request.GET}
    form = forms.GroupForm(request.POST if request.method == "POST" else None, initial=initial)
    status = HTTPStatus.BAD_REQUEST if form.is_bound else HTTPStatus.OK
    if form.is_valid():
        try:
            number = by_hand.raise_grouped(by=request.user, at=timezone.now(), **form.cleaned_data)
        except QcError as error:
            form.add_error(None, error.message)
            status = refusal_status(error)
        else:
            messages.success(request, f"{number} is open and its units are on hold.", extra_tags="in")
            return redirect("nonconformance:report", number=number)
    return render(request, "nonconformance/raise_grouped.html", {"form": form}, status=status)


# ------------------------------------------------------------------------------------------------------ holds


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Act.LIFT_HOLD)
@sensitive_post_parameters("pin")
def lift(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """The signed act that lifts one hold."""
    at = timezone.now()
    hold = hold_by_uuid(uuid)
    form = forms.LiftForm(request.POST if request.method == "POST" else None)
    status = HTTPStatus.BAD_REQUEST if form.is_bound else HTTPStatus.OK
    if form.is_valid():
        try:
            proof = prove_identity(
                person=request.user, secret=form.cleaned_data["pin"], method="pin", at=at,
                address=client_address(request),
            )  # fmt: skip
            lift_hold(proof=proof, hold_uuid=uuid, reason=form.cleaned_data["reason"], at=at)
        except QcError as error:
            form.add_error(None, error.message)
            status = refusal_status(error)
        else:
            messages.success(request, f"The hold from {hold.source} is lifted.", extra_tags="in")
            return redirect("nonconformance:lift", uuid=uuid)
    units = units_of_items([hold.item_id])
    context = {"hold": hold, "serial": units[hold.item_id].serial if units else "", "form": form}
    return render(request, "nonconformance/lift.html", context, status=status)
