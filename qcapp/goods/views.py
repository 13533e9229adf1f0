"""Pages of goods-in: what came in, one heat, one lot, what is built into a unit, and moves to a place."""

from __future__ import annotations

from datetime import datetime
from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods, require_safe

from qcapp.evidence.services.keeping import keep_picture
from qcapp.lib.middleware import client_address
from qcapp.lib.several_forms import Perform, SeveralForms
from qcapp.lib.spoken import said
from qcapp.people.access import needs
from qcapp.people.queries import may, person_by_badge
from qcapp.people.roles import Act
from qcapp.people.services import Proof, prove_identity
from qcapp.production.queries import open_holds, unit_by_serial
from qcapp.production.queries.as_built import heat_by_number, heats, installed_in, lot_by_code, lots, used_in
from qcapp.production.queries.places import WhereCard, marks_of, places
from qcapp.production.services.components import install_component, remove_component
from qcapp.production.services.places import ReadBack, add_place, mark_part, move_item

from . import forms, services
from .outside_views import OUTSIDE_FORMS, outside_acts
from .queries import (
    decisions_of_heat,
    deliveries,
    delivery_by_number,
    events_of_heat,
    papers_of_delivery,
    papers_of_heat,
)
from .queries.held import held_deliveries, holds_of_delivery, holds_on_heat
from .queries.lots import (
    drawn_pieces,
    next_inspections,
    planned_aqls,
    sample_of,
    sorting_of,
    supplier_of,
)
from .queries.outside import out_now, sent_out
from .queries.verifying import demand_on, demands, free_check, waiting_in
from .services import lots as lot_services
from .services.lots import AQLS
from .services.reporting import raise_on_delivery
from .services.verifying import issue_material

GET_AND_POST = ["GET", "HEAD", "POST"]


def _proof(request: HttpRequest, secret: str, at: datetime) -> Proof:
    return prove_identity(person=request.user, secret=secret, method="pin", at=at, address=client_address(request))


@require_safe
@needs(Act.LOOK_AT_GOODS)
def overview(request: HttpRequest) -> HttpResponse:
    """Deliveries, heats and lots, the newest first, what is not decided on top."""
    now = timezone.now()
    found = sorted(heats(), key=lambda heat: heat.state == "accepted")
    context = {
        "deliveries": deliveries(40),
        "held": held_deliveries(),
        "demands": demands(),
        "heats": found,
        "lots": sorted(lots(), key=lambda lot: lot.usable),
        "keeps": may(request.user, Act.KEEP_GOODS, now),
        "moves": may(request.user, Act.MOVE_ITEM, now),
        "raises": may(request.user, Act.RAISE_REPORT, now),
        "out": out_now(),
    }
    return render(request, "goods/overview.html", context)


def _one_form(
    request: HttpRequest, name: str, title: str, lead: str, shape: Any, perform: Perform, shown: str,
    template: str = "goods/form.html",
) -> HttpResponse:  # fmt: skip
    """A page with one form; `shown` is the address after it, in which {} is what the act gave."""
    page = SeveralForms(request, {name: shape})
    given = page.hear({name: perform})
    if page.done:
        messages.success(request, f"{title}: done.", extra_tags="in")
        return redirect(shown.format(given))
    context = {"title": title, "lead": lead, "form": page.forms[name], "act": name}
    return render(request, template, context, status=page.status)


@require_http_methods(GET_AND_POST)
@needs(Act.KEEP_GOODS)
def receive(request: HttpRequest) -> HttpResponse:
    """A delivery."""

    def perform(told: dict[str, Any], at: datetime) -> object:
        return services.receive_delivery(by=request.user, at=at, **told).number

    lead = "What came in on one delivery note."
    address = "/goods/deliveries/{}/"
    return _one_form(
        request, "receive", "Receive a delivery", lead, forms.DeliveryForm, perform, address, "goods/receive.html"
    )


