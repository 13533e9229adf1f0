"""What people fill in about a report. Forms read and check; services decide and write."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from typing import Any

from django import forms

from qcapp.core.errors import QcError
from qcapp.core.metrology.quantities import parse_value

from .models import Report
from .states import Disposition

DISPOSITIONS = [(d.value, d.label) for d in Disposition]
Choices = Sequence[tuple[str, str]]


class PinField(forms.CharField):
    """A PIN: never shown again, never kept."""

    def __init__(self, **options: Any) -> None:
        attrs = {"inputmode": "numeric", "autocomplete": "off", "class": "pin"}
        super().__init__(label="Your PIN", max_length=6, widget=forms.PasswordInput(attrs=attrs), **options)


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


class TextField(forms.CharField):
    """Some lines of text."""

    def __init__(self, *, rows: int = 3, **options: Any) -> None:
        super().__init__(max_length=600, widget=forms.Textarea(attrs={"rows": rows}), **options)


class ContainForm(forms.Form):
    note = TextField(label="What was done at once so that nothing goes on")


class FinishForm(forms.Form):
    note = TextField(label="What was done")


class FailForm(forms.Form):
    note = TextField(label="What was found")


class StartForm(forms.Form):
    note = forms.CharField(label="Note", max_length=600, required=False)


class ProposeForm(forms.Form):
    """`checkpoints` are the unit's own, to choose from."""

    disposition = forms.ChoiceField(label="Disposition", choices=DISPOSITIONS)
    instruction = TextField(label="Instruction, or the reason it may stay")
    procedure = forms.CharField(
        label="Procedure", max_length=60, required=False, help_text="For re-welding and straightening."
    )
    reinspect = forms.MultipleChoiceField(
        label="Inspect again after the correction",
        required=False,
        widget=forms.SelectMultiple(attrs={"size": 8}),
        help_text="The failed checkpoint is always among them. Add every dimension the correction may have disturbed.",
    )
    concession_lower = ExactDecimalField(
        label="Concession, lower limit", help_text="For use as is and repair. Left out, the plan's limit stays."
    )
    concession_upper = ExactDecimalField(label="Concession, upper limit")
    cause = forms.ChoiceField(label="Cause", choices=Report.Cause.choices, initial=Report.Cause.UNKNOWN)

    def __init__(self, *args: Any, checkpoints: Choices = (), **options: Any) -> None:
        super().__init__(*args, **options)
        self.fields["reinspect"].choices = checkpoints  # type: ignore[attr-defined]  # a choice field, see above


class SignForm(forms.Form):
    """`roles` are those whose signatures are missing; `proposal` is the one that was read before signing."""

    proposal_id = forms.IntegerField(widget=forms.HiddenInput)
    role = forms.ChoiceField(label="Sign as")
    pin = PinField()

    def __init__(self, *args: Any, roles: Choices = (), **options: Any) -> None:
        super().__init__(*args, **options)
        self.fields["role"].choices = roles  # type: ignore[attr-defined]  # a choice field, see above


class CloseForm(forms.Form):
    corrective_action = TextField(label="What stops it from coming back, or why nothing is needed")
    pin = PinField()


class WithdrawForm(forms.Form):
    reason = forms.CharField(label="Why it was raised in error", max_length=300)
    pin = PinField()


class RaiseForm(forms.Form):
    serial = forms.CharField(label="Serial number", max_length=60)
    checkpoint_key = forms.CharField(
        label="Checkpoint number", max_length=60, required=False, help_text="If it is about one of the plan's."
    )
    title = forms.CharField(label="What is wrong, in one line", max_length=160)
    description = TextField(label="More about it", required=False, rows=4)
    severity = forms.ChoiceField(label="Severity", choices=Report.Severity.choices, initial=Report.Severity.MAJOR)
