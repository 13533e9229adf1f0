"""The page of one calibration that found a gauge wrong: what it measured, judged again, and the act that holds it."""

from __future__ import annotations

from http import HTTPStatus

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_POST, require_safe

from qcapp.core.errors import NotFound, QcError
from qcapp.customers.queries import customer_names
from qcapp.lib import tables
from qcapp.lib.middleware import client_address
from qcapp.lib.refusals import refusal_status
from qcapp.people.access import needs
from qcapp.people.queries import may
from qcapp.people.roles import Act
from qcapp.people.services import prove_identity

from . import forms
from .judging import ReadingAgain
from .queries import AffectedUnit, recall_of
from .services import hold_affected

LONGEST_KEY = 18  # digits; a longer number is no key of anything
COLUMNS = (
    "serial", "lot", "state", "in_unit", "place", "on_hold", "finding", "checkpoint", "title", "limits", "value",
    "error", "corrected", "reading_finding", "recorded_at",
)  # fmt: skip


@require_safe
@needs(Act.LOOK_AT_GAUGES)
def look(request: HttpRequest, number: str, calibration: int) -> HttpResponse:
    """What the gauge measured since its last good calibration."""
    return _page(request, number, calibration)


@require_POST
@needs(Act.HOLD_AFFECTED)
@sensitive_post_parameters("pin")
def hold(request: HttpRequest, number: str, calibration: int) -> HttpResponse:
    """Hold the chosen units by one signed act."""
    form = forms.HoldForm(request.POST)
    sent = (item for item in request.POST.getlist("item") if len(item) <= LONGEST_KEY)
    chosen = {int(item) for item in sent if item.isascii() and item.isdigit()}
    status: int = HTTPStatus.BAD_REQUEST
    if form.is_valid():
        now = timezone.now()
        try:
            pin, address = form.cleaned_data["pin"], client_address(request)
            proof = prove_identity(person=request.user, secret=pin, method="pin", at=now, address=address)
            done = hold_affected(
                proof=proof, number=number, calibration_id=calibration, item_ids=chosen,
                reason=form.cleaned_data["reason"], at=now,
            )  # fmt: skip
        except NotFound:
            raise
        except QcError as error:
            form.add_error(None, error.message)
            status = refusal_status(error)
        else:
            messages.success(request, f"They are on hold under {done.report}.", extra_tags="in")
            return redirect("recall:look", number=number, calibration=calibration)
    return _page(request, number, calibration, form, chosen, status)


@require_safe
@needs(Act.LOOK_AT_GAUGES)
def as_csv(request: HttpRequest, number: str, calibration: int) -> HttpResponse:
    """Every reading that was judged again, one a line."""
    now = timezone.now()
    view = recall_of(number, calibration, at=now, viewer=request.user)
    sees = may(request.user, Act.SEE_CUSTOMERS, now)
    names = customer_names(unit.customer for unit in view.units if unit.customer) if sees else {}
    rows = [
        (*_about(unit), *_of(one), *(_owner(unit, names) if sees else ()))
        for unit in view.units for one in unit.readings
    ]  # fmt: skip
    content = tables.as_csv([*COLUMNS, *(("shipped_at", "customer") if sees else ())], rows)
    name = f"{view.gauge.number}-{view.calibration.done_on.isoformat()}.csv"
    headers = {"Content-Disposition": f'attachment; filename="{name}"'}
    return HttpResponse(content, content_type=tables.CSV, headers=headers)


def _about(unit: AffectedUnit) -> tuple[str, ...]:
    held = "yes" if unit.on_hold else "no"
    return unit.serial, unit.lot, unit.state, unit.holder, unit.place, held, unit.worst.value


def _of(one: ReadingAgain) -> tuple[object, ...]:
    return (
        one.number, one.title, one.limits, one.value, one.error, one.corrected, one.finding.value,
        one.recorded_at.isoformat(),
    )  # fmt: skip


def _owner(unit: AffectedUnit, names: dict[str, str]) -> tuple[str, str]:
    """Since when a unit is shipped, and to whom."""
    return unit.shipped_at.isoformat() if unit.shipped_at else "", names.get(unit.customer, "")


def _page(
    request: HttpRequest,
    number: str,
    calibration: int,
    form: forms.HoldForm | None = None,
    chosen: set[int] | None = None,
    status: int = HTTPStatus.OK,
) -> HttpResponse:
    now = timezone.now()
    view = recall_of(number, calibration, at=now, viewer=request.user)
    ticked = {unit.item_id for unit in view.in_doubt if not unit.on_hold} if chosen is None else chosen
    sees = may(request.user, Act.SEE_CUSTOMERS, now)
    context = {
        "view": view,
        "names": customer_names(unit.customer for unit in view.units if unit.customer) if sees else {},
        "doubted": [(unit, unit.item_id in ticked) for unit in view.in_doubt],
        "proven": [(unit, unit.item_id in ticked) for unit in view.proven],
        "form": (form or forms.HoldForm()) if may(request.user, Act.HOLD_AFFECTED, now) else None,
    }
    return render(request, "recall/look.html", context, status=status)