@require_safe
@needs(Act.LOOK_AT_GOODS)
def delivery(request: HttpRequest, number: str) -> HttpResponse:
    """One delivery: its lines with the lots that are inspected, and the mill certificates that came with it."""
    card, now = delivery_by_number(number), timezone.now()
    holds = holds_of_delivery(card.id)
    context = {
        "delivery": card,
        "papers": papers_of_delivery(card.id),
        "holds": [one for one in holds if one.is_open],
        "by_hand": any(one.is_open and one.by_hand for one in holds),
        "lifted": [one for one in holds if not one.is_open],
        "raises": may(request.user, Act.RAISE_REPORT, now),
        "lifts": may(request.user, Act.LIFT_HOLD, now),
    }
    return render(request, "goods/delivery.html", context)


@require_http_methods(GET_AND_POST)
@needs(Act.KEEP_GOODS)
def certificate(request: HttpRequest) -> HttpResponse:
    """A mill certificate, checked against the grade as it is entered; with `more` a further heat on one that is."""
    more = request.GET.get("more", "")
    page = SeveralForms(request, {"certificate": forms.FurtherHeatForm if more else forms.CertificateForm})
    form = page.forms["certificate"]
    assert isinstance(form, forms.CertificateForm)  # noqa: S101 - named so just above
    form.initial.update({"number": more, "supplier": request.GET.get("supplier", "")})

    def perform(told: dict[str, Any], at: datetime) -> object:
        named = {name: told[name] for name in ("supplier", "number")}
        if more:
            return services.add_to_certificate(by=request.user, heats=[form.heat_told()], at=at, **named)
        named["delivery_number"], paper = told["delivery_number"], told["paper"]
        return services.enter_certificate(
            by=request.user, paper=paper.read(), paper_name=paper.name, heats=[form.heat_told()], at=at, **named
        )

    page.hear({"certificate": perform})
    if page.done:
        whose = urlencode({"supplier": form.cleaned_data["supplier"].strip()})
        return redirect(f"{reverse('goods:heat', args=[form.cleaned_data['heat'].strip()])}?{whose}")
    lead = "As printed, with comma or dot, in % or with ppm behind it. What the paper does not say stays empty."
    title = f"Another heat or size on {more[:60]}" if more else "Enter a mill certificate"
    context = {"title": title, "lead": lead, "form": form, "act": "certificate", "wide": True}
    return render(request, "goods/form.html", context, status=page.status)


@require_http_methods(GET_AND_POST)
@needs(Act.LOOK_AT_GOODS, post=Act.KEEP_GOODS)
@sensitive_post_parameters("pin")
def heat(request: HttpRequest, number: str) -> HttpResponse:
    """One heat: its papers with every finding, what was decided, and the acts on it."""
    card = heat_by_number(number, request.GET.get("supplier", ""))
    page = SeveralForms(request, {"decide": forms.DecideForm, "cut": forms.CutForm, "grade": forms.GradeForm})

    def decide(told: dict[str, Any], at: datetime) -> object:
        proof = _proof(request, told.pop("pin"), at)
        return services.decide_heat(proof=proof, heat_number=card.number, supplier=card.supplier, at=at, **told)

    def cut(told: dict[str, Any], at: datetime) -> object:
        return services.record_cut(by=request.user, heat_number=card.number, supplier=card.supplier, at=at, **told)

    def grade(told: dict[str, Any], at: datetime) -> object:
        return services.verify_grade(by=request.user, heat_number=card.number, supplier=card.supplier, at=at, **told)

    page.hear({"decide": decide, "cut": cut, "grade": grade})
    if page.done:
        return redirect(request.get_full_path())
    context = {
        "heat": card,
        "papers": papers_of_heat(card.id),
        "holds": holds_on_heat(card.id),
        "demand": demand_on(card, any_family=True),
        "verified": free_check(card.id),
        "decisions": decisions_of_heat(card.id),
        "events": events_of_heat(card.id),
        "forms": page.forms,
        "keeps": may(request.user, Act.KEEP_GOODS, timezone.now()),
    }
    return render(request, "goods/heat.html", context, status=page.status)


