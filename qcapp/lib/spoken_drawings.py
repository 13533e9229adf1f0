"""Drawings in the language of the page: the words and numbers in an SVG text of ours, said as it is shown.

A drawing is made in English, because messages keep it, files and papers carry it, and its form is compared; what a page
shows goes through `shown_drawing`. Places and sizes are attributes that nobody reads, and stay as they are.
"""

from __future__ import annotations

import re
from html import escape, unescape

from django.utils.safestring import SafeString, mark_safe

from .spoken import SOURCE, page_language, said_label, said_number

# What a reader or a screen reader gets of a drawing: texts, titles, descriptions and names.
_WORDS = re.compile(r'(<(?:text|tspan|title|desc)\b[^>]*>|\saria-label=")([^<"]+)')
# A value with what is said of it: "FR-200-0147: 12.3 mm, in band, GA-012, fixture FX-1", "12.3 mm, in band, limits …".
_VALUE = re.compile(r"(?P<value>(?P<named>\S*\d\S*: )[^,;]+|[−\d][^,;]*), (?P<rest>[^;]+)", re.DOTALL)


def shown_drawing(svg: str) -> SafeString:
    """A drawing for a page, in its language. Every text in it has to be escaped already; empty stays empty."""
    code = page_language()
    if code != SOURCE:
        svg = _WORDS.sub(lambda found: found[1] + escape(_said(code, unescape(found[2]))), svg)
    return mark_safe(svg)  # noqa: S308 - built from numbers and words of ours, texts escaped where they are put in


def _said(code: str, text: str) -> str:
    value = _VALUE.fullmatch(text)
    if value is not None and (value["named"] or _is_known(code, value["rest"].split(", ")[0])):
        return _said_value(code, value)
    other = said_number(code, said_label(code, text))
    if other != said_number(code, text):
        return other
    return "; ".join(_said(code, part) for part in text.split("; ")) if "; " in text else other


def _said_value(code: str, value: re.Match[str]) -> str:
    parts = [said_number(code, said_label(code, part)) for part in value["rest"].split(", ")]
    return ", ".join([said_number(code, value["value"]), *parts])


def _is_known(code: str, words: str) -> bool:
    return said_label(code, words) != words
