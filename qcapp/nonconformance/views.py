"""One report with what may be done next, and the acts on it."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from datetime import datetime
from http import HTTPStatus
from typing import Any

from django import forms as django_forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from qcapp.core.errors import QcError
from qcapp.inspections.queries import adopted
from qcapp.inspections.queries.beside import PhotoCard, photos_of
from qcapp.lib.middleware import client_address
from qcapp.lib.refusals import refusal_status
from qcapp.lib.spoken import said
from qcapp.people.access import needs
from qcapp.people.queries import role_names
from qcapp.people.roles import ACTS, Act, Role
from qcapp.people.services import Proof, prove_identity
from qcapp.plans.queries.specified import specs_of
from qcapp.production.queries import HoldCard, holds_by_item, units_of_items

from . import forms
from .cards import ReportView
from .queries import report, report_row
from .services import by_hand, correcting, deciding, ending, leaving, picturing
from .services.conceding import allowed_already
from .services.disturbing import disturbed
from .states import ReportState

Perform = Callable[[dict[str, Any], datetime], object]
Bound = dict[str, django_forms.Form]

# A move of the state table: the form on the page, and the act that it needs.
FORMS: dict[str, tuple[str, Act]] = {
    "contain": ("contain", Act.CONTAIN_REPORT),
    "decide": ("propose", Act.DECIDE_REPORT),
    "start_correction": ("start", Act.CORRECT_REPORT),
    "finish_correction": ("finish", Act.CORRECT_REPORT),
    "fail_verification": ("fail", Act.CLOSE_REPORT),
    "close": ("close", Act.CLOSE_REPORT),
    "close_without_correction": ("close", Act.CLOSE_REPORT),
    "withdraw": ("withdraw", Act.WITHDRAW_REPORT),
}
SIMPLE_FORMS: dict[str, type[django_forms.Form]] = {
    "contain": forms.ContainForm,
    "start": forms.StartForm,
    "finish": forms.FinishForm,
    "fail": forms.FailForm,
    "close": forms.CloseForm,
    "withdraw": forms.WithdrawForm,
    "picture": forms.PictureForm,
    "units": forms.UnitsForm,
    "customer": forms.CustomerForm,
    "destroy": forms.DestroyForm,
    "return": forms.ReturnForm,
    "step": forms.StepForm,
}
PER_CENT = 100
BOTH = 2  # who destroyed the number, and who saw it


@require_safe
@needs(Act.LOOK_AT_REPORTS)
def report_page(request: HttpRequest, number: str) -> HttpResponse:
    """One report, with the forms of what the person may do next."""
    return _page(request, number)


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Act.RAISE_REPORT)
def raise_report(request: HttpRequest) -> HttpResponse:
    """Raise a report by hand on a unit."""
    initial = {"serial": request.GET.get("serial", ""), "checkpoint_key": request.GET.get("checkpoint", "")}
    sent, files = (request.POST, request.FILES) if request.method == "POST" else (None, None)
    form = forms.RaiseForm(sent, files, initial=initial)
    status = HTTPStatus.BAD_REQUEST if form.is_bound else HTTPStatus.OK
    if form.is_valid():
        try:
            number = by_hand.raise_by_hand(by=request.user, at=timezone.now(), **form.cleaned_data)
        except QcError as error:
            form.add_error(None, error.message)
            status = refusal_status(error)
        else:
            messages.success(request, f"{number} is open and the unit is on hold.", extra_tags="in")
            return redirect("nonconformance:report", number=number)
    return render(request, "nonconformance/raise.html", {"form": form}, status=status)


# --------------------------------------------------------------------------------------------------- the acts


@require_POST
@needs(Act.CONTAIN_REPORT)
def contain(request: HttpRequest, number: str) -> HttpResponse:
    """What was done at once."""

    def perform(data: dict[str, Any], at: datetime) -> object:
        return deciding.contain(by=request.user, number=number, at=at, **data)

    return _act(request, number, "contain", _sent(request, "contain"), perform)


@require_POST
@needs(Act.DECIDE_REPORT)
def propose(request: HttpRequest, number: str) -> HttpResponse:
    """A disposition, in place of one that was proposed before."""

    def perform(data: dict[str, Any], at: datetime) -> object:
        return deciding.propose_disposition(by=request.user, number=number, at=at, **data)

    form = _propose_form(report(number, viewer=request.user), request.POST)
    return _act(request, number, "propose", form, perform)


@require_POST
@needs(Act.DECIDE_REPORT)
@sensitive_post_parameters("pin")
def sign(request: HttpRequest, number: str) -> HttpResponse:
    """One role's signature under the disposition that was read."""

    def perform(data: dict[str, Any], at: datetime) -> object:
        chosen = {"role": data["role"], "proposal_id": data["proposal_id"]}
        proof = _proof(request, data["pin"], at)
        return deciding.sign_disposition(proof=proof, number=number, at=at, **chosen)

    roles = [(role.value, role.label) for role in Role if role in ACTS[Act.DECIDE_REPORT]]
    form = forms.SignForm(request.POST, auto_id="sign_%s", roles=roles)
    return _act(request, number, "sign", form, perform)