@require_http_methods(GET_AND_POST)
@needs(Act.KEEP_GOODS)
def new_lot(request: HttpRequest) -> HttpResponse:
    """A lot made from accepted heats."""

    def perform(told: dict[str, Any], at: datetime) -> object:
        numbers = [number.strip() for number in told.pop("heats").split(",") if number.strip()]
        return lot_services.open_lot(by=request.user, heat_numbers=numbers, at=at, **told).code

    lead = "Parts made together and not serialized, from accepted heats."
    return _one_form(request, "lot", "Open a lot", lead, forms.LotForm, perform, "/goods/lots/{}/")


@require_http_methods(GET_AND_POST)
@needs(Act.LOOK_AT_GOODS, post=Act.KEEP_GOODS)
@sensitive_post_parameters("pin")
def lot(request: HttpRequest, code: str) -> HttpResponse:
    """One lot: its heats, its sample with the pieces, the verdict, sorting, and what was done outside."""
    card = lot_by_code(code)
    sample = sample_of(card.id)
    planned = {} if sample else planned_aqls(card.family_code)
    supplier, used, outside = supplier_of(card.id), used_in([card.item_id]), sent_out(card.item_id)
    following = {} if sample else next_inspections(card.family_id, list(planned or AQLS), supplier=supplier)
    page = SeveralForms(request, LOT_FORMS | ({"sample": forms.PlannedSampleForm} if planned or sample else {}))
    drawing = page.forms["sample"]
    if isinstance(drawing, forms.SampleForm) and not any(one.stopped for one in following.values()):
        drawing.hide_resuming()
    page.hear(_lot_acts(request, card.code))
    if page.done:
        return redirect("goods:lot", code=card.code)
    here = getattr(request, "tablet", None) is None  # a shared tablet looks, and inspects in the grid
    context = {
        "lot": card,
        "holds": open_holds(card.item_id),
        "used": used,
        "waiting": waiting_in(card, used),
        "sample": sample,
        "pieces": drawn_pieces(card.id) if sample else [],
        "sorting": sorting_of(card.id),
        "outside": outside,
        "is_out": bool(outside and outside[0].returned_at is None),
        "next": following,
        "supplier": supplier,
        "planned": planned,
        "forms": page.forms,
        "keeps": here and may(request.user, Act.KEEP_GOODS, timezone.now()),
    }
    return render(request, "goods/lot.html", context, status=page.status)


LOT_FORMS = {
    "sample": forms.SampleForm,
    "judge": forms.JudgeForm,
    "sort": forms.SortForm,
    **OUTSIDE_FORMS,
}


def _lot_acts(request: HttpRequest, code: str) -> dict[str, Perform]:
    """What the lot's forms do, by name."""

    def sample(told: dict[str, Any], at: datetime) -> object:
        aqls = {name: told.pop(name) for name in ("major", "minor") if name in told} or None
        return lot_services.sample_lot(by=request.user, lot_code=code, aqls=aqls, at=at, **told)

    def judge(told: dict[str, Any], at: datetime) -> object:
        return lot_services.judge_lot(by=request.user, lot_code=code, at=at)

    def sort(told: dict[str, Any], at: datetime) -> object:
        proof = _proof(request, told.pop("pin"), at)
        return lot_services.sort_lot(proof=proof, lot_code=code, at=at, **told)

    return {"sample": sample, "judge": judge, "sort": sort, **outside_acts(request, code)}


# ------------------------------------------------------------------------------------------------ units, places


