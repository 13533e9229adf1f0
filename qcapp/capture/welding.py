"""Before an arc is struck: which joints, by which procedure, with what; range and qualification are checked now."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django import forms
from django.conf import settings
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods

from qcapp.core.errors import QcError
from qcapp.inspections.queries import adopted
from qcapp.lib.fields import uuid7
from qcapp.lib.refusals import refusal_status
from qcapp.lib.spoken import said
from qcapp.nonconformance.services.welding import start_weld_or_report
from qcapp.people.access import needs
from qcapp.people.roles import Act
from qcapp.production.queries import unit_by_serial, welds_of
from qcapp.production.queries.fixtures import fixtures
from qcapp.production.queries.welding import weld_procedures
from qcapp.production.services.welding import Arc

from .views import shell_for_tablets


class WeldForm(forms.Form):
    """What the welder says; joints and procedures are the unit's and the site's, and fixtures where it has any."""

    operation = forms.UUIDField(widget=forms.HiddenInput)
    joints = forms.MultipleChoiceField(label=gettext_lazy("Joints"))
    procedure = forms.ChoiceField(label=gettext_lazy("Procedure"))
    base_grade = forms.ChoiceField(label=gettext_lazy("Base grade"))
    thickness = forms.CharField(label=gettext_lazy("Thickness of the thinner part, mm"), max_length=8)
    filler_lot = forms.CharField(label=gettext_lazy("Filler lot"), max_length=40)
    machine = forms.CharField(label=gettext_lazy("Machine"), max_length=40)
    fixture = forms.CharField(label=gettext_lazy("Fixture"), max_length=40, required=False)
    preheat = forms.IntegerField(
        label=gettext_lazy("Preheat measured, °C"), required=False, min_value=-50, max_value=900
    )

    def __init__(self, *args: Any, joints: list[str], **options: Any) -> None:
        super().__init__(*args, **options)
        self.fixtures = fixtures(timezone.now())
        procedures = weld_procedures()
        grades = sorted({grade for one in procedures for grade in one.base_grades})
        for name, choices in (
            ("joints", [(joint, joint) for joint in joints]),
            ("procedure", [(str(one.uuid), f"{one} · {one.title}") for one in procedures]),
            ("base_grade", [(grade, grade) for grade in grades]),
        ):
            self.fields[name].choices = choices  # type: ignore[attr-defined]  # declared as choices above

    def clean_thickness(self) -> Any:
        return forms.DecimalField(max_digits=7, min_value=0).clean(self.cleaned_data["thickness"].replace(",", "."))


@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
@shell_for_tablets("weld")
@needs(Act.RECORD_RESULT)
def weld(request: HttpRequest, serial: str) -> HttpResponse:
    """The welder's page of one unit. Without network the kept page asks the same and the tablet checks it first."""
    unit = unit_by_serial(serial)
    welded = {one.joint: one for one in reversed(welds_of(unit.item_id))}
    planned = {card.joint for card in adopted(unit.item_id).checkpoints if card.joint}
    joints = sorted(planned | set(welded), key=lambda joint: int(joint[1:]))
    form = WeldForm(request.POST or None, joints=joints, initial={"operation": uuid7()})
    status = 200
    if request.method == "POST":
        status = _started(request, unit.serial, form)
        if status == 200:
            return redirect("capture:weld", serial=unit.serial)
    shown = {"unit": unit, "form": form, "joints": [(joint, welded.get(joint)) for joint in joints]}
    shown |= {"procedures": weld_procedures(), "chosen": form["joints"].value() or []}
    return render(request, "capture/weld.html", shown, status=status)


def _started(request: HttpRequest, serial: str, form: WeldForm) -> int:
    """200 when it is written down; else the status of the refusal, whose sentence stands in the form."""
    if not form.is_valid():
        return 400
    typed = dict(form.cleaned_data)
    arc = Arc(serial=serial, joints=tuple(typed.pop("joints")), procedure=UUID(typed.pop("procedure")), **typed)
    unqualified = settings.QCAPP_UNQUALIFIED_WELDS
    try:
        report = start_weld_or_report(by=request.user, arc=arc, unqualified=unqualified, at=timezone.now())
    except QcError as error:
        form.add_error(None, said(error.message))
        return refusal_status(error)
    joints = ", ".join(arc.joints)
    if report:
        messages.warning(
            request, _("Written down, but something did not fit: %s is open and the unit is on hold.") % report
        )
    else:
        messages.success(request, _("%s may be welded now; it is written down.") % joints)
    return 200