@require_POST
@needs(Act.CORRECT_REPORT)
def start(request: HttpRequest, number: str) -> HttpResponse:
    """The correction begins."""

    def perform(data: dict[str, Any], at: datetime) -> object:
        return correcting.start_correction(by=request.user, number=number, at=at, **data)

    return _act(request, number, "start", _sent(request, "start"), perform)


@require_POST
@needs(Act.CORRECT_REPORT)
def finish(request: HttpRequest, number: str) -> HttpResponse:
    """The correction is done; its checkpoints open again."""

    def perform(data: dict[str, Any], at: datetime) -> object:
        return correcting.finish_correction(by=request.user, number=number, at=at, **data)

    return _act(request, number, "finish", _sent(request, "finish"), perform)


@require_POST
@needs(Act.CLOSE_REPORT)
def fail(request: HttpRequest, number: str) -> HttpResponse:
    """The correction did not work."""

    def perform(data: dict[str, Any], at: datetime) -> object:
        return correcting.fail_verification(by=request.user, number=number, at=at, **data)

    return _act(request, number, "fail", _sent(request, "fail"), perform)


@require_POST
@needs(Act.CLOSE_REPORT)
@sensitive_post_parameters("pin")
def close(request: HttpRequest, number: str) -> HttpResponse:
    """Close the report, by the way its disposition asks for."""
    corrected = report(number).card.state == ReportState.TO_BE_VERIFIED
    service = correcting.verify_and_close if corrected else ending.close_without_correction

    def perform(data: dict[str, Any], at: datetime) -> object:
        proof = _proof(request, data["pin"], at)
        told = {"corrective_action": data["corrective_action"], "action_number": data["action_number"]}
        return service(proof=proof, number=number, at=at, **told)

    return _act(request, number, "close", _sent(request, "close"), perform)


@require_POST
@needs(Act.WITHDRAW_REPORT)
@sensitive_post_parameters("pin")
def withdraw(request: HttpRequest, number: str) -> HttpResponse:
    """One of the two signatures that withdraw the report."""

    def perform(data: dict[str, Any], at: datetime) -> object:
        proof = _proof(request, data["pin"], at)
        return ending.sign_withdrawal(proof=proof, number=number, reason=data["reason"], at=at)

    return _act(request, number, "withdraw", _sent(request, "withdraw"), perform)


@require_POST
@needs(Act.CORRECT_REPORT)
def step(request: HttpRequest, number: str) -> HttpResponse:
    """A step of the instruction is done."""

    def perform(data: dict[str, Any], at: datetime) -> object:
        return correcting.confirm_step(by=request.user, number=number, at=at, **data)

    return _act(request, number, "step", _sent(request, "step"), perform)


@require_POST
@needs(Act.RAISE_REPORT)
def picture(request: HttpRequest, number: str) -> HttpResponse:
    """A photo of what was found, with a mark where it is."""

    def perform(data: dict[str, Any], at: datetime) -> object:
        photo, x, y = data["photo"], data["mark_x"], data["mark_y"]
        mark = None if x is None or y is None else (x / PER_CENT, y / PER_CENT)
        told = {"content": photo.read(), "name": photo.name, "mark": mark, "caption": data["caption"]}
        picturing.add_picture(by=request.user, number=number, at=at, **told)
        return None

    form = forms.PictureForm(request.POST, request.FILES, auto_id="picture_%s")
    return _act(request, number, "picture", form, perform)


