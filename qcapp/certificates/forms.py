"""What people fill in to decide, release and withdraw. Forms read and check; services decide and write."""

from __future__ import annotations

from typing import Any

from django import forms

from .choices import KINDS, LANGUAGES, LENGTHS, PAPERS


def _pin() -> forms.CharField:
    """A PIN: never shown again, never kept."""
    attrs = {"inputmode": "numeric", "autocomplete": "off", "class": "pin"}
    return forms.CharField(label="Your PIN", max_length=6, widget=forms.PasswordInput(attrs=attrs))


class ReleaseForm(forms.Form):
    pin = _pin()


class WithdrawForm(forms.Form):
    reason = forms.CharField(label="Why", max_length=300)
    pin = _pin()


class IssueForm(forms.Form):
    change_note = forms.CharField(
        label="What changed since the last issue", max_length=300, required=False, help_text="Not needed for issue 1."
    )


class LotForm(forms.Form):
    """The signature under a lot's inspection certificate."""

    order_number = forms.CharField(label="Order", max_length=40, required=False)
    change_note = forms.CharField(
        label="What changed since the last issue", max_length=300, required=False, help_text="Not needed for issue 1."
    )
    pin = _pin()


class DecideForm(forms.Form):
    """One decision of several on the page, so that its fields have no identifiers of their own."""

    operation = forms.UUIDField(widget=forms.HiddenInput)
    about = forms.CharField(max_length=40, widget=forms.HiddenInput)
    accepted = forms.TypedChoiceField(
        label="Decision",
        choices=[("yes", "Accept it as proof"), ("no", "Do not accept; it is answered anew")],
        coerce=lambda text: text == "yes",
    )
    reason = forms.CharField(label="Reason", max_length=300)
    pin = _pin()

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **(options | {"auto_id": False}))


class ChoiceForm(forms.Form):
    """What a family's certificates hold."""

    kind = forms.ChoiceField(label="Kind", choices=list(KINDS.items()))
    language = forms.ChoiceField(label="Language", choices=list(LANGUAGES.items()))
    paper = forms.ChoiceField(label="Paper", choices=list(PAPERS.items()))
    lengths = forms.ChoiceField(label="Lengths", choices=list(LENGTHS.items()))
    names = forms.BooleanField(label="Names of inspectors and welders, not only their numbers", required=False)
    first_articles = forms.BooleanField(
        label="First-article report for accepted first articles",
        required=False,
        help_text="Every checkpoint with its balloon, and the ballooned drawing, whatever the kind.",
    )
    pictures = forms.BooleanField(label="Photos", required=False)
    drawing = forms.BooleanField(label="Ballooned drawing", required=False)
    statistics = forms.BooleanField(
        label="Statistics of the family behind each value",
        required=False,
        help_text="They tell the customer about other units too.",
    )
    welds = forms.BooleanField(label="Weld map with stamps", required=False)
    materials = forms.BooleanField(label="Heats with chemistry and mill certificates", required=False)
    components = forms.BooleanField(label="Components with their own certificates", required=False)
    reports = forms.BooleanField(
        label="Nonconformance reports", required=False, help_text="Concessions are always named."
    )
    cautions = forms.BooleanField(label="Cautions of the plan", required=False)


class CheckForm(forms.Form):
    """A PDF to be checked; it is kept nowhere."""

    file = forms.FileField(
        label="The PDF file",
        widget=forms.FileInput(attrs={"accept": "application/pdf,.pdf"}),
        error_messages={"required": "Choose the PDF file of the certificate.", "empty": "The file is empty."},
    )
