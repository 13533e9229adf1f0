"""The filter `said` and the tag `script_words`: what code and scripts say in the language of the page. Templates need
not load them.
"""

from __future__ import annotations

from typing import Any

from django import template
from django.utils.functional import Promise
from django.utils.html import json_script
from django.utils.safestring import SafeData

from qcapp.lib import spoken

register = template.Library()


@register.filter
def marked(value: Any) -> str:
    """A number with the decimal mark of the page's language."""
    return "" if value is None else spoken.said_number(spoken.page_language(), str(value))


@register.simple_tag
def script_words() -> str:
    """What static/js/words.js finds its words in; nothing on an English page."""
    code = spoken.page_language()
    return "" if code == spoken.SOURCE else json_script(spoken.catalogue(code, "scripts"), "script-words")


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
