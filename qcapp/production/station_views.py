"""The page on which stages are given to stations."""

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

from .queries import families
from .queries import stations as queries
from .queries.places import places
from .services.stations import set_station


class StationForm(forms.Form):
    """What is inspected at a place."""

    place_code = forms.ChoiceField(label="Place")
    family_code = forms.ChoiceField(label="Part family")
    stages = forms.CharField(
        label="Stages", max_length=60, required=False, help_text="Their numbers, with commas. Empty takes it away."
    )

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        for name, choices in (
            ("place_code", [(one.code, f"{one.code} {one.name}") for one in places()]),
            ("family_code", [(one.code, f"{one.code} {one.name}") for one in families()]),
        ):
            self.fields[name].choices = choices  # type: ignore[attr-defined]  # declared as choices above

    def clean_stages(self) -> list[int]:
        numbers = [part.strip() for part in self.cleaned_data["stages"].split(",") if part.strip()]
        if not all(part.isdecimal() and len(part) < 4 for part in numbers):
            raise forms.ValidationError("Write the numbers of stages with commas, such as 4, 5.")
        return [int(part) for part in numbers]


@needs(Act.LOOK_AT_PLAN, post=Act.KEEP_STATIONS)
@require_http_methods(["GET", "HEAD", "POST"])
def stations(request: HttpRequest) -> HttpResponse:
    """Every station with its stages; the form sets one family at one place."""
    now, status = timezone.now(), HTTPStatus.OK
    person: Any = request.user  # behind an act nobody is anonymous
    form = StationForm(request.POST or None)
    if request.method == "POST":
        status = HTTPStatus.BAD_REQUEST
        if form.is_valid():
            try:
                set_station(by=person, at=now, **form.cleaned_data)
            except QcError as error:
                form.add_error(None, error.message)
                status = refusal_status(error)
            else:
                messages.success(request, f"{form.cleaned_data['place_code']} is set.", extra_tags="in")
                return redirect("production:stations")
    shown = {"stations": queries.stations(), "form": form, "keeps": may(person, Act.KEEP_STATIONS, now)}
    return render(request, "production/stations.html", shown | {"has_places": bool(places())}, status=status)
