"""Sentences of the server in the language that is active: English stands in the code and is the key of every other.

A sentence that names something ("FR-200-0147 is not due …") is found by its form: `{0}`, `{1}` … in the catalogue
`refusals.po` stand for what it names. A sentence that no catalogue has stays English.
"""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path
from typing import Any

from django.conf import settings
from django.utils.translation import get_language
from django.utils.translation.trans_real import DjangoTranslation

SOURCE = "en"
OTHERS = tuple(code for code, _ in settings.LANGUAGES if code != SOURCE)
_PLACE = re.compile(r"\\{(\d)\\}")  # as re.escape leaves it
_MONTHS = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"]
_DAY = re.compile(rf"\b(\d{{1,2}}) ({'|'.join(_MONTHS)}) (\d{{4}})\b")
# How the languages write a day, and their months as browsers shorten them.
_DAYS = {
    "de": (
        "{}. {} {}",
        ["Jan.", "Feb.", "März", "Apr.", "Mai", "Juni", "Juli", "Aug.", "Sep.", "Okt.", "Nov.", "Dez."],
    ),
    "es": ("{} {} {}", ["ene", "feb", "mar", "abr", "may", "jun", "jul", "ago", "sep", "oct", "nov", "dic"]),
}


def language_of(person: Any) -> str:
    """The language that the person chose, when it is one of ours; else English."""
    chosen = getattr(person, "language", SOURCE)
    return chosen if chosen in OTHERS else SOURCE


def catalogue(code: str, domain: str) -> dict[str, str]:
    """What the site's catalogue of that name says in a language, by the English text."""
    found = DjangoTranslation(code, domain=domain, localedirs=[str(Path(settings.LOCALE_PATHS[0]))])
    texts: Any = found._catalog  # type: ignore[attr-defined]  # as Django's own JavaScriptCatalog reads it
    return {str(key): str(text) for key, text in texts.items() if isinstance(key, str) and key}


def said(sentence: str) -> str:
    """The sentence in the active language."""
    code = (get_language() or SOURCE)[:2]
    return said_in(code, sentence) if code in OTHERS else sentence


def said_in(code: str, sentence: str) -> str:
    """The sentence in a language other than English."""
    whole, forms = _forms(code)
    if sentence in whole:
        return whole[sentence]
    for form, other in forms:
        if match := form.fullmatch(sentence):
            return re.sub(r"{(\d)}", lambda place: said_in(code, match[f"p{place[1]}"]), other)
    return _with_days(code, sentence)


def _with_days(code: str, text: str) -> str:
    """“11 Nov 2026” as the language writes it."""
    form, months = _DAYS[code]
    return _DAY.sub(lambda day: form.format(day[1], months[_MONTHS.index(day[2])], day[3]), text)


@cache
def _forms(code: str) -> tuple[dict[str, str], list[tuple[re.Pattern[str], str]]]:
    """The whole sentences, and the forms of the others, those with the most words of their own first."""
    texts = catalogue(code, "refusals")
    whole = {text: other for text, other in texts.items() if "{0}" not in text}
    open_ones = sorted(texts.keys() - whole.keys(), key=lambda text: (-len(text), text))
    return whole, [(_form(text), texts[text]) for text in open_ones]


def _form(text: str) -> re.Pattern[str]:
    return re.compile(_PLACE.sub(lambda place: f"(?P<p{place[1]}>.+?)", re.escape(text)), re.DOTALL)


def said_within(data: Any, names: frozenset[str]) -> Any:
    """Plain values with every text under one of these names in the active language."""
    if isinstance(data, list):
        return [said_within(entry, names) for entry in data]
    if not isinstance(data, dict):
        return data
    return {
        name: said(entry) if name in names and isinstance(entry, str) else said_within(entry, names)
        for name, entry in data.items()
    }
