"""The page on which people decide about one characteristic's charts: signals, frozen limits, values left out."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from http import HTTPStatus
from typing import Any
from urllib.parse import urlencode

from django import forms as django_forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_POST, require_safe

from qcapp.core.errors import NotFound, QcError
from qcapp.lib.middleware import client_address
from qcapp.lib.refusals import refusal_status
from qcapp.lib.spoken_drawings import shown_drawing
from qcapp.people.access import needs
from qcapp.people.queries import acts_of
from qcapp.people.roles import Act
from qcapp.people.services import prove_identity

from . import forms, services
from .asking import wanted_of
from .characteristic import Characteristic, Wanted
from .pictures.charted import control_picture
from .queries import LONGEST, page_of, signals_of
from .queries.decided import base_periods_of
from .sampling import SAMPLE_SIZE, most_samples

Perform = Callable[[dict[str, Any], datetime], object]
Bound = dict[str, django_forms.Form]
ASKED = {"last": LONGEST, "samples": most_samples(SAMPLE_SIZE)}  # as long a window as there is


@require_safe
@needs(Act.LOOK_AT_TRENDS)
def decisions(request: HttpRequest, family: str, key: str) -> HttpResponse:
    """What waits, what was decided, and what the person may decide."""
    return _page(request, family, key)


@require_POST
@needs(Act.FREEZE_LIMITS)
@sensitive_post_parameters("pin")
def freeze(request: HttpRequest, family: str, key: str) -> HttpResponse:
    """Freeze the control limits over a base period."""

    def perform(data: dict[str, Any], at: datetime) -> object:
        address = client_address(request)
        proof = prove_identity(person=request.user, secret=data.pop("pin"), method="pin", at=at, address=address)
        return services.freeze_limits(
            proof=proof, family_code=family, key=key, at=at, wanted=wanted_of(request.POST), **data
        )

    form = forms.FreezeForm(request.POST, auto_id="freeze_%s")
    return _act(request, family, key, ("freeze", form), "The control limits are frozen.", perform)


@require_POST
@needs(Act.FREEZE_LIMITS)
def leave_out(request: HttpRequest, family: str, key: str) -> HttpResponse:
    """Leave a value out of charts."""

    def perform(data: dict[str, Any], at: datetime) -> object:
        return services.leave_point_out(by=request.user, family_code=family, key=key, at=at, **data)

    form = forms.LeaveOutForm(request.POST, auto_id="leave_out_%s")
    return _act(request, family, key, ("leave_out", form), "The value is left out of charts.", perform)


@require_POST
@needs(Act.FREEZE_LIMITS)
def put_back(request: HttpRequest, family: str, key: str) -> HttpResponse:
    """Take a value into charts again."""

    def perform(data: dict[str, Any], at: datetime) -> object:
        return services.put_point_back(by=request.user, family_code=family, key=key, at=at, **data)

    form = forms.PutBackForm(request.POST, auto_id=False)
    return _act(request, family, key, ("put_back", form), "The value is in the charts again.", perform)


@require_POST
@needs(Act.ACKNOWLEDGE_SIGNAL)
def acknowledge(request: HttpRequest, family: str, key: str) -> HttpResponse:
    """Say what was found about a signal."""

    def perform(data: dict[str, Any], at: datetime) -> object:
        return services.acknowledge_signal(by=request.user, family_code=family, key=key, at=at, **data)

    form = forms.AcknowledgeForm(request.POST, auto_id=False)
    return _act(request, family, key, ("acknowledge", form), "The signal is acknowledged.", perform)


def _act(
    request: HttpRequest, family: str, key: str, named: tuple[str, django_forms.Form], done: str, perform: Perform
) -> HttpResponse:
    """Do it and come back; a refusal shows the page again with what was typed, except the PIN."""
    name, form = named
    status = HTTPStatus.BAD_REQUEST
    if form.is_valid():
        try:
            perform(form.cleaned_data, timezone.now())
        except NotFound:
            raise
        except QcError as error:
            form.add_error(None, error.message)
            status = refusal_status(error)
        else:
            messages.success(request, done, extra_tags="in")
            return redirect("trends:decisions", family=family, key=key)
    return _page(request, family, key, bound={name: form}, status=status)


def _page(
    request: HttpRequest, family: str, key: str, bound: Bound | None = None, status: int = HTTPStatus.OK
) -> HttpResponse:
    now = timezone.now()
    held, refused = acts_of(request.user, now), bound or {}
    found = page_of(family, key, Wanted(**ASKED), people=False)  # no splits here
    series, signals = found.series, signals_of(family, key)
    decides, looks = Act.FREEZE_LIMITS in held, Act.ACKNOWLEDGE_SIGNAL in held
    waiting = [(one, looks and _acknowledge_form(one, refused.get("acknowledge"))) for one in signals.waiting]
    left_out = [(one, decides and _put_back_form(one, refused.get("put_back"))) for one in series.excluded]
    shown = [form for _, form in (*waiting, *left_out)]
    context = {
        "found": found,
        "series": series,
        "chart": found.chart,
        "chart_picture": _picture(found),
        "asked": urlencode(ASKED),
        "waiting": waiting,
        "leads": Act.LEAD_ACTION in held,
        "acknowledged": signals.acknowledged,
        "bases": base_periods_of(series.characteristic_id),
        "serials": [reading.serial for reading in series.readings],
        "left_out": left_out,
        "forms": (_fresh(series) if decides else {}) | refused,
        "stray": [form for name, form in refused.items() if name in {"acknowledge", "put_back"} and form not in shown],
    }
    return render(request, "trends/decisions.html", context, status=status)


def _picture(found: Characteristic) -> str:
    if found.chart.computed is None:
        return ""
    return shown_drawing(control_picture(found.series, found.chart))


def _fresh(series: Any) -> Bound:
    readings = series.readings
    ends = {"first_serial": readings[0].serial, "last_serial": readings[-1].serial} if readings else {}
    return {
        "freeze": forms.FreezeForm(initial=ends, auto_id="freeze_%s"),
        "leave_out": forms.LeaveOutForm(auto_id="leave_out_%s"),
    }


def _acknowledge_form(episode: Any, refused: django_forms.Form | None) -> django_forms.Form:
    about = {"rule": episode.rule, "fixture": episode.fixture, "first_serial": episode.first_serial}
    return _kept(forms.AcknowledgeForm, about, refused)


def _put_back_form(one: Any, refused: django_forms.Form | None) -> django_forms.Form:
    return _kept(forms.PutBackForm, {"serial": one.reading.serial}, refused)


def _kept(kind: type[django_forms.Form], about: dict[str, str], refused: django_forms.Form | None) -> django_forms.Form:
    """The form of one row; the one that was just refused keeps what was typed."""
    if refused is not None and all(refused.data.get(name, "") == value for name, value in about.items()):
        return refused
    return kind(initial=about, auto_id=False)
