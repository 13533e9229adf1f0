"""A delivery put on hold by hand, and a hold on it lifted by a signed act."""

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
from django.views.decorators.http import require_http_methods

from qcapp.core.errors import QcError
from qcapp.lib.middleware import client_address
from qcapp.lib.refusals import refusal_status
from qcapp.people.access import needs
from qcapp.people.roles import Act
from qcapp.people.services import prove_identity

from . import forms
from .queries import DeliveryCard, delivery_by_number
from .queries.held import holds_of_delivery
from .services.holding import hold_delivery, lift_delivery_hold

GET_AND_POST = ["GET", "HEAD", "POST"]
Perform = Callable[[dict[str, Any], datetime], object]


@require_http_methods(GET_AND_POST)
@needs(Act.RAISE_REPORT)
def hold(request: HttpRequest, number: str) -> HttpResponse:
    """Put a delivery on hold."""
    found = delivery_by_number(number)

    def perform(told: dict[str, Any], at: datetime) -> object:
        return hold_delivery(by=request.user, delivery_number=found.number, at=at, **told)

    form = forms.HoldForm(request.POST or None)
    lead = f"{found.supplier}, note {found.note_number}. Its heats are held and its lots go on hold with it."
    return _page(request, found, form, perform, (f"Put {found.number} on hold", "Put it on hold", lead))


@require_http_methods(GET_AND_POST)
@needs(Act.LIFT_HOLD)
@sensitive_post_parameters("pin")
def lift(request: HttpRequest, number: str) -> HttpResponse:
    """Lift one of the holds on a delivery."""
    found = delivery_by_number(number)

    def perform(told: dict[str, Any], at: datetime) -> object:
        secret = told.pop("pin")
        where = client_address(request)
        proof = prove_identity(person=request.user, secret=secret, method="pin", at=at, address=where)
        return lift_delivery_hold(proof=proof, at=at, **told)

    standing = [one for one in holds_of_delivery(found.id) if one.is_open]
    choices = [(str(one.uuid), f"{one.source.removeprefix(f'{found.number} ')}: {one.reason}") for one in standing]
    form = forms.LiftForm(request.POST or None, holds=choices)
    lead = "Your signature says that what came may be used: its lots are free, its heats are what they were before."
    return _page(request, found, form, perform, (f"Lift a hold on {found.number}", "Lift the hold", lead))


def _page(
    request: HttpRequest, found: DeliveryCard, form: django_forms.Form, perform: Perform, words: tuple[str, str, str]
) -> HttpResponse:
    """The form under its title, with its button and what it means; the delivery once it was done."""
    status: int = HTTPStatus.BAD_REQUEST if form.is_bound else HTTPStatus.OK
    if form.is_valid():
        try:
            perform(dict(form.cleaned_data), timezone.now())
        except QcError as error:
            form.add_error(None, error.message)
            status = refusal_status(error)
        else:
            messages.success(request, "Recorded.", extra_tags="in")
            return redirect("goods:delivery", number=found.number)
    title, button, lead = words
    context = {"title": title, "button": button, "lead": lead, "form": form}
    return render(request, "goods/form.html", context, status=status)
