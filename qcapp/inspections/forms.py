"""Opening a unit."""

from __future__ import annotations

from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from django import forms
from django.conf import settings


class OpenForm(forms.Form):
    """Family, serial, order. The serial proposed is the next one of the family's pattern."""

    family_code = forms.ChoiceField(label="Part family")
    serial = forms.CharField(label="Serial number", max_length=40)
    order_number = forms.CharField(label="Order", max_length=40, required=False)
    variant = forms.CharField(
        label="Variant",
        max_length=60,
        required=False,
        help_text="What the order switches on: side, engine, equipment.",
    )

    def __init__(self, *args: Any, families: list[tuple[str, str]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["family_code"]
        assert isinstance(field, forms.ChoiceField)  # noqa: S101 - narrows the type
        field.choices = families


class PaperForm(forms.Form):
    """Whose sheet it is, when it was measured, and its scan. The answers are fields of their own beside it."""

    measured_by = forms.CharField(label="Measured by, badge", max_length=20)
    measured_at = forms.DateTimeField(
        label="Day and time on the sheet",
        widget=forms.DateTimeInput(attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M"),
    )
    inspection = forms.TypedChoiceField(
        label="It is the sheet of the", coerce=int,
        choices=[(1, "first inspection"), (2, "second inspection"), (3, "deciding third inspection")],
    )  # fmt: skip
    scan = forms.FileField(label="Scan of the sheet", help_text="PDF, or a photo of it, at most 20 MB.")

    def clean_measured_at(self) -> datetime:
        """What was typed is the time of the site."""
        typed: datetime = self.cleaned_data["measured_at"]
        return typed.replace(tzinfo=ZoneInfo(settings.QCAPP_SITE_ZONE))


class KeyingCheckForm(forms.Form):
    """The signature under a check of what was keyed."""

    reason = forms.CharField(label="What differs", max_length=300, required=False)
    pin = forms.CharField(
        label="Your PIN",
        max_length=6,
        widget=forms.PasswordInput(attrs={"autocomplete": "off", "inputmode": "numeric", "class": "pin"}),
    )
