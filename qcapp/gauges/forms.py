"""What the gauges' pages take. Forms validate and never save; the services have the last word."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django import forms
from django.http import QueryDict

from qcapp.core.errors import Invalid, QcError
from qcapp.core.metrology.quantities import parse_value
from qcapp.lib.typed_numbers import NumberField, typed_number

from .budgets import Line
from .points import Point
from .queries import gauge_kinds

OUTCOMES = [("", "as the points say"), ("passed", "passed"), ("failed", "failed")]
POINT_ROWS = 8
POINT_COLUMNS = (
    ("reference", "Reference"),
    ("as_found", "As found"),
    ("as_left", "As left"),
    ("limit", "Limit of error"),
)


def _day(label: str, **options: Any) -> forms.DateField:
    return forms.DateField(label=label, widget=forms.DateInput(attrs={"type": "date"}), **options)


class KindForm(forms.Form):
    """A new kind of gauge."""

    key = forms.CharField(label="Key", max_length=40, help_text="What plan files write, such as bore_gauge.")
    name = forms.CharField(label="Name", max_length=80)


class GaugeForm(forms.Form):
    """A new gauge; the kinds are read when the page is asked for."""

    number = forms.CharField(label="Number on the label", max_length=20)
    kind_key = forms.ChoiceField(label="Kind")
    description = forms.CharField(label="Description", max_length=120, required=False)
    unit_of_measure = forms.CharField(label="Unit of measure", max_length=12, required=False)
    range_lower = NumberField(required=False, label="Range from")
    range_upper = NumberField(required=False, label="Range to")
    resolution = NumberField(required=False, label="Resolution")
    interval_months = forms.IntegerField(label="Months between calibrations", initial=12, min_value=1, max_value=120)
    needs_calibration = forms.BooleanField(label="Needs calibration", initial=True, required=False)

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        field = self.fields["kind_key"]
        assert isinstance(field, forms.ChoiceField)  # noqa: S101 - declared above
        field.choices = [(kind.key, kind.name) for kind in gauge_kinds()]


class CalibrationForm(forms.Form):
    """A calibration of one gauge."""

    done_on = _day("Done on")
    outcome = forms.ChoiceField(
        label="Outcome", choices=OUTCOMES, required=False, help_text="Left open: by the points."
    )
    due_on = _day("Due again on", required=False, help_text="Left empty: after the gauge's own interval.")
    expanded_uncertainty = NumberField(
        required=False, label="Expanded uncertainty, k = 2", help_text="In the gauge's unit of measure."
    )
    certificate = forms.CharField(label="Certificate number", max_length=60, required=False)
    done_by = forms.CharField(label="Done by", max_length=120)


def typed_points(data: QueryDict | None) -> list[list[str]]:
    """The rows of the points' table as they were typed, filled up to POINT_ROWS."""
    columns = [data.getlist(f"point_{name}") if data else [] for name, _ in POINT_COLUMNS]
    count = max(POINT_ROWS, *(len(column) for column in columns))
    return [[column[row].strip() if row < len(column) else "" for column in columns] for row in range(count)]


def points_of(data: QueryDict) -> list[Point]:
    """The points that were typed, with a comma or a dot; empty rows are left out.

    Raises Invalid `calibration_points` naming the row.
    """
    found = []
    for place, row in enumerate(typed_points(data), start=1):
        if any(row):
            found.append(_point(place, row))
    return found


def _point(place: int, row: list[str]) -> Point:
    reference, as_found, as_left, limit = row
    if not (reference and as_found and limit):
        message = f"Point {place} needs the reference value, what the gauge showed as found, and the limit of error."
        raise Invalid("calibration_points", message)
    try:
        left = parse_value(as_left) if as_left else None
        return Point(parse_value(reference), parse_value(as_found), left, parse_value(limit))
    except QcError as error:
        raise Invalid("calibration_points", f"Point {place}: {error.message}") from error


class KeepingForm(forms.Form):
    """Whose the gauge is and where it lies."""

    owner = forms.CharField(label="Owner", max_length=80, required=False)
    place = forms.CharField(label="Place", max_length=80, required=False)
    picture = forms.FileField(label="Picture", required=False, help_text="Left empty: the last one stays.")


class BudgetForm(forms.Form):
    """The components of an uncertainty budget, one a row."""

    lines = forms.CharField(
        label="Components", max_length=4000, widget=forms.Textarea(attrs={"rows": 5}),
        help_text="One a row: name; value; distribution; divisor. Such as: certificate; 0,02; normal; 2 – or: "
        "resolution; 0.005; rectangular. Distributions: normal, rectangular, triangular, u_shaped.",
    )  # fmt: skip

    def told(self) -> list[Line]:
        """The rows as lines. Raises Invalid `budget_line`."""
        rows = [row for row in self.cleaned_data["lines"].splitlines() if row.strip()]
        return [_budget_line(place, row) for place, row in enumerate(rows, start=1)]


def _budget_line(place: int, row: str) -> Line:
    cells = [cell.strip() for cell in row.split(";")] + ["", "", ""]
    try:
        divisor = typed_number(cells[3]) if cells[3] else Decimal(1)
        return Line(cells[0], typed_number(cells[1]), cells[2].lower() or "normal", divisor)
    except QcError as error:
        raise Invalid("budget_line", f"Component {place}: {error.message}") from error


class ReasonForm(forms.Form):
    """Why a gauge is taken out of use or put back."""

    reason = forms.CharField(label="Reason", max_length=200)


class StudyForm(forms.Form):
    """A gauge study to plan. Badges and the parts that do not conform are lists with blanks or commas between."""

    title = forms.CharField(label="What it is for", max_length=160, help_text="In words, such as 501 head angle.")
    checkpoint = forms.CharField(
        label="Checkpoint",
        max_length=40,
        required=False,
        help_text="Family and number, such as FR-200 501.",
    )
    badges = forms.CharField(
        label="Badges of who reads", max_length=120, help_text="Two to six, such as 1001 1002 1003."
    )
    parts = forms.IntegerField(label="Parts", initial=10, min_value=2, max_value=60)
    trials = forms.IntegerField(label="Times each", initial=3, min_value=2, max_value=5)
    lower = NumberField(required=False, label="Lower limit")
    upper = NumberField(required=False, label="Upper limit")
    bad = forms.CharField(
        label="Parts that do not conform",
        max_length=200,
        required=False,
        help_text="Only for a study of verdicts, by eye for example: the numbers of the bad parts, such as 3 7 9.",
    )

    def given(self) -> dict[str, Any]:
        """What the service takes. Raises Invalid `study_truth` for a number that is no part."""
        values = dict(self.cleaned_data)
        bad, parts = values.pop("bad").replace(",", " ").split(), values["parts"]
        if any(not (one.isascii() and one.isdigit() and 1 <= int(one) <= parts) for one in bad):
            raise Invalid("study_truth", f"Parts are numbered from 1 to {parts}; correct those that do not conform.")
        values["badges"] = values["badges"].replace(",", " ").split()
        values["truth"] = [str(part) not in bad for part in range(1, parts + 1)] if bad else []
        return values
