"""Paper on the way out and back: blank sheets for a unit, keying them in, and holding the keying against the sheet."""

from __future__ import annotations

from dataclasses import dataclass
from http import HTTPStatus
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods, require_safe

from qcapp.core.errors import Problems, QcError
from qcapp.gauges.queries import GaugeCard, all_gauges
from qcapp.lib.middleware import client_address
from qcapp.lib.refusals import refusal_status
from qcapp.people.access import needs
from qcapp.people.queries import person_by_uuid
from qcapp.people.roles import Act
from qcapp.people.services import prove_identity
from qcapp.plans.cards import CheckpointCard
from qcapp.plans.paper_views import as_pdf
from qcapp.plans.prints import blank_sheets, stages_asked
from qcapp.production.queries import UnitCard, unit_by_serial

from . import forms
from .queries import inspection_of_unit
from .queries.paper import PaperCard, paper_card, papers_of, sheets_for_unit
from .queries.shapes import AnswerView, CheckpointView, InspectionView
from .services.keying import Keyed, check_keying, hidden_in, key_in
from .states import CheckpointState

MOST_SCAN = 20_000_001


@dataclass(frozen=True)
class KeyRow:
    """One checkpoint to key in, with what was typed and why it was not taken."""

    card: CheckpointCard
    gauges: tuple[GaugeCard, ...]
    values: tuple[tuple[str, str], ...]  # the field's name and its text, one for each reading
    gauge: str
    temperature: str
    problem: str
    answered: bool


@needs(Act.LOOK_UP_UNIT)
@require_safe
def overview(request: HttpRequest, serial: str) -> HttpResponse:
    """The stages with their blank sheets, and the sheets that were keyed in."""
    unit = unit_by_serial(serial)
    view = inspection_of_unit(unit, viewer=request.user, at=timezone.now())
    context = {"unit": unit, "view": view, "papers": papers_of(unit.item_id)}
    return render(request, "inspections/paper.html", context)


@needs(Act.LOOK_UP_UNIT)
@require_safe
def blank(request: HttpRequest, serial: str) -> HttpResponse:
    """Blank sheets for the unit, what is due on it only: `?stage=5`, `?paper=letter`."""
    found = sheets_for_unit(serial, request.GET.get("stage", ""), viewer=request.user, at=timezone.now())
    data = blank_sheets(found.revision, found.stages, found.checkpoints, request.GET.get("paper", ""), found.wanted)
    return as_pdf(data, f"{found.serial}-sheets")


# ------------------------------------------------------------------------------------------------ keying in


@needs(Act.RECORD_RESULT)
@require_http_methods(["GET", "HEAD", "POST"])
def key(request: HttpRequest, serial: str, stage: int) -> HttpResponse:
    """A stage's sheet, keyed in; `?inspection=2` for that of the second inspection."""
    unit = unit_by_serial(serial)
    view = inspection_of_unit(unit, viewer=request.user, at=timezone.now())
    if view.stage(stage) is None:
        stages_asked(view.revision, str(stage))  # refuses with the sentence
    if request.method != "POST":
        asked = {"1": 1, "2": 2, "3": 3}.get(request.GET.get("inspection", ""), 1)
        return _key_page(request, unit, view, stage, forms.PaperForm(initial={"inspection": asked}))
    form = forms.PaperForm(request.POST, request.FILES)
    problems: dict[str, str] = {}
    status = HTTPStatus.BAD_REQUEST
    if form.is_valid():
        try:
            found = _take_over(request, unit, view, stage, dict(form.cleaned_data))
        except QcError as error:
            form.add_error(None, error.message)
            problems = _problems(error)
            status = refusal_status(error)
        else:
            count = len(found.operations)
            said = (
                f"{count} answer{'' if count == 1 else 's'} taken over. Somebody else holds them against the sheet now."
            )
            messages.success(request, said, extra_tags="in")
            return redirect("inspections:paper", serial=unit.serial)
    return _key_page(request, unit, view, stage, form, problems, status)


def _take_over(
    request: HttpRequest, unit: UnitCard, view: InspectionView, stage: int, given: dict[str, Any]
) -> PaperCard:
    scan = given.pop("scan")
    return key_in(
        by=request.user, serial=unit.serial, stage_number=stage, answers=_answers(request, view, stage),
        scan=scan.read(MOST_SCAN), scan_name=scan.name or "", at=timezone.now(), **given,
    )  # fmt: skip


def _problems(error: QcError) -> dict[str, str]:
    findings = error.findings if isinstance(error, Problems) else ()
    return {str(one.get("checkpoint")): str(one.get("message")) for one in findings}


