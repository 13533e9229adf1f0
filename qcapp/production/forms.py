"""What the pages of welding take. Forms validate and never save; the services have the last word."""

from __future__ import annotations

from typing import Any

from django import forms

from qcapp.lib.typed_numbers import NumberField
from qcapp.people.queries import people_with_role
from qcapp.people.roles import Role


def _day(label: str, **options: Any) -> forms.DateField:
    return forms.DateField(label=label, widget=forms.DateInput(attrs={"type": "date"}), **options)


class ProcedureForm(forms.Form):
    """A weld procedure, or its next revision."""

    number = forms.CharField(label="Number", max_length=20)
    revision = forms.CharField(label="Revision", max_length=4)
    title = forms.CharField(label="Title", max_length=120)
    process = forms.CharField(label="Process", max_length=8, help_text="Its number in ISO 4063: 141 is TIG.")
    thickness_from = NumberField(max_digits=8, label="Thickness from, mm", min_value=0)
    thickness_to = NumberField(max_digits=8, label="Thickness to, mm", min_value=0)
    base_grades = forms.CharField(label="Base grades", max_length=300, help_text="Separated by commas.")
    filler = forms.CharField(label="Filler", max_length=60, required=False)
    preheat = forms.IntegerField(label="Preheat, at least °C", required=False, min_value=0, max_value=600)

    def clean_base_grades(self) -> list[str]:
        return [grade.strip() for grade in self.cleaned_data["base_grades"].split(",") if grade.strip()]


class QualificationForm(forms.Form):
    """What a welder was tested for."""

    welder = forms.ChoiceField(label="Welder")
    certificate = forms.CharField(label="Certificate", max_length=60)
    process = forms.CharField(label="Process", max_length=8, help_text="Its number in ISO 4063: 141 is TIG.")
    thickness_from = NumberField(max_digits=8, label="Thickness from, mm", min_value=0)
    thickness_to = NumberField(max_digits=8, label="Thickness to, mm", min_value=0)
    issued_on = _day("Issued on")
    expires_on = _day("Holds until")

    def __init__(self, *args: Any, at: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        field = self.fields["welder"]
        assert isinstance(field, forms.ChoiceField)  # noqa: S101 - declared above
        field.choices = [(one.badge, f"{one.name} ({one.badge})") for one in people_with_role(Role.WELDER, at)]


class ConfirmationForm(forms.Form):
    """The welder has gone on welding."""

    evidence = forms.CharField(
        label="Work that is not recorded here", max_length=300, required=False,
        help_text="Where it is written down. Needed where no joint is recorded here.",
    )  # fmt: skip
    pin = forms.CharField(
        label="PIN", max_length=12, widget=forms.PasswordInput(attrs={"inputmode": "numeric", "autocomplete": "off"})
    )
