"""What the gauges' pages take. Forms validate and never save; the services have the last word."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from typing import Any

from django import forms
from django.http import QueryDict

from qcapp.core.errors import Invalid, QcError
from qcapp.core.metrology.quantities import parse_value
from qcapp.lib.spoken import said
from qcapp.lib.typed_numbers import NumberField, typed_number

from .budgets import DISTRIBUTIONS, NORMAL, SHAPES, Line
from .points import Point
from .queries import GaugeCard, gauge_kinds
from .usual_kinds import KindProfile, profile_of

OUTCOMES = [("", "as the points say"), ("passed", "passed"), ("failed", "failed")]
POINT_ROWS, BUDGET_ROWS = 8, 6
POINT_NAMES = ("series", "reference", "as_found", "as_left", "limit")
BUDGET_NAMES = ("name", "value", "distribution", "divisor", "sensitivity")
ANSWERS = {"yes": True, "no": False}


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

    def __init__(self, *args: Any, kind_key: str = "", **options: Any) -> None:
        super().__init__(*args, **options)
        field = self.fields["kind_key"]
        assert isinstance(field, forms.ChoiceField)  # noqa: S101 - declared above
        field.choices = [(kind.key, kind.name) for kind in gauge_kinds()]
        if kind_key:
            self._ask_as(kind_key, profile_of(kind_key))

    def _ask_as(self, kind_key: str, profile: KindProfile) -> None:
        """The fields in the words of the kind, with what is usual for it; what it does not have is not asked."""
        self.fields["kind_key"].widget = forms.HiddenInput()
        self.fields["kind_key"].initial = kind_key
        self.fields["unit_of_measure"].initial = profile.unit_of_measure
        self.fields["interval_months"].initial = profile.interval_months
        self.fields["range_lower"].label = f"{said(profile.range_label)}, {said('from')}"
        self.fields["range_upper"].label = f"{said(profile.range_label)}, {said('up to')}"
        self.fields["resolution"].label = profile.resolution_label
        if not profile.resolution_label:
            del self.fields["resolution"]


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


def typed_points(gauge: GaugeCard, data: QueryDict | None) -> list[dict[str, str]]:
    """The rows of the points' table as they were typed, or the kind's usual points; `usual` is what is proposed."""
    proposed = gauge.profile.proposed
    columns = {name: data.getlist(f"point_{name}") if data else [] for name in POINT_NAMES}
    count = max(POINT_ROWS, len(proposed), *(len(column) for column in columns.values()))
    rows = []
    for place in range(count):
        series, share = proposed[place] if place < len(proposed) else ("", "")
        row = {name: column[place].strip() if place < len(column) else "" for name, column in columns.items()}
        row["series"] = row["series"] if data else series
        rows.append(row | {"usual": usual_point(gauge, share)})
    return rows


def usual_point(gauge: GaugeCard, share: str) -> str:
    """The value at this share of the gauge's range; empty where none is known."""
    if not share or gauge.range_upper is None:
        return ""
    low = gauge.range_lower or Decimal(0)
    value = low + Decimal(share) * (gauge.range_upper - low)
    return format(value.normalize(), "f")


def points_of(data: QueryDict) -> list[Point]:
    """The points that were typed, with a comma or a dot; empty rows are left out.

    Raises Invalid `calibration_points` naming the row.
    """
    columns = {name: data.getlist(f"point_{name}") for name in POINT_NAMES}
    found = []
    for place in range(max(len(column) for column in columns.values())):
        row = {name: column[place].strip() if place < len(column) else "" for name, column in columns.items()}
        if any(value for name, value in row.items() if name != "series"):
            found.append(_point(place + 1, **row))
    return found


def _point(place: int, series: str, reference: str, as_found: str, as_left: str, limit: str) -> Point:
    if not (reference and as_found and limit):
        message = f"Point {place} needs the reference value, what the gauge showed as found, and the limit of error."
        raise Invalid("calibration_points", message)
    try:
        left = parse_value(as_left) if as_left else None
        return Point(parse_value(reference), parse_value(as_found), left, parse_value(limit), series)
    except QcError as error:
        raise Invalid("calibration_points", f"Point {place}: {error.message}") from error


def own_questions(gauge: GaugeCard, data: QueryDict | None) -> list[tuple[str, str]]:
    """What is looked at in a calibration of this kind, each with the answer that was given."""
    given = data.getlist("looked_at") if data else []
    questions = gauge.profile.questions
    return [(question, given[place] if place < len(given) else "") for place, question in enumerate(questions)]


def looked_at(gauge: GaugeCard, data: QueryDict) -> dict[str, bool]:
    """The questions that were answered; one that was left open was not looked at."""
    return {question: ANSWERS[said] for question, said in own_questions(gauge, data) if said in ANSWERS}


class KeepingForm(forms.Form):
    """Whose the gauge is and where it lies."""

    owner = forms.CharField(label="Owner", max_length=80, required=False)
    place = forms.CharField(label="Place", max_length=80, required=False)
    picture = forms.FileField(label="Picture", required=False, help_text="Left empty: the last one stays.")


class BudgetForm(forms.Form):
    """The components of an uncertainty budget, a row of BUDGET_NAMES each."""

    def rows(self, lines: Sequence[Line] = ()) -> list[dict[str, str]]:
        """The rows as they were typed, else those of the budget that counts, and some empty ones."""
        rows = self._typed() if self.is_bound else [line.to_json() for line in lines]
        empty = dict.fromkeys(BUDGET_NAMES, "")
        return rows + [empty] * max(BUDGET_ROWS - len(rows), 2)

    def _typed(self) -> list[dict[str, str]]:
        data: Any = self.data
        columns = {name: data.getlist(f"line_{name}") for name in BUDGET_NAMES}
        rows = [
            {name: column[place].strip() if place < len(column) else "" for name, column in columns.items()}
            for place in range(max(len(column) for column in columns.values()))
        ]
        return [row for row in rows if row["name"] or row["value"]]

    def told(self) -> list[Line]:
        """The rows as lines. Raises Invalid `budget_line`."""
        return [_budget_line(place, row) for place, row in enumerate(self._typed(), start=1)]


def _budget_line(place: int, row: dict[str, str]) -> Line:
    try:
        divisor, sensitivity = (typed_number(row[name] or "1") for name in ("divisor", "sensitivity"))
        return Line(row["name"], typed_number(row["value"]), row["distribution"] or NORMAL, divisor, sensitivity)
    except QcError as error:
        raise Invalid("budget_line", f"Component {place}: {error.message}") from error


# Each distribution with what belongs to it: the divisor of all but the normal one is theirs.
DISTRIBUTION_CHOICES = [
    (key, f"{key.replace('_', '-')}, √{SHAPES[key]}" if key in SHAPES else key) for key in DISTRIBUTIONS
]


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
