"""Customers and orders, the dispatch of a unit, and service events."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods

from qcapp.certificates.as_built_checks import against_parts
from qcapp.certificates.queries import certificates_of
from qcapp.lib.middleware import client_address
from qcapp.lib.several_forms import SeveralForms
from qcapp.lib.site_days import site_day
from qcapp.lib.spoken import said
from qcapp.nonconformance.queries import reports_of
from qcapp.people.access import needs
from qcapp.people.queries import may
from qcapp.people.roles import Act
from qcapp.people.services import prove_identity
from qcapp.production.queries import UnitCard, open_holds, unit_by_serial
from qcapp.production.queries.as_built import holder_of, installed_in, tree_of
from qcapp.production.queries.places import whereabouts

from . import forms, services
from .queries import customers, dispatches, events_of, orders, orders_named

GET_AND_POST = ["GET", "HEAD", "POST"]


@require_http_methods(GET_AND_POST)
@needs(Act.SEE_CUSTOMERS, post=Act.KEEP_ORDERS)
def customer_list(request: HttpRequest) -> HttpResponse:
    """Customers and orders, and the forms for new ones."""
    page = SeveralForms(request, {"customer": forms.CustomerForm, "order": forms.OrderForm, "due": forms.DueForm})

    def customer(told: dict[str, Any], at: datetime) -> object:
        return services.add_customer(by=request.user, at=at, **told)

    def order(told: dict[str, Any], at: datetime) -> object:
        return services.add_order(by=request.user, at=at, **told)

    def due(told: dict[str, Any], at: datetime) -> object:
        return services.set_due(by=request.user, at=at, **told)

    page.hear({"customer": customer, "order": order, "due": due})
    if page.done:
        return redirect("customers:list")
    keeps = may(request.user, Act.KEEP_ORDERS, timezone.now())
    context = {"customers": customers(), "orders": orders(), "forms": page.forms, "keeps": keeps}
    return render(request, "customers/list.html", context, status=page.status)


@require_http_methods(GET_AND_POST)
@needs(Act.DISPATCH_UNIT)
@sensitive_post_parameters("pin")
def dispatch(request: HttpRequest, serial: str) -> HttpResponse:
    """The signed act that hands a unit over, with what stands against it."""
    unit = unit_by_serial(serial)
    page = SeveralForms(request, {"dispatch": forms.DispatchForm})

    def perform(told: dict[str, Any], at: datetime) -> object:
        address = client_address(request)
        proof = prove_identity(person=request.user, secret=told.pop("pin"), method="pin", at=at, address=address)
        return services.dispatch(proof=proof, serial=unit.serial, at=at, **told)

    page.hear({"dispatch": perform})
    if page.done:
        messages.success(request, f"{unit.serial} is dispatched.", extra_tags="in")
        return redirect("history:unit", serial=unit.serial)
    issues = certificates_of(unit.item_id)
    current = next((card for card in issues if card.standing == "current"), None)
    form = page.forms["dispatch"]
    form.initial = {"order_number": unit.order_number}
    if current:
        form.initial |= {"certificate_number": current.number, "issue": current.issue}
    holder = holder_of(unit.item_id)
    holds, against = open_holds(unit.item_id), [said(one) for one in against_parts(unit.item_id)]
    stopped = bool(holds or against or holder or not current) or unit.state != "released" or unit.away
    context = {
        "unit": unit, "form": form, "current": current, "latest": next(iter(issues), None), "holds": holds,
        "against": against, "holder": holder, "may_leave": form.is_bound or not stopped,
        **_leaving(unit),
    }  # fmt: skip
    return render(request, "customers/dispatch.html", context, status=page.status)


def _leaving(unit: UnitCard) -> dict[str, Any]:
    """What is looked at before the signature: for whom the unit was made, where it is, what goes with it."""
    item = unit.item_id
    return {
        "order": next(iter(orders_named([unit.order_number])), None) if unit.order_number else None,
        "where": whereabouts([item]).get(item),
        "left": dispatches([item]).get(item) if unit.state == "dispatched" else None,
        "inside": installed_in([item]),
    }


@require_http_methods(GET_AND_POST)
@needs(Act.RECORD_SERVICE)
def event(request: HttpRequest, serial: str) -> HttpResponse:
    """What happened to a unit after it left, beside what is known of it."""
    unit = unit_by_serial(serial)
    page = SeveralForms(request, {"event": forms.EventForm})

    def perform(told: dict[str, Any], at: datetime) -> object:
        photos = [(str(photo.name), photo.read()) for photo in told.pop("photo")]
        return services.record_event(by=request.user, serial=unit.serial, photos=photos, at=at, **told)

    page.hear({"event": perform})
    if page.done:
        messages.success(request, "The event is recorded.", extra_tags="in")
        return redirect("history:unit", serial=unit.serial)
    at, item = timezone.now(), unit.item_id
    page.forms["event"].initial = {"happened_on": site_day(at)}
    context = {
        "unit": unit, "form": page.forms["event"], "events": events_of(item),
        "reports": reports_of(item, viewer=request.user, at=at), "certificates": certificates_of(item),
        "dispatch": dispatches([item]).get(item), "inside": tree_of(unit).below,
    }  # fmt: skip
    return render(request, "customers/event.html", context, status=page.status)
