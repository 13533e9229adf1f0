"""What the plans' pages take. Forms validate and never save; the services have the last word."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any
from uuid import UUID

from django import forms

from qcapp.production.queries import families

from .cards import SheetCard


class FamilyForm(forms.Form):
    """A new part family."""

    code = forms.CharField(label="Code", max_length=20, help_text="Capitals, digits and dashes, such as FR-200.")
    name = forms.CharField(label="Name", max_length=80, help_text="As it stands in a sentence, such as trike frame.")
    serial_pattern = forms.CharField(
        label="Pattern of the serials", max_length=60, help_text="Such as FR-200-{number:4}, which gives FR-200-0001."
    )
    certificate_prefix = forms.CharField(
        label="Certificate numbers begin with", max_length=12, help_text="Capitals and digits, such as FR."
    )


class ImportForm(forms.Form):
    """A plan file with the family and the letter it becomes a revision of."""

    family_code = forms.ChoiceField(label="Part family")
    letter = forms.CharField(label="Revision", max_length=2, help_text="One or two capitals, such as D.")
    file = forms.FileField(label="Plan file", help_text="XLSX, or CSV in UTF-8 or UTF-16, at most 5 MB.")
    change_note = forms.CharField(
        label="What changes and why", max_length=300, required=False, help_text="Only the first revision needs none."
    )

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        field = self.fields["family_code"]
        assert isinstance(field, forms.ChoiceField)  # noqa: S101 - declared above
        field.choices = [(f.code, f"{f.code} {f.name}") for f in families()]


class EmptyForm(forms.Form):
    """An act that takes nothing."""


class FileForm(forms.Form):
    """A plan file for a draft that is there."""

    file = forms.FileField(label="Plan file", help_text="XLSX, or CSV in UTF-8 or UTF-16, at most 5 MB.")


class SheetForm(forms.Form):
    """A drawing to balloon on."""

    file = forms.FileField(label="Drawing", help_text="PDF, SVG, PNG or JPEG, at most 20 MB.")
    number = forms.CharField(label="Drawing number", max_length=60)
    document_revision = forms.CharField(label="Its revision", max_length=12)
    sheet = forms.IntegerField(label="Sheet", min_value=1, max_value=999)
    title = forms.CharField(label="View", max_length=80, required=False, help_text="Such as “Side view”.")
    pages = forms.CharField(
        label="Pages of a PDF", max_length=60, required=False, help_text="Such as 1, 3-4. All of them when empty."
    )
    takes_place_of = forms.TypedChoiceField(
        label="Takes the place of", required=False, coerce=UUID, empty_value=None,
        help_text="A newer revision of a sheet takes over its balloons.",
    )  # fmt: skip

    def __init__(self, sheets: Sequence[SheetCard], *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        field = self.fields["takes_place_of"]
        assert isinstance(field, forms.TypedChoiceField)  # noqa: S101 - declared above
        field.choices = [("", "nothing, it is added"), *((str(one.uuid), f"{one.name}, {one.title}") for one in sheets)]


class PictureForm(forms.Form):
    """A reference picture."""

    file = forms.FileField(label="Reference picture", help_text="JPEG, PNG or WebP, at most 20 MB.")


class ReviseForm(forms.Form):
    """Why the next revision is begun."""

    change_note = forms.CharField(label="What will change and why", max_length=300)


class PinForm(forms.Form):
    """A signature."""

    pin = forms.CharField(
        label="Your PIN",
        max_length=6,
        widget=forms.PasswordInput(attrs={"autocomplete": "off", "inputmode": "numeric", "class": "pin"}),
    )


class ReleaseForm(PinForm):
    """The signature, and from when on the revision is effective: at once unless one of the two is given."""

    from_day = forms.DateField(
        label="Effective for units opened from", required=False, widget=forms.DateInput(attrs={"type": "date"})
    )
    from_number = forms.IntegerField(
        label="Or from this running number of the serial", required=False, min_value=1, max_value=999_999
    )
    field_order = ["from_day", "from_number", "pin"]


class ReasonForm(forms.Form):
    """Why a revision goes back to draft."""

    reason = forms.CharField(label="Reason", max_length=300)


class WithdrawForm(ReasonForm, PinForm):
    """Why a revision is withdrawn, signed."""

    field_order = ["reason", "pin"]
