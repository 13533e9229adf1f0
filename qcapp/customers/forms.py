"""What customer service and dispatch type."""

from __future__ import annotations

from typing import Any

from django import forms

KINDS = [
    ("complaint", "complaint"), ("accident", "accident"), ("repair", "repair"), ("warranty", "warranty"),
    ("recall_work", "recall work done"),
]  # fmt: skip
SEVERITIES = [
    ("", "no report"),
    ("critical", "a critical report"),
    ("major", "a major report"),
    ("minor", "a minor report"),
]


class CustomerForm(forms.Form):
    number = forms.CharField(label="Number", max_length=20)
    name = forms.CharField(label="Name", max_length=120)
    contact = forms.CharField(label="Contact", max_length=200, required=False)


class OrderForm(forms.Form):
    number = forms.CharField(label="Order number", max_length=40)
    customer_number = forms.CharField(label="Customer’s number", max_length=20)
    due_on = forms.DateField(label="Due on", required=False, widget=forms.DateInput(attrs={"type": "date"}))
    approves_concessions = forms.BooleanField(label="The customer approves each concession", required=False)


class DueForm(forms.Form):
    order_number = forms.CharField(label="Order", max_length=40)
    due_on = forms.DateField(
        label="Due on", required=False, widget=forms.DateInput(attrs={"type": "date"}), help_text="Empty: on no day."
    )


class DispatchForm(forms.Form):
    order_number = forms.CharField(label="Order", max_length=40)
    certificate_number = forms.CharField(label="Certificate handed over", max_length=24)
    issue = forms.IntegerField(label="Issue", min_value=1)
    pin = forms.CharField(
        label="Your PIN", max_length=64, strip=False,
        widget=forms.PasswordInput(attrs={"inputmode": "numeric", "autocomplete": "off", "class": "pin"}),
    )  # fmt: skip


class SeveralFiles(forms.FileInput):
    """A field for one file or several; the view takes them all."""

    allow_multiple_selected = True

    def __init__(self) -> None:
        super().__init__({"multiple": True, "accept": "image/*"})


class PhotosField(forms.FileField):
    """As many files as were chosen, none among them empty; gives a list."""

    def clean(self, data: Any, initial: Any = None) -> list[Any]:
        chosen = data if isinstance(data, list | tuple) else [data] if data else []
        return [super(PhotosField, self).clean(one, initial) for one in chosen]


class EventForm(forms.Form):
    kind = forms.ChoiceField(label="What it is", choices=KINDS)
    happened_on = forms.DateField(label="Day", widget=forms.DateInput(attrs={"type": "date"}))
    text = forms.CharField(label="What happened", max_length=600, widget=forms.Textarea(attrs={"rows": 4}))
    photo = PhotosField(
        label="Photos", required=False, widget=SeveralFiles(), help_text="Several can be chosen at once."
    )
    report_severity = forms.ChoiceField(label="Raises", choices=SEVERITIES, required=False)
