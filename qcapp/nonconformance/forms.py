"""What people fill in about a report. Forms read and check; services decide and write."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django import forms

from qcapp.core.errors import QcError
from qcapp.core.metrology.quantities import parse_value

from .models import Report
from .states import Disposition

DISPOSITIONS = [(d.value, d.label) for d in Disposition]


class PinField(forms.CharField):
    """A PIN: never shown again, never kept."""

    def __init__(self, **options: Any) -> None:
        widget = forms.PasswordInput(attrs={"inputmode": "numeric", "autocomplete": "off", "class": "pin"})
        super().__init__(label="Your PIN", max_length=12, widget=widget, **options)


class ExactDecimalField(forms.CharField):
    """A number as typed, with a comma or a dot; None when left empty."""

    def __init__(self, **options: Any) -> None:
        super().__init__(required=False, max_length=40, **options)

    def clean(self, value: Any) -> Decimal | None:
        text = super().clean(value)
        try:
            return parse_value(text) if text else None
        except QcError as error:
            raise forms.ValidationError(error.message) from error


class NoteForm(forms.Form):
    note = forms.CharField(label="What was done", max_length=600, widget=forms.Textarea(attrs={"rows": 3}))


class ContainForm(NoteForm):
    note = forms.CharField(
        label="What was done at once so that nothing goes on", max_length=600, widget=forms.Textarea(attrs={"rows": 3})
    )


class ProposeForm(forms.Form):
    disposition = forms.ChoiceField(label="Disposition", choices=DISPOSITIONS)
    instruction = forms.CharField(
        label="Instruction, or the reason it may stay", max_length=600, widget=forms.Textarea(attrs={"rows": 3})
    )
    procedure = forms.CharField(label="Procedure", max_length=60, required=False, help_text="For re-welding and straightening.")
    reinspect = forms.MultipleChoiceField(
        label="Inspect again after the correction", required=False, widget=forms.SelectMultiple(attrs={"size": 8}),
        help_text="The failed checkpoint is always among them. Add every dimension the correction may have disturbed.",
    )  # fmt: skip
    concession_lower = ExactDecimalField(label="Concession, lower limit")
    concession_upper = ExactDecimalField(label="Concession, upper limit")
    cause = forms.ChoiceField(label="Cause", choices=Report.Cause.choices, initial=Report.Cause.UNKNOWN)

    def __init__(self, *args: Any, checkpoints: list[tuple[str, str]] | None = None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["reinspect"]
        assert isinstance(field, forms.MultipleChoiceField)  # noqa: S101 - narrows the type
        field.choices = checkpoints or []


class SignForm(forms.Form):
    role = forms.ChoiceField(label="Sign as")
    pin = PinField()

    def __init__(self, *args: Any, roles: list[tuple[str, str]] | None = None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["role"]
        assert isinstance(field, forms.ChoiceField)  # noqa: S101 - narrows the type
        field.choices = roles or []


class StartForm(forms.Form):
    note = forms.CharField(label="Note", max_length=600, required=False)


class CloseForm(forms.Form):
    corrective_action = forms.CharField(
        label="What stops it from coming back, or why nothing is needed", max_length=600,
        widget=forms.Textarea(attrs={"rows": 3}),
    )  # fmt: skip
    pin = PinField()


class WithdrawForm(forms.Form):
    reason = forms.CharField(label="Why it was raised in error", max_length=300)
    pin = PinField()


class RaiseForm(forms.Form):
    serial = forms.CharField(label="Serial number", max_length=60)
    title = forms.CharField(label="What is wrong, in one line", max_length=160)
    description = forms.CharField(
        label="More about it", max_length=600, required=False, widget=forms.Textarea(attrs={"rows": 4})
    )
    severity = forms.ChoiceField(label="Severity", choices=Report.Severity.choices, initial=Report.Severity.MAJOR)