@require_http_methods(GET_AND_POST)
@needs(Act.BUILD_IN)
def build_in(request: HttpRequest, serial: str) -> HttpResponse:
    """What goes into a unit: components, lots and heats, and the marks on it."""
    unit = unit_by_serial(serial)
    page = SeveralForms(
        request,
        {"install": forms.InstallForm, "remove": forms.RemoveForm, "use": forms.UseForm, "mark": forms.MarkForm},
    )
    page.hear(_unit_acts(request, unit.serial))
    if page.done:
        messages.success(request, "Recorded.", extra_tags="in")
        return redirect("goods:build_in", serial=unit.serial)
    context = {
        "unit": unit,
        "components": installed_in([unit.item_id]),
        "used": used_in([unit.item_id]),
        "marks": marks_of(unit.item_id),
        "forms": page.forms,
    }
    return render(request, "goods/build_in.html", context, status=page.status)


def _read_back(request: HttpRequest, told: dict[str, Any], at: datetime) -> ReadBack | None:
    """What the other person read, proven by that person's own PIN; None where nobody did. Takes it out of `told`."""
    badge, pin, text, tag = (told.pop(f"read_back_{name}").strip() for name in ("badge", "pin", "text", "tag"))
    if not badge:
        return None
    reader = person_by_badge(badge)
    proof = prove_identity(person=reader, secret=pin, method="pin", at=at, address=client_address(request))
    return ReadBack(proof, text, tag)


def _unit_acts(request: HttpRequest, serial: str) -> dict[str, Perform]:
    """What the forms of a unit do, by name."""

    def install(told: dict[str, Any], at: datetime) -> object:
        return install_component(by=request.user, serial=serial, at=at, **told)

    def remove(told: dict[str, Any], at: datetime) -> object:
        return remove_component(by=request.user, serial=serial, at=at, **told)

    def use(told: dict[str, Any], at: datetime) -> object:
        return issue_material(by=request.user, serial=serial, at=at, **told)

    def mark(told: dict[str, Any], at: datetime) -> object:
        photo = told.pop("photo")
        read = _read_back(request, told, at)
        kept = keep_picture(by=request.user, content=photo.read(), name=photo.name, at=at).id if photo else None
        return mark_part(by=request.user, serial=serial, read_back=read, photo_id=kept, at=at, **told)

    return {"install": install, "remove": remove, "use": use, "mark": mark}


@require_http_methods(GET_AND_POST)
@needs(Act.MOVE_ITEM)
def move(request: HttpRequest) -> HttpResponse:
    """A unit or lot put in a place: scan one, scan the other."""
    page = SeveralForms(request, {"move": forms.MoveForm, "place": forms.PlaceForm})

    def put(told: dict[str, Any], at: datetime) -> object:
        return move_item(by=request.user, at=at, **told)

    def place(told: dict[str, Any], at: datetime) -> object:
        return add_place(by=request.user, at=at, **told)

    given = page.hear({"move": put, "place": place})
    if page.done:
        messages.success(request, said(_where_it_is(request, given)), extra_tags="in")
        return redirect("goods:move")
    context = {"places": places(), "forms": page.forms, "names": may(request.user, Act.KEEP_PLACES, timezone.now())}
    return render(request, "goods/move.html", context, status=page.status)


def _where_it_is(request: HttpRequest, given: object) -> str:
    """What to say after a move, so that a wrong scan is seen at once."""
    if isinstance(given, WhereCard):
        return f"{request.POST['code'].strip().upper()} is in {given.place.code}, {given.place.name}, now."
    return "The place is named; print its label."


@require_http_methods(GET_AND_POST)
@needs(Act.RAISE_REPORT)
def report(request: HttpRequest, number: str) -> HttpResponse:
    """A nonconformance report about what a delivery brought."""
    found = delivery_by_number(number)

    def perform(told: dict[str, Any], at: datetime) -> object:
        return raise_on_delivery(by=request.user, delivery_number=found.number, at=at, **told)

    lead = f"{found.number} from {found.supplier}, note {found.note_number}. The pieces go on hold at once."
    on_tablet = getattr(request, "tablet", None)  # the report itself is read in the office
    address = f"/goods/deliveries/{found.number}/" if on_tablet else "/nonconformances/{}/"
    return _one_form(request, "report", "Raise a report on the delivery", lead, forms.ReportForm, perform, address)
