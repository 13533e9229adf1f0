"""The list of gauges, one gauge with what happened to it, and what metrology does with it."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from http import HTTPStatus
from typing import Any

from django import forms as django_forms
from django.conf import settings
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from qcapp.core.errors import QcError
from qcapp.lib.falling_due import falling_due
from qcapp.lib.labels import Label, label_pdf, typed_width
from qcapp.lib.refusals import refusal_status
from qcapp.people.access import needs, public
from qcapp.people.queries import may
from qcapp.people.roles import Act

from . import forms, queries, services
from .due import SOON, calendar_of, due_list, feed_key, person_of_key
from .keeping import budget_of, keep_gauge, keeping_of, set_budget
from .studying import studies_of
from .usual_kinds import USUAL_KINDS

Perform = Callable[[dict[str, Any], datetime], object]


@needs(Act.LOOK_AT_GAUGES)
@require_safe
def gauge_list(request: HttpRequest) -> HttpResponse:
    """Every gauge, those that may not be used first."""
    now = timezone.now()
    cards = queries.all_gauges(now)
    shown = {
        "gauges": cards,
        "not_usable": sum(not card.usable for card in cards if not card.retired),
        "kept": sum(not card.retired for card in cards),
        "keeps": may(request.user, Act.KEEP_GAUGES, now),
    }
    return render(request, "gauges/list.html", shown)


@needs(Act.LOOK_AT_GAUGES)
@require_safe
def gauge_page(request: HttpRequest, number: str) -> HttpResponse:
    """One gauge: its state in words, its calibrations, and the forms for who keeps gauges."""
    return _page(request, number)


@needs(Act.LOOK_AT_GAUGES)
@require_safe
def due(request: HttpRequest) -> HttpResponse:
    """What falls due, and the address of the calendar feed."""
    now = timezone.now()
    address = request.build_absolute_uri(reverse("gauges:feed", kwargs={"key": feed_key(request.user)}))
    others = falling_due(now)
    told = {
        "due": due_list(now),
        "fixtures": [one for one in others if one.kind == "fixture"],
        "qualifications": [one for one in others if one.kind == "qualification"],
        "inspectors": [one for one in others if one.kind in ("authorisation", "eyesight")],
        "address": address,
        "soon": SOON,
    }
    return render(request, "gauges/due.html", told)


@public
@require_safe
def feed(request: HttpRequest, key: str) -> HttpResponse:
    """The due dates for a calendar program, which cannot sign in: the address itself is the key."""
    now = timezone.now()
    person_of_key(key, now)
    return HttpResponse(calendar_of(due_list(now), now, falling_due(now)), content_type="text/calendar; charset=utf-8")


@needs(Act.LOOK_AT_GAUGES)
@require_safe
def label(request: HttpRequest, number: str) -> HttpResponse:
    """The gauge's label with its code, for a roll (`?width=` in mm) or a sheet."""
    now = timezone.now()
    card = queries.gauge_by_number(number, now)
    lines = [card.description or card.kind_name, card.range_text]
    lines += [f"next calibration by {card.due_on.day} {card.due_on:%b %Y}"] if card.due_on else []
    address = f"{settings.QCAPP_PUBLIC_URL}{reverse('gauges:gauge', kwargs={'number': card.number})}"
    said = Label(card.number, [line for line in lines if line], address)
    width = typed_width(request.GET.get("width", ""))
    headers = {"Content-Disposition": f'inline; filename="{card.number}.pdf"'}
    return HttpResponse(label_pdf(said, width=width, at=now), content_type="application/pdf", headers=headers)


@needs(Act.KEEP_GAUGES)
@require_http_methods(["GET", "HEAD", "POST"])
def add_gauge(request: HttpRequest) -> HttpResponse:
    """A new gauge: first of which kind, then what that kind asks."""
    kinds = {kind.key: kind for kind in queries.gauge_kinds()}
    key = request.POST.get("kind_key", "") or request.GET.get("kind", "")
    if request.method != "POST" and key not in kinds:
        return render(request, "gauges/add_which.html", {"kinds": kinds.values()})
    form = forms.GaugeForm(request.POST or None, kind_key=key if key in kinds else "")

    def add(values: dict[str, Any], at: datetime) -> object:
        return services.add_gauge(by=request.user, at=at, **values)

    status: int = HTTPStatus.OK
    if request.method == "POST":
        status = _performed(form, add)
        if status == HTTPStatus.OK:
            number = form.cleaned_data["number"]
            messages.success(request, f"Gauge {number} is added. It may be used after a calibration.", extra_tags="in")
            return redirect("gauges:gauge", number=number)
    shown = {"form": form, "title": "Add a gauge", "kind": kinds.get(key), "anew": reverse("gauges:add")}
    return render(request, "gauges/add.html", shown, status=status)


@needs(Act.KEEP_GAUGES)
@require_http_methods(["GET", "HEAD", "POST"])
def add_kind(request: HttpRequest) -> HttpResponse:
    """A new kind of gauge, which plans can then ask for."""
    form = forms.KindForm(request.POST or None)

    def add(values: dict[str, Any], at: datetime) -> object:
        return services.add_kind(by=request.user, at=at, **values)

    status: int = HTTPStatus.OK
    if request.method == "POST":
        status = _performed(form, add)
        if status == HTTPStatus.OK:
            messages.success(request, f"Plans can ask for {form.cleaned_data['key']} now.", extra_tags="in")
            return redirect("gauges:list")
    there = {kind.key for kind in queries.gauge_kinds()}
    missing = [name for key, name in USUAL_KINDS.items() if key not in there]
    shown = {"form": form, "title": "Add a kind of gauge", "usual": missing}
    return render(request, "gauges/add.html", shown, status=status)


