"""The witness points of a unit: who was asked, who was present, what was waived."""

from __future__ import annotations

from http import HTTPStatus
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from qcapp.core.errors import QcError
from qcapp.lib.refusals import refusal_status
from qcapp.people.access import needs
from qcapp.people.queries import acts_of
from qcapp.people.roles import Act

from .forms import WitnessForm
from .queries import InspectionView, inspection_of
from .queries.witnesses import witnesses_of
from .services.witnessing import record_witness


@needs(Act.LOOK_UP_UNIT, post=Act.RECORD_WITNESS)
@require_http_methods(["GET", "HEAD", "POST"])
def witnesses(request: HttpRequest, serial: str) -> HttpResponse:
    """The witness points with what is recorded at each; a POST records one thing more."""
    view = inspection_of(serial, viewer=request.user)
    if request.method != "POST":
        return _page(request, view, WitnessForm(stages=_points(view)), HTTPStatus.OK)
    form = WitnessForm(request.POST, stages=_points(view))
    if not form.is_valid():
        return _page(request, view, form, HTTPStatus.BAD_REQUEST)
    try:
        record_witness(by=request.user, serial=view.unit.serial, at=timezone.now(), **form.cleaned_data)
    except QcError as error:
        form.add_error(None, error.message)
        return _page(request, view, form, refusal_status(error))
    messages.success(request, "Recorded.", extra_tags="in")
    return redirect("inspections:witnesses", serial=view.unit.serial)


def _points(view: InspectionView) -> list[tuple[int, str]]:
    return [(one.card.number, f"{one.card.number} {one.card.name}") for one in view.stages if one.card.witness_point]


def _page(request: HttpRequest, view: InspectionView, form: WitnessForm, status: int) -> HttpResponse:
    recorded = witnesses_of(view.unit.item_id)
    points: list[tuple[Any, list[Any]]] = [
        (one, [card for card in recorded if card.stage_number == one.card.number])
        for one in view.stages
        if one.card.witness_point
    ]
    may = Act.RECORD_WITNESS in acts_of(request.user, timezone.now()) and view.unit.state == "in_build"
    shown = {"unit": view.unit, "points": points, "form": form if may and points else None}
    return render(request, "inspections/witnesses.html", shown, status=status)
