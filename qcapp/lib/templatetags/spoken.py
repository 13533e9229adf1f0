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
    if spoken.page_language() == spoken.SOURCE:
        return value
    if isinstance(value, list | tuple):
        return [said(entry) for entry in value]
    if isinstance(value, SafeData) or not isinstance(value, str | Promise):
        return value
    text, code = str(value), spoken.page_language()
    other = spoken.said_label(code, text)
    return (
        spoken.said_label(code, text.replace("_", " ")) if other == text and "_" in text and " " not in text else other
    )