@require_POST
@needs(Act.RAISE_REPORT)
def units(request: HttpRequest, number: str) -> HttpResponse:
    """Further units that the report is about."""

    def perform(data: dict[str, Any], at: datetime) -> object:
        return by_hand.add_units(by=request.user, number=number, at=at, **data)

    return _act(request, number, "units", _sent(request, "units"), perform)


@require_POST
@needs(Act.RECORD_CUSTOMER_APPROVAL)
def customer(request: HttpRequest, number: str) -> HttpResponse:
    """What the customer wrote."""

    def perform(data: dict[str, Any], at: datetime) -> object:
        return deciding.record_customer_approval(by=request.user, number=number, at=at, **data)

    return _act(request, number, "customer", _sent(request, "customer"), perform)


@require_POST
@needs(Act.WITNESS_DESTRUCTION)
@sensitive_post_parameters("pin")
def destroy(request: HttpRequest, number: str) -> HttpResponse:
    """One of the two signatures under the destruction of the number."""

    def perform(data: dict[str, Any], at: datetime) -> object:
        proof = _proof(request, data["pin"], at)
        return leaving.sign_destruction(proof=proof, number=number, how=data["how"], at=at)

    return _act(request, number, "destroy", _sent(request, "destroy"), perform)


@require_POST
@needs(Act.CONTAIN_REPORT)
def send_back(request: HttpRequest, number: str) -> HttpResponse:
    """The paper that goes back with the parts."""

    def perform(data: dict[str, Any], at: datetime) -> object:
        return leaving.write_return_note(by=request.user, number=number, at=at, **data)

    return _act(request, number, "return", _sent(request, "return"), perform)


def _sent(request: HttpRequest, name: str) -> django_forms.Form:
    return SIMPLE_FORMS[name](request.POST, auto_id=f"{name}_%s")


def _proof(request: HttpRequest, pin: str, at: datetime) -> Proof:
    return prove_identity(person=request.user, secret=pin, method="pin", at=at, address=client_address(request))


def _act(request: HttpRequest, number: str, name: str, form: django_forms.Form, perform: Perform) -> HttpResponse:
    """Do it and go back to the report; a refusal shows the page again with what was typed, except the PIN."""
    status = HTTPStatus.BAD_REQUEST
    if form.is_valid():
        try:
            perform(form.cleaned_data, timezone.now())
        except QcError as error:
            form.add_error(None, error.message)
            status = refusal_status(error)
        else:
            return redirect("nonconformance:report", number=number)
    return _page(request, number, bound={name: form}, status=status)


# --------------------------------------------------------------------------------------------------- the page
def _page(request: HttpRequest, number: str, bound: Bound | None = None, status: int = HTTPStatus.OK) -> HttpResponse:
    at = timezone.now()
    view = report(number, viewer=request.user, at=at)
    number, holds = view.card.number, holds_by_item(view.item_ids)
    context = {
        "report": view,
        "forms": _fresh_forms(view, role_names(request.user, at)) | (bound or {}),
        "holds": [hold for hold in holds.get(view.card.item_id, ()) if hold.is_open and hold.source == number],
        "held_units": _held_units(view, holds),
        "missing_roles": [Role(role).label for role in _missing(view)],
        "reinspect": _named(view),
        "photos": _photos(view),
        "spec": specs_of([view.checkpoint_id])[view.checkpoint_id] if view.checkpoint_id else None,
    }
    return render(request, "nonconformance/report.html", context, status=status)


def _photos(view: ReportView) -> list[PhotoCard]:
    """What was photographed at the report's checkpoint; withheld as long as the finding itself is."""
    card = view.card
    if card.hidden or not card.checkpoint_number:
        return []
    return [one for one in photos_of(card.item_id) if one.number == card.checkpoint_number]


