"""What the pages of fixtures and inspectors' authorisations take. The services have the last word."""

from __future__ import annotations

from django import forms

from .forms import _day
from .queries.authorising import Method

PASSED = [("yes", "passed"), ("no", "failed")]


def _passed(value: str) -> bool:
    return value == "yes"


class FixtureForm(forms.Form):
    """A new fixture."""

    number = forms.CharField(label="Number on the plate", max_length=20)
    name = forms.CharField(label="Name", max_length=80)
    interval_months = forms.IntegerField(label="Months between verifications", initial=12, min_value=1, max_value=120)


class VerificationForm(forms.Form):
    """A fixture measured against its drawing."""

    done_on = _day("Done on")
    passed = forms.TypedChoiceField(label="Outcome", choices=PASSED, coerce=_passed)
    due_on = _day("Due again on", required=False, help_text="Left empty: after the fixture's own interval.")
    document = forms.CharField(label="Document", max_length=60, required=False)
    remark = forms.CharField(label="Remark", max_length=300, required=False)
    done_by = forms.CharField(label="Done by", max_length=120)


class AuthorisationForm(forms.Form):
    """An inspector may judge by a method."""

    badge = forms.CharField(label="Inspector's badge", max_length=20)
    method = forms.ChoiceField(label="Method", choices=Method.choices)
    certificate = forms.CharField(label="Certificate", max_length=60)
    issued_on = _day("Issued on")
    expires_on = _day("Holds until")


class EyesightForm(forms.Form):
    """An inspector's eyes were checked. Holds for a year."""

    badge = forms.CharField(label="Inspector's badge", max_length=20)
    done_on = _day("Done on")
    passed = forms.TypedChoiceField(label="Outcome", choices=PASSED, coerce=_passed)
