"""Opening a unit."""

from __future__ import annotations

from typing import Any

from django import forms


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