def _fresh_forms(view: ReportView, held: Collection[Role]) -> Bound:
    """The forms of the moves that are possible now and lie in the person's roles."""
    names = {FORMS[move][0] for move in view.possible if ACTS[FORMS[move][1]] & set(held)}
    fresh: Bound = {name: make(auto_id=f"{name}_%s") for name, make in SIMPLE_FORMS.items() if name in names}
    fresh |= {name: SIMPLE_FORMS[name](auto_id=f"{name}_%s") for name, act in _beside(view) if ACTS[act] & set(held)}
    if "propose" in names:
        fresh["propose"] = _propose_form(view)
        own = [(role, Role(role).label) for role in _missing(view) if Role(role) in held]
        if own and view.proposal:
            initial = {"proposal_id": view.proposal.id}
            fresh["sign"] = forms.SignForm(auto_id="sign_%s", initial=initial, roles=own)
    return fresh


def _beside(view: ReportView) -> list[tuple[str, Act]]:
    """Forms that depend on more than the state, with the act each needs."""
    state, proposal = view.card.state, view.proposal
    if view.card.ended or view.card.hidden:
        return []
    found = [("picture", Act.RAISE_REPORT)]
    if proposal is None and view.serials:
        found.append(("units", Act.RAISE_REPORT))
    if proposal and proposal.customer_asked and not proposal.customer_approval and proposal.missing:
        found.append(("customer", Act.RECORD_CUSTOMER_APPROVAL))
    decided = set() if proposal is None or not view.card.disposition else _dispositions(view)
    if "scrap" in decided and len(view.destructions) < BOTH:
        found.append(("destroy", Act.WITNESS_DESTRUCTION))
    if "return_to_supplier" in decided and view.return_note is None:
        found.append(("return", Act.CONTAIN_REPORT))
    if state == ReportState.IN_CORRECTION and view.steps_open:
        found.append(("step", Act.CORRECT_REPORT))
    return found


def _dispositions(view: ReportView) -> set[str]:
    parts = () if view.proposal is None else view.proposal.parts
    return {part.disposition for part in parts} or {view.card.disposition}


def _propose_form(view: ReportView, sent: Any = None) -> forms.ProposeForm:
    """With the checkpoints that a correction may have disturbed chosen, and the permits that allow it as it is."""
    row = report_row(view.card.number)
    proposed = disturbed(row) if sent is None and view.serials else []
    given, older = allowed_already(row)
    unit = f" {view.facts['unit_of_measure']}" if view.facts.get("unit_of_measure") else ""
    permits = [(card.number, f"{card.number}: {card.limits}{unit}") for card in given]
    permits += [(one.number, f"{one.number}: {one.limits}{unit}, {said(one.left_words)}") for one in older]
    checkpoints = sorted(_checkpoints(view), key=lambda one: one[0] not in proposed)
    return forms.ProposeForm(
        sent, auto_id="propose_%s", checkpoints=checkpoints, permits=permits, quantity=view.quantity,
        serials=view.serials, initial={"reinspect": proposed},
    )  # fmt: skip


def _held_units(view: ReportView, holds: Mapping[int, Sequence[HoldCard]]) -> list[str]:
    """The units that the report itself holds now; for its banner."""
    number, named = view.card.number, dict(zip(view.item_ids, view.serials, strict=False))
    if len(view.item_ids) > len(view.serials) > 0:  # a lot stands among the units
        named = {item: unit.serial for item, unit in units_of_items(view.item_ids).items()}
    return [named[i] for i in named if any(h.is_open and h.source == number for h in holds.get(i, ()))]


def _missing(view: ReportView) -> tuple[str, ...]:
    return () if view.proposal is None else view.proposal.missing


def _named(view: ReportView) -> list[str]:
    """The checkpoints that the proposal inspects again, by number and title."""
    wanted = [] if view.proposal is None else view.proposal.reinspect
    named = dict(_checkpoints(view)) if wanted else {}
    return [named.get(key, key) for key in wanted]


def _checkpoints(view: ReportView) -> list[tuple[str, str]]:
    """The checkpoints of the unit's plan that people answer, by number."""
    cards = adopted(view.card.item_id).checkpoints if view.serials else ()
    return [(card.key, f"{card.number} {card.title}") for card in cards if card.kind != "derived"]