def _answers(request: HttpRequest, view: InspectionView, stage: int) -> list[Keyed]:
    """What was filled in, each reading in a field of its own."""
    found = []
    for one in _to_key(view, stage):
        texts = [text for _, text in _fields(request, one.card) if text]
        if texts:
            gauge, warmth = (request.POST.get(f"{name}_{one.card.key}", "") for name in "gt")
            found.append(Keyed(one.card.key, "|".join(texts), gauge, warmth))
    return found


def _to_key(view: InspectionView, stage: int) -> list[CheckpointView]:
    due = (one for one in view.checkpoints if one.card.stage_number == stage)
    return [one for one in due if one.card.kind != "derived" and one.state is not CheckpointState.NOT_DUE]


def _fields(request: HttpRequest, card: CheckpointCard) -> list[tuple[str, str]]:
    readings = int(card.spec_json.get("readings") or 1)
    names = [f"v_{card.key}_{number}" for number in range(1, readings + 1)]
    return [(name, request.POST.get(name, "").strip()) for name in names]


def _key_page(
    request: HttpRequest, unit: UnitCard, view: InspectionView, stage: int, form: forms.PaperForm,
    problems: dict[str, str] | None = None, status: int = 200,
) -> HttpResponse:  # fmt: skip
    gauges = all_gauges(timezone.now())
    rows = [_row(request, one, gauges, (problems or {}).get(one.card.key, "")) for one in _to_key(view, stage)]
    context = {"unit": unit, "stage": view.stage(stage), "form": form, "rows": rows, "revision": view.revision}
    return render(request, "inspections/paper_key.html", context, status=status)


def _row(request: HttpRequest, one: CheckpointView, gauges: list[GaugeCard], problem: str) -> KeyRow:
    fitting = tuple(gauge for gauge in gauges if gauge.kind_key in one.card.gauge_kinds)
    gauge, warmth = (request.POST.get(f"{name}_{one.card.key}", "") for name in "gt")
    return KeyRow(one.card, fitting, tuple(_fields(request, one.card)), gauge, warmth, problem, one.first_given)


# ------------------------------------------------------------------------------------------------- checking


@needs(Act.CHECK_KEYING)
@sensitive_post_parameters("pin")
@require_http_methods(["GET", "HEAD", "POST"])
def check(request: HttpRequest, serial: str, uuid: UUID) -> HttpResponse:
    """What was keyed beside the scan of its sheet; another person says what differs and signs."""
    unit, sheet, at = unit_by_serial(serial), paper_card(uuid), timezone.now()
    if request.method != "POST":
        return _check_page(request, unit, sheet, forms.KeyingCheckForm())
    form = forms.KeyingCheckForm(request.POST)
    status = HTTPStatus.BAD_REQUEST
    if form.is_valid():
        try:
            person = person_by_uuid(request.user.uuid)
            secret, address = form.cleaned_data["pin"], client_address(request)
            proof = prove_identity(person=person, secret=secret, method="pin", at=at, address=address)
            check_keying(
                proof=proof, sheet_uuid=uuid, differing=_differing(request, sheet),
                reason=form.cleaned_data["reason"], at=at,
            )  # fmt: skip
        except QcError as error:
            form.add_error(None, error.message)
            status = refusal_status(error)
        else:
            messages.success(request, "The keying was checked and signed.", extra_tags="in")
            return redirect("inspections:paper", serial=unit.serial)
    return _check_page(request, unit, sheet, form, status)


def _differing(request: HttpRequest, sheet: PaperCard) -> list[UUID]:
    marked = set(request.POST.getlist("differs"))
    return [one for one in sheet.operations if str(one) in marked]


def _check_page(
    request: HttpRequest, unit: UnitCard, sheet: PaperCard, form: forms.KeyingCheckForm, status: int = 200
) -> HttpResponse:
    view = inspection_of_unit(unit, viewer=request.user, at=timezone.now())
    hidden = hidden_in(view, [str(one) for one in sheet.operations])
    context: dict[str, Any] = {
        "unit": unit, "sheet": sheet, "form": form, "hidden": hidden, "own": sheet.keyed_by_id == request.user.pk,
        "rows": [] if hidden else _keyed_rows(view, sheet),
    }  # fmt: skip
    return render(request, "inspections/paper_check.html", context, status=status)


def _keyed_rows(view: InspectionView, sheet: PaperCard) -> list[tuple[CheckpointCard, AnswerView, bool]]:
    """What was keyed and still stands, and whether the check found that it differs."""
    keyed = set(sheet.operations)
    return [
        (one.card, answer, answer.operation in sheet.differing)
        for one in view.checkpoints
        for answer in one.given
        if answer.operation in keyed
    ]
