"""What metrology fills in to hold units that a wrong gauge has measured."""

from __future__ import annotations

from django import forms


class HoldForm(forms.Form):
    reason = forms.CharField(label="Why these are held", max_length=300)
    pin = forms.CharField(
        label="Your PIN",
        max_length=6,
        widget=forms.PasswordInput(attrs={"inputmode": "numeric", "autocomplete": "off", "class": "pin"}),
    )
