"""Numbers that somebody types into a field of the office: read as everywhere, refused where they have two meanings.

A comma and a point are both the decimal mark (`core.metrology.quantities`), and nobody types marks between thousands. A
mark that is not the one of the reader's language, before exactly three digits, looks like such a mark all the same:
1.050 in German, 1,050 in English. A gauge's own reading and a cell of a plan are read without this: a display and a
plan file write a point in every language.
"""

from __future__ import annotations

import re
from collections.abc import Collection
from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from qcapp.core.errors import Invalid
from qcapp.core.metrology.quantities import as_text, parse_value

from .spoken import SOURCE, page_language, said_number

_LIKE_THOUSANDS = re.compile(r"\s*[+\-−]?\s*[1-9]\d{0,2}(?P<mark>[.,])\d{3}(?!\d)")
_PLAIN = re.compile(r"-?\d+\.\d+")
_REFUSED = {
    ",": "A comma before three digits can mean a thousand; type the number without it, or with a decimal point.",
    ".": "A point before three digits can mean a thousand; type the number without it, or with a decimal comma.",
}


def refuse_thousands(text: str) -> None:
    """Raises Invalid `value_thousands` for a number that the reader's language lets mean a thousand times as much."""
    foreign = "," if page_language() == SOURCE else "."
    found = _LIKE_THOUSANDS.match(text)
    if found and found["mark"] == foreign:
        raise Invalid("value_thousands", _REFUSED[foreign])


def typed_number(text: str, *, units: Collection[str] = ()) -> Decimal:
    """The number in a text, digit for digit. Raises Invalid `value_thousands` and as `parse_value`."""
    refuse_thousands(text)
    return parse_value(text, units=units)


class NumberField(forms.DecimalField):
    """A number digit for digit; None when left empty. What stands in the field has the decimal mark of the page."""

    def __init__(self, **options: Any) -> None:
        options.setdefault("max_digits", 18)
        attributes = {"inputmode": "decimal", "autocomplete": "off", "maxlength": 40}
        options.setdefault("widget", forms.TextInput(attrs=attributes))
        super().__init__(**options)

    def to_python(self, value: Any) -> Any:
        text = "" if value is None else str(value).strip()
        if not text:
            return None
        try:
            return value if isinstance(value, Decimal) else typed_number(text)
        except Invalid as refusal:
            raise ValidationError(refusal.message, code=refusal.code) from refusal

    def prepare_value(self, value: Any) -> Any:
        """A number as the page writes numbers. What was typed and is refused for its mark stays as it was typed."""
        text = as_text(value) if isinstance(value, Decimal) else value
        typed = isinstance(value, str) and (not _PLAIN.fullmatch(value) or _LIKE_THOUSANDS.match(value))
        return text if typed or not isinstance(text, str) else said_number(page_language(), text)
