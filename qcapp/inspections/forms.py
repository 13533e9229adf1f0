"""Opening a unit."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from django import forms
from django.conf import settings

from .queries import CheckpointView


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


class SignedForm(forms.Form):
    """A reason and the PIN under it."""

    reason = forms.CharField(label="Reason", max_length=300)
    pin = forms.CharField(
        label="Your PIN",
        max_length=6,
        widget=forms.PasswordInput(attrs={"autocomplete": "off", "inputmode": "numeric", "class": "pin"}),
    )


class ChoiceForm(SignedForm):
    """Whether the units adopt the revision or stay."""

    choice = forms.ChoiceField(
        label="These units", choices=[("adopt", "adopt the revision"), ("stay", "stay with theirs")]
    )
    field_order = ["choice", "reason", "pin"]


class OneChoiceForm(ChoiceForm):
    """The same on the page of one unit."""

    choice = forms.ChoiceField(
        label="This unit", choices=[("adopt", "adopts the revision"), ("stay", "stays with its own")]
    )


class ArticleForm(forms.Form):
    """Which unit is first article, at which stage, after what."""

    serial = forms.CharField(label="Unit", max_length=40)
    stage_number = forms.IntegerField(label="The following units wait at stage", min_value=1, max_value=999)
    cause = forms.ChoiceField(
        label="After a",
        choices=[(name, f"new {name}") for name in ("revision", "fixture", "machine", "supplier")],
    )
    about = forms.CharField(label="Which one", max_length=160)


class ArticleDecisionForm(SignedForm):
    """Whether a first article is accepted."""

    accepted = forms.ChoiceField(label="It is", choices=[("yes", "accepted"), ("no", "not accepted")])
    field_order = ["accepted", "reason", "pin"]


class WitnessForm(forms.Form):
    """What is recorded at a witness point."""

    stage_number = forms.TypedChoiceField(label="Stage", coerce=int)
    what = forms.ChoiceField(
        label="The witness",
        choices=[("asked", "was asked to come"), ("present", "was present"), ("waived", "waived attendance")],
    )
    whom = forms.CharField(label="Who, and for whom", max_length=120)
    note = forms.CharField(
        label="Reason or note", max_length=300, required=False, help_text="Needed where attendance is waived."
    )

    def __init__(self, *args: Any, stages: list[tuple[int, str]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["stage_number"]
        assert isinstance(field, forms.ChoiceField)  # noqa: S101 - narrows the type
        field.choices = stages


class ApplicabilityForm(SignedForm):
    """Which checkpoint, and whether it applies."""

    key = forms.ChoiceField(label="Checkpoint")
    applies = forms.ChoiceField(label="It", choices=[("no", "does not apply to this unit"), ("yes", "applies again")])
    field_order = ["key", "applies", "reason", "pin"]

    def __init__(self, *args: Any, checkpoints: Iterable[CheckpointView], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["key"]
        assert isinstance(field, forms.ChoiceField)  # noqa: S101 - narrows the type
        field.choices = [(one.card.key, f"{one.card.number} {one.card.title}") for one in checkpoints]
