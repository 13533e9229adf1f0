"""What people fill in about charts. Forms read and check; services decide and write."""

from __future__ import annotations

from django import forms

REASON = "Why"


def _pin() -> forms.CharField:
    """A PIN: never shown again, never kept."""
    attrs = {"inputmode": "numeric", "autocomplete": "off", "class": "pin"}
    return forms.CharField(label="Your PIN", max_length=6, widget=forms.PasswordInput(attrs=attrs))


class FreezeForm(forms.Form):
    first_serial = forms.CharField(label="From unit", max_length=40)
    last_serial = forms.CharField(label="To unit", max_length=40)
    reason = forms.CharField(label="Why these", max_length=300)
    pin = _pin()


class LeaveOutForm(forms.Form):
    serial = forms.CharField(label="Unit", max_length=40)
    reason = forms.CharField(label=REASON, max_length=300)


class PutBackForm(forms.Form):
    serial = forms.CharField(max_length=40, widget=forms.HiddenInput)
    reason = forms.CharField(label=REASON, max_length=300)


class AcknowledgeForm(forms.Form):
    rule = forms.CharField(max_length=40, widget=forms.HiddenInput)
    fixture = forms.CharField(max_length=60, required=False, widget=forms.HiddenInput)
    first_serial = forms.CharField(max_length=40, widget=forms.HiddenInput)
    reason = forms.CharField(label="What was found", max_length=300)
    action = forms.CharField(label="Corrective action", max_length=20, required=False)
