"""The page of a gauge's set-up check: what is asked, and what was read on the master."""

from __future__ import annotations

from http import HTTPStatus
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from qcapp.core.errors import QcError
from qcapp.lib.refusals import refusal_status
from qcapp.people.access import needs
from qcapp.people.queries import may
from qcapp.people.roles import Act

from .queries import gauge_by_number
from .setup import ask_setup, setup_of


class SetupForm(forms.Form):
    """What metrology asks: which master, how far a reading may be off, for how long a check holds."""

    master = forms.CharField(label="Setting master", max_length=80, help_text="As on its label: setting ring SR-25.")
    reference = forms.CharField(label="Its value", max_length=40)
    limit = forms.CharField(label="Reading may differ by ±", max_length=40)
    hours = forms.IntegerField(
        label="Holds for hours", min_value=0, max_value=168, initial=10, help_text="0: no check is asked any more."
    )


@needs(Act.LOOK_AT_GAUGES, post=Act.KEEP_GAUGES)
@require_http_methods(["GET", "HEAD", "POST"])
def setup(request: HttpRequest, number: str) -> HttpResponse:
    """What is asked of the gauge and its checks; the form asks anew."""
    now, status = timezone.now(), HTTPStatus.OK
    person: Any = request.user  # behind an act nobody is anonymous
    gauge = gauge_by_number(number, now)
    form = SetupForm(request.POST or None)
    if request.method == "POST":
        status = HTTPStatus.BAD_REQUEST
        if form.is_valid():
            try:
                ask_setup(by=person, number=gauge.number, at=now, **form.cleaned_data)
            except QcError as error:
                form.add_error(None, error.message)
                status = refusal_status(error)
            else:
                messages.success(request, "Written down; the bench asks for it from now on.", extra_tags="in")
                return redirect("gauges:setup", number=gauge.number)
    shown = {"gauge": gauge, "setup": setup_of(gauge.id), "form": form, "keeps": may(person, Act.KEEP_GAUGES, now)}
    return render(request, "gauges/setup.html", shown, status=status)
