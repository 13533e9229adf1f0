"""What people fill in to decide, release and withdraw."""

from __future__ import annotations

from typing import Any

from django import forms


def _pin() -> forms.CharField:
    widget = forms.PasswordInput(attrs={"inputmode": "numeric", "autocomplete": "off", "class": "pin"})
    return forms.CharField(label="Your PIN", max_length=12, widget=widget)


class ReleaseForm(forms.Form):
    pin = _pin()


class WithdrawForm(forms.Form):
    reason = forms.CharField(label="Why", max_length=300)
    pin = _pin()


class IssueForm(forms.Form):
    change_note = forms.CharField(
        label="What changed since the last issue", max_length=300, required=False, help_text="Not needed for issue 1."
    )


class DecideForm(forms.Form):
    operation = forms.UUIDField(widget=forms.HiddenInput)
    about = forms.CharField(max_length=40, widget=forms.HiddenInput)
    accepted = forms.TypedChoiceField(
        label="Decision", choices=[("yes", "Accept it as proof"), ("no", "Do not accept; it is answered anew")],
        coerce=lambda text: text == "yes",
    )  # fmt: skip
    reason = forms.CharField(label="Reason", max_length=300)
    pin = _pin()

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, auto_id=False, **kwargs)
