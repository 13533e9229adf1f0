"""The filter `said`: a label or a sentence of the code in the language of the page. Templates need not load it."""

from __future__ import annotations

from typing import Any

from django import template
from django.utils.functional import Promise
from django.utils.safestring import SafeData

from qcapp.lib import spoken

register = template.Library()


@register.filter
def said(value: Any) -> Any:
    """A text, or each of a list, as the catalogues have it; a code such as in_build by its words; the rest as it is."""
    if spoken.office_language() == spoken.SOURCE:
        return value
    if isinstance(value, list | tuple):
        return [said(entry) for entry in value]
    if isinstance(value, SafeData) or not isinstance(value, str | Promise):
        return value
    text = str(value)
    candidates = (text, text.replace("_", " ") if " " not in text else text)
    found = next((other for one in candidates if (other := spoken.said(one)) != one), None)
    if found is None and text[:1].isupper():  # a label that was given a capital, as the first word of a line
        lower = spoken.said(text[:1].lower() + text[1:])
        found = None if lower == text[:1].lower() + text[1:] else lower[:1].upper() + lower[1:]
    return text if found is None else found
