"""The list of reports, one report with what may be done next, and the acts on it."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from typing import Any

from django import forms as django_forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from qcapp.core.errors import QcError
from qcapp.inspections.queries import inspection_of
from qcapp.lib.refusals import refusal_status
from qcapp.people.access import needs
from qcapp.people.queries import acts_of
from qcapp.people.roles import Act, Role
from qcapp.people.services import Proof, prove_identity
from qcapp.production.queries import open_holds

from . import forms
from .queries import ReportView, counts_by_state, report, reports
from .services import correcting, deciding, ending, raising
from .states import ReportState

Perform = Callable[[dict[str, Any], datetime], object]

# move of the state table -> name of the form on the page, act it needs
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


@require_safe
@needs(Act.LOOK_AT_REPORTS)
def report_list(request: HttpRequest) -> HttpResponse:
    """The queue; the filter stays in the address."""
    state = request.GET.get("state", "active")
    counts = counts_by_state()
    context = {
        "reports": reports(state="" if state == "all" else state),
        "state": state,
        "states": [(s.value, s.label, counts[s.value]) for s in ReportState],
        "active": sum(n for s, n in counts.items() if s not in {"closed", "withdrawn"}),
        "total": sum(counts.values()),
    }
    return render(request, "nonconformance/list.html", context)


@require_safe
@needs(Act.LOOK_AT_REPORTS)
def report_page(request: HttpRequest, number: str) -> HttpResponse:
    return _page(request, report(number))


@require_http_methods(["GET", "POST"])
@needs(Act.RAISE_REPORT)
def raise_report(request: HttpRequest) -> HttpResponse:
    """Raise a report by hand on a unit."""
    form = forms.RaiseForm(request.POST or None, initial={"serial": request.GET.get("serial", "")})
    status = 200
    if request.method == "POST" and form.is_valid():
        try:
            number = raising.raise_by_hand(by=request.user, at=timezone.now(), **form.cleaned_data)
        except QcError as error:
            form.add_error(None, error.message)
            status = refusal_status(error)
        else:
            messages.success(request, f"{number} is open and the unit is on hold.", extra_tags="in")
            return redirect("nonconformance:report", number=number)
    return render(request, "nonconformance/raise.html", {"form": form}, status=status)


@require_POST
@needs(Act.CONTAIN_REPORT)
def contain(request: HttpRequest, number: str) -> HttpResponse:
    return _act(
        request, number, "contain", forms.ContainForm(request.POST),
        lambda data, at: deciding.contain(by=request.user, number=number, at=at, **data),
    )  # fmt: skip


@require_POST
@needs(Act.DECIDE_REPORT)
def propose(request: HttpRequest, number: str) -> HttpResponse:
    form = forms.ProposeForm(request.POST, checkpoints=_checkpoints(report(number)))
    return _act(
        request, number, "propose", form,
        lambda data, at: deciding.propose_disposition(by=request.user, number=number, at=at, **data),
    )  # fmt: skip


@require_POST
@needs(Act.DECIDE_REPORT)
def sign(request: HttpRequest, number: str) -> HttpResponse:
    form = forms.SignForm(request.POST, roles=_roles(report(number)))
    return _act(
        request, number, "sign", form,
        lambda data, at: deciding.sign_disposition(
            proof=_proof(request, data["pin"], at), number=number, role=data["role"], at=at
        ),
    )  # fmt: skip


@require_POST
@needs(Act.CORRECT_REPORT)
def start(request: HttpRequest, number: str) -> HttpResponse:
    return _act(
        request, number, "start", forms.StartForm(request.POST),
        lambda data, at: correcting.start_correction(by=request.user, number=number, at=at, **data),
    )  # fmt: skip


@require_POST
@needs(Act.CORRECT_REPORT)
def finish(request: HttpRequest, number: str) -> HttpResponse:
    return _act(
        request, number, "finish", forms.NoteForm(request.POST),
        lambda data, at: correcting.finish_correction(by=request.user, number=number, at=at, **data),
    )  # fmt: skip


@require_POST
@needs(Act.CLOSE_REPORT)
def fail(request: HttpRequest, number: str) -> HttpResponse:
    return _act(
        request, number, "fail", forms.NoteForm(request.POST),
        lambda data, at: correcting.fail_verification(by=request.user, number=number, at=at, **data),
    )  # fmt: skip


@require_POST
@needs(Act.CLOSE_REPORT)
def close(request: HttpRequest, number: str) -> HttpResponse:
    """Close the report, by the way its disposition asks for."""
    corrected = report(number).card.state == ReportState.TO_BE_VERIFIED
    service = correcting.verify_and_close if corrected else ending.close_without_correction
    return _act(
        request, number, "close", forms.CloseForm(request.POST),
        lambda data, at: service(
            proof=_proof(request, data["pin"], at), number=number, corrective_action=data["corrective_action"], at=at
        ),
    )  # fmt: skip


@require_POST
@needs(Act.WITHDRAW_REPORT)
def withdraw(request: HttpRequest, number: str) -> HttpResponse:
    return _act(
        request, number, "withdraw", forms.WithdrawForm(request.POST),
        lambda data, at: ending.sign_withdrawal(
            proof=_proof(request, data["pin"], at), number=number, reason=data["reason"], at=at
        ),
    )  # fmt: skip


def _proof(request: HttpRequest, pin: str, at: datetime) -> Proof:
    address = request.META.get("REMOTE_ADDR", "")
    return prove_identity(person=request.user, secret=pin, method="pin", at=at, address=address)


def _act(request: HttpRequest, number: str, name: str, form: django_forms.Form, perform: Perform) -> HttpResponse:
    """Do it and go back to the report; a refusal shows the page again with what was typed, except the PIN."""
    status = 400
    if form.is_valid():
        try:
            perform(form.cleaned_data, timezone.now())
        except QcError as error:
            form.add_error(None, error.message)
            status = refusal_status(error)
        else:
            return redirect("nonconformance:report", number=number)
    return _page(request, report(number), bound={name: form}, status=status)


def _page(
    request: HttpRequest, view: ReportView, bound: dict[str, django_forms.Form] | None = None, status: int = 200
) -> HttpResponse:
    held = acts_of(request.user, timezone.now())
    context = {
        "report": view,
        "forms": {**_fresh_forms(view, held), **(bound or {})},
        "holds": [hold for hold in open_holds(view.card.item_id) if hold.source == view.card.number],
        "missing_roles": [] if view.proposal is None else [Role(role).label for role in view.proposal.missing],
    }
    return render(request, "nonconformance/report.html", context, status=status)


def _fresh_forms(view: ReportView, held: frozenset[Act]) -> dict[str, django_forms.Form]:
    """The forms of the moves that are possible now and lie in the person's roles."""
    names = {FORMS[move][0] for move in view.possible if move in FORMS and FORMS[move][1] in held}
    makers: dict[str, Callable[[], django_forms.Form]] = {
        "contain": forms.ContainForm,
        "propose": lambda: forms.ProposeForm(checkpoints=_checkpoints(view)),
        "start": forms.StartForm,
        "finish": forms.NoteForm,
        "fail": forms.NoteForm,
        "close": forms.CloseForm,
        "withdraw": forms.WithdrawForm,
    }
    fresh = {name: make() for name, make in makers.items() if name in names}
    if view.card.state == ReportState.DECIDED:
        corrected = view.card.disposition in {"rework", "repair"}
        fresh.pop("close" if corrected else "start", None)
    if "propose" in fresh and view.proposal is not None and view.proposal.missing:
        fresh["sign"] = forms.SignForm(roles=_roles(view))
    return fresh


def _roles(view: ReportView) -> list[tuple[str, str]]:
    missing = () if view.proposal is None else view.proposal.missing
    return [(role, Role(role).label) for role in missing]


def _checkpoints(view: ReportView) -> list[tuple[str, str]]:
    """The unit's checkpoints that can be inspected again, by number."""
    if not view.card.serial:
        return []
    due = [one for one in inspection_of(view.card.serial).checkpoints if one.state != "not_due"]
    return [(one.card.key, f"{one.card.number} {one.card.title}") for one in due if one.card.kind != "derived"]