@needs(Act.KEEP_GAUGES)
@require_POST
def add_usual_kinds(request: HttpRequest) -> HttpResponse:
    """The usual kinds that are not there yet, at once."""
    added = services.add_usual_kinds(by=request.user, at=timezone.now())
    said = f"{len(added)} kind{'' if len(added) == 1 else 's'} of gauge added." if added else "They are all there."
    messages.success(request, said, extra_tags="in")
    return redirect("gauges:list")


@needs(Act.KEEP_GAUGES)
@require_POST
def calibrate(request: HttpRequest, number: str) -> HttpResponse:
    """A calibration of the gauge, with what its kind asks."""
    card = queries.gauge_by_number(number, timezone.now())

    def record(**values: Any) -> object:
        points, answers = forms.points_of(request.POST), forms.looked_at(card, request.POST)
        return services.record_calibration(points=points, looked_at=answers, **values)

    return _act(request, number, "calibration", forms.CalibrationForm(request.POST), record)


@needs(Act.KEEP_GAUGES)
@require_POST
def keep(request: HttpRequest, number: str) -> HttpResponse:
    """Whose the gauge is, where it lies, and its picture."""

    def record(**values: Any) -> object:
        picture = values.pop("picture")
        content, name = (picture.read(), picture.name) if picture else (b"", "")
        return keep_gauge(picture=content, picture_name=name, **values)

    return _act(request, number, "keeping", forms.KeepingForm(request.POST, request.FILES), record)


@needs(Act.KEEP_GAUGES)
@require_POST
def budget(request: HttpRequest, number: str) -> HttpResponse:
    """The gauge's uncertainty budget."""
    form = forms.BudgetForm(request.POST)

    def record(**values: Any) -> object:
        return set_budget(lines=form.told(), **values)

    return _act(request, number, "budget", form, record)


@needs(Act.KEEP_GAUGES)
@require_POST
def take_out_of_use(request: HttpRequest, number: str) -> HttpResponse:
    """Nobody may measure with it from now on."""
    return _act(request, number, "out", forms.ReasonForm(request.POST), services.take_out_of_use)


@needs(Act.KEEP_GAUGES)
@require_POST
def put_back_in_use(request: HttpRequest, number: str) -> HttpResponse:
    """It may be measured with again, if its calibration stands."""
    return _act(request, number, "back", forms.ReasonForm(request.POST), services.put_back_in_use)


@needs(Act.KEEP_GAUGES)
@require_POST
def retire(request: HttpRequest, number: str) -> HttpResponse:
    """It is gone for good; its number and what it measured stay."""
    return _act(request, number, "retire", forms.ReasonForm(request.POST), services.retire)


def _act(
    request: HttpRequest, number: str, name: str, form: django_forms.Form, service: Callable[..., object]
) -> HttpResponse:
    """Do it and go back to the gauge; a refusal shows the page again with what was typed."""

    def perform(values: dict[str, Any], at: datetime) -> object:
        return service(by=request.user, number=number, at=at, **values)

    status = _performed(form, perform)
    if status == HTTPStatus.OK:
        return redirect("gauges:gauge", number=number)
    return _page(request, number, bound={name: form}, status=status)


def _performed(form: django_forms.Form, perform: Perform) -> int:
    """OK when it is done; else the status of the refusal, whose sentence stands in the form."""
    if not form.is_valid():
        return HTTPStatus.BAD_REQUEST
    try:
        perform(form.cleaned_data, timezone.now())
    except QcError as error:
        form.add_error(None, error.message)
        return refusal_status(error)
    return HTTPStatus.OK


def _page(
    request: HttpRequest, number: str, bound: dict[str, django_forms.Form] | None = None, status: int = 200
) -> HttpResponse:
    now = timezone.now()
    card = queries.gauge_by_number(number, now)
    ways = ("out", "back", "retire")
    fresh: dict[str, django_forms.Form] = {name: forms.ReasonForm(auto_id=f"{name}_%s") for name in ways}
    keeping, counts = keeping_of(card.id), budget_of(card.id)
    known = {"owner": keeping.owner, "place": keeping.place} if keeping else {}
    fresh |= {"calibration": forms.CalibrationForm(), "keeping": forms.KeepingForm(initial=known)}
    made = fresh | {"budget": forms.BudgetForm()} | (bound or {})
    typed = request.POST if "calibration" in (bound or {}) else None
    budget_form: Any = made["budget"]
    shown = {
        "gauge": card,
        "calibrations": queries.calibrations_of(card.id),
        "uses": queries.uses_of(card.id),
        "studies": studies_of(card.id),
        "keeping": keeping,
        "budget": counts,
        "budget_rows": budget_form.rows(counts.typed if counts else ()),
        "distributions": forms.DISTRIBUTION_CHOICES,
        "forms": made,
        "points": forms.typed_points(card, typed),
        "questions": forms.own_questions(card, typed),
        "out_of_use": card.reason == queries.OUT_OF_USE,
        "keeps": may(request.user, Act.KEEP_GAUGES, now) and not card.retired,
    }
    return render(request, "gauges/gauge.html", shown, status=status)
