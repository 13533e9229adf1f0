"""What the pages of improvement take. Forms validate and never save; the services have the last word."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django import forms

from qcapp.lib.typed_numbers import NumberField

from .services.leading import CAUSES

CAUSE_CHOICES = [(cause, cause) for cause in CAUSES]
PIN = {"autocomplete": "off", "inputmode": "numeric", "class": "pin"}


def _day(label: str, **options: Any) -> forms.DateField:
    return forms.DateField(label=label, widget=forms.DateInput(attrs={"type": "date"}), **options)


def _long(label: str, longest: int, **options: Any) -> forms.CharField:
    return forms.CharField(label=label, max_length=longest, widget=forms.Textarea(attrs={"rows": 3}), **options)


class OpenForm(forms.Form):
    title = forms.CharField(label="Title", max_length=160, help_text="What is to stop, in a line.")
    problem = _long("The problem", 600, help_text="What was found, where, since when.")
    basis = forms.CharField(widget=forms.HiddenInput)
    value = forms.CharField(widget=forms.HiddenInput, max_length=120)
    family_code = forms.CharField(widget=forms.HiddenInput, max_length=20, required=False)


class SignalForm(forms.Form):
    title = forms.CharField(label="Title", max_length=160, help_text="What is to stop, in a line.")
    problem = _long("The problem", 600, help_text="What the chart shows, where, since when.")
    family_code = forms.CharField(widget=forms.HiddenInput, max_length=20)
    key = forms.CharField(widget=forms.HiddenInput, max_length=60)
    rule = forms.CharField(widget=forms.HiddenInput, max_length=40)
    fixture = forms.CharField(widget=forms.HiddenInput, max_length=60, required=False)
    first_serial = forms.CharField(widget=forms.HiddenInput, max_length=40)


class AcceptForm(forms.Form):
    owner_badge = forms.CharField(
        label="Badge of who leads it", max_length=20, required=False, help_text="Empty: it is yours."
    )


class ExplainForm(forms.Form):
    whys = _long("Why, and why that", 2400, help_text="One sentence a line; each says why the one above happened.")
    cause = forms.ChoiceField(label="Cause", choices=CAUSE_CHOICES)

    def clean_whys(self) -> list[str]:
        return [line for line in str(self.cleaned_data["whys"]).splitlines() if line.strip()]


class StepForm(forms.Form):
    text = forms.CharField(label="What is done", max_length=300)
    owner_badge = forms.CharField(label="By whom (badge)", max_length=20)
    due_on = _day("Until")


class MoveStepForm(forms.Form):
    step_id = forms.IntegerField(widget=forms.HiddenInput)
    name = forms.CharField(widget=forms.HiddenInput, max_length=12)
    note = forms.CharField(label="Note", max_length=300, required=False)


class WatchForm(forms.Form):
    effective_on = _day("Units count from")
    units_wanted = forms.IntegerField(label="Units wanted before it is judged", min_value=2, max_value=2000)


class NoteForm(forms.Form):
    note = _long("Reason", 600)


class AddReportsForm(forms.Form):
    reports = forms.CharField(label="Numbers of reports", max_length=600, help_text="With commas between.")

    def clean_reports(self) -> list[str]:
        return [one.strip() for one in str(self.cleaned_data["reports"]).split(",") if one.strip()]


class CloseForm(forms.Form):
    note = _long("What the effect shows", 600)
    pin = forms.CharField(label="PIN", max_length=64, strip=False, widget=forms.PasswordInput(attrs=PIN))


class CostForm(forms.Form):
    about = forms.CharField(label="Report or corrective action", max_length=20)
    what = forms.CharField(label="What was done", max_length=160)
    minutes = forms.IntegerField(label="Minutes", min_value=0, required=False)
    material = NumberField(label="Material", min_value=0, max_digits=12, decimal_places=2, required=False)

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        cleaned["minutes"] = cleaned.get("minutes") or 0
        cleaned["material"] = cleaned.get("material") or Decimal(0)
        return cleaned


class SettingForm(forms.Form):
    rate_per_hour = NumberField(label="Rate of an hour's work", min_value=0, max_digits=9, decimal_places=2)
    currency = forms.CharField(label="Currency", min_length=3, max_length=3, help_text="Three capitals, such as EUR.")
    similar_count = forms.IntegerField(label="Similar reports that propose a corrective action", min_value=2)
    similar_days = forms.IntegerField(label="… within so many days", min_value=1)
    units_wanted = forms.IntegerField(label="Units before an effect is judged", min_value=2)


class FieldForm(forms.Form):
    title = forms.CharField(label="Title", max_length=160)
    reason = _long("Reason", 600)
    action = forms.CharField(label="Corrective action", max_length=20, required=False, help_text="Its number.")


class UnitsForm(forms.Form):
    serials = _long("Serial numbers", 4000, help_text="One a line, or with commas between.")
    customer = forms.CharField(label="Customer", max_length=160, required=False, help_text="Empty: as dispatch knows.")
    address = forms.CharField(label="Address", max_length=300, required=False)

    def clean_serials(self) -> list[str]:
        text = str(self.cleaned_data["serials"]).replace(",", "\n")
        return [line.strip() for line in text.splitlines() if line.strip()]


class LetterForm(forms.Form):
    subject = forms.CharField(label="Subject", max_length=160)
    text = forms.CharField(
        label="Text", max_length=6000, widget=forms.Textarea(attrs={"rows": 12}),
        help_text="An empty line begins a new paragraph. Address and serial numbers are added for each customer.",
    )  # fmt: skip


class FollowForm(forms.Form):
    unit_id = forms.IntegerField(widget=forms.HiddenInput)
    kind = forms.CharField(max_length=12)
    note = forms.CharField(label="Note", max_length=300, required=False)
