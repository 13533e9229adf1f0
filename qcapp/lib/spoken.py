"""Sentences of the server in the language that is active: English stands in the code and is the key of every other.

A sentence that names something ("FR-200-0147 is not due …") is found by its form: `{0}`, `{1}` … in the catalogue
`refusals.po` stand for what it names, and `{0?Wert|Werte}` for the word that the number there needs. A sentence that no
catalogue has stays English.
"""

from __future__ import annotations

import gettext
import re
from functools import cache, lru_cache
from pathlib import Path
from typing import Any

from django.conf import settings
from django.http import HttpRequest
from django.utils.translation import get_language
from django.utils.translation.trans_real import DjangoTranslation

from . import on_tablets
from .worded import WORD

SOURCE = "en"
OTHERS = tuple(code for code, _ in settings.LANGUAGES if code != SOURCE)
OFFICE = ("de",)  # what every page of the office speaks beside English: qcapp/locale/<code>/office/
ASKED = "qcapp.language"  # in a request's META once its Accept-Language was read
OPEN = re.compile(r"{\d}")
PREDICATE = re.compile(r"[a-z].*\.$", re.DOTALL)  # said of a checkpoint or a person, whose name stands before it
_PLACE = re.compile(r"\\{(\d)\\}")  # as re.escape leaves it
_PLACES = re.compile(r"{\d}")
_COUNTED = re.compile(r"{(\d)\?([^|{}]*)\|([^|{}]*)}")
# What the places of a form with one word of its own hold: "{0} owner {1}" is not found in what somebody wrote.
LOOSE = r"(?:(?![:;!?]|\.\s).)"
FIRST = r"(?:(?![:;!?,]|\.\s).)"  # where a form begins with one and has two words: "{0} at most"
NAME = r"(?=.*[\dA-ZÄÖÜ])"  # what stands behind one word is a name or a number: "gauge {0}" is not "gauge and people"
_MONTHS = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"]
_DAY = re.compile(rf"\b(\d{{1,2}}) ({'|'.join(_MONTHS)})[a-z]* (\d{{4}})\b")
# A decimal point that is no part of a name, a date or a longer count such as 3.1.2; and from one number to another.
_POINT = re.compile(r"(?<![\w.,-])(?<!no\. )(?<!Nr\. )(?<!type )(?<!Typ )(\d+)\.(?=\d+(?![\w.]*\.\d))")
_RANGE = re.compile(r"(?<=\d)( %| mm| °C)? to (?=[−+\-\d])")
_DOTS = re.compile(r" · ")
_SENTENCES = re.compile(r"(?<=[.?!]) (?=[^\W\d_]|[“(\d])")
_TO = {"de": "bis", "es": "a"}
FUNCTIONS = ("min", "max")  # a limit's words on the floor, and functions in formulas, which no language changes
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


def office_language_of(person: Any) -> str:
    """The same where the office speaks it, which mails and pages are in; else English."""
    chosen = language_of(person)
    return chosen if chosen in OFFICE else SOURCE


def language_for(request: HttpRequest, page: str) -> str:
    """Of the languages that this page speaks the person's; the one that a stranger's browser asks for; else English.

    `page` is the name of its address, such as "goods:lot".
    """
    user = getattr(request, "user", None)
    if user is not None and user.is_authenticated:
        chosen = language_of(user)
    else:
        request.META[ASKED] = "yes"
        chosen = request.headers.get("Accept-Language", "")[:2]
    return chosen if chosen in spoken_on(page) else SOURCE


def spoken_on(page: str) -> tuple[str, ...]:
    """The languages of a page beside English: those of the office, or all where it is met on a tablet."""
    return OTHERS if page in on_tablets.PAGES or page.partition(":")[0] in on_tablets.ROOMS else OFFICE


def page_language() -> str:
    """The language in which the page is shown now: the active one where it is one of ours, else English."""
    active = (get_language() or SOURCE)[:2]
    return active if active in OTHERS else SOURCE


def catalogue(code: str, domain: str) -> dict[str, str]:
    """What the site's catalogue of that name says in a language, by the English text."""
    found = DjangoTranslation(code, domain=domain, localedirs=[str(Path(settings.LOCALE_PATHS[0]))])
    texts: Any = found._catalog or {}  # type: ignore[attr-defined]  # as Django's own JavaScriptCatalog reads it
    return {str(key): str(text) for key, text in texts.items() if isinstance(key, str) and key}


def said(sentence: str) -> str:
    """The sentence in the active language."""
    code = (get_language() or SOURCE)[:2]
    return said_in(code, sentence) if code in OTHERS else sentence


@lru_cache(maxsize=8192)
def said_in(code: str, sentence: str) -> str:
    """The sentence, or each of several, in a language other than English."""
    known = _known(code)
    if sentence in known.whole:
        return known.whole[sentence]
    several = _SENTENCES.split(sentence)
    if len(several) > 1 and all(said_in(code, one) != one for one in several):
        return " ".join(said_in(code, one) for one in several)
    if other := _by_form(code, sentence):
        return other
    return _said_in_parts(code, sentence) or said_day(code, sentence)


def _by_form(code: str, sentence: str) -> str:
    for form, other in _known(code).like(sentence):
        match = form.fullmatch(sentence)
        if match and not _loses_a_sentence(other, match):
            return _filled(code, other, match)
    return ""


def _loses_a_sentence(other: str, match: re.Match[str]) -> bool:
    """Whether a place that the other language leaves out, such as a plural's ending, holds more than a word or two."""
    left_out = (text for name, text in match.groupdict().items() if f"{{{name[1:]}}}" not in other)
    return any(_SENTENCES.search(text) for text in left_out)


def _said_in_parts(code: str, text: str) -> str:
    """The text by its sentences, by what stands between its dots, or without the name before its colon; else empty."""
    for between, pattern in ((" ", _SENTENCES), (" · ", _DOTS)):
        parts = pattern.split(text)
        if len(parts) > 1:
            return between.join(said_label(code, part) if " " in part else part for part in parts)
    listed = text.split(", ")
    if len(listed) > 1 and all(said_label(code, part) != part for part in listed):
        return ", ".join(said_label(code, part) for part in listed)
    name, colon, rest = text.partition(": ")
    if colon and (other := said_label(code, rest)) != rest:
        return f"{said_label(code, name)}: {other}"
    if text[-1:].isalnum() and text.count(" ") > 2 and (other := _by_form(code, f"{text}.")):
        return other.removesuffix(".")  # a sentence that another one took up
    return ""


def _filled(code: str, other: str, match: re.Match[str]) -> str:
    """The form with what its places stand for, each in the language; {0?Wert|Werte} is the first where {0} is 1."""
    counted = _COUNTED.sub(lambda found: found[2] if match[f"p{found[1]}"] == "1" else found[3], other)
    filled = re.sub(r"{(\d)}", lambda place: said_number(code, said_label(code, match[f"p{place[1]}"])), counted)
    return said_day(code, filled)  # a day may stand in two places: {1} is 3 and {2} is Nov 2026


def said_label(code: str, text: str) -> str:
    """A label in a language other than English, also where it has a capital as the first of a line."""
    listed = text.split(", ")
    if len(listed) > 1 and all(_is_known(code, part) for part in listed) and not _is_whole(code, text):
        return ", ".join(said_in(code, part) for part in listed)
    other = said_in(code, text)
    if other != text or not text or _is_whole(code, text):
        return other
    turned = text[0].swapcase() + text[1:]
    other = said_in(code, turned)
    if other == turned:
        return text
    return other[0].upper() + other[1:] if text[0].isupper() else other


def _is_whole(code: str, text: str) -> bool:
    return text in _known(code).whole


def _is_known(code: str, text: str) -> bool:
    return _is_whole(code, text) or bool(_by_form(code, text))


def said_day(code: str, text: str) -> str:
    """The days in a text as the language writes them: 24 Nov 2026 is 24. Nov. 2026. English stays."""
    if code not in _DAYS:
        return text
    form, months = _DAYS[code]
    return _DAY.sub(lambda day: form.format(day[1], months[_MONTHS.index(day[2])], day[3]), text)


def said_number(code: str, text: str) -> str:
    """The numbers in a text with the decimal mark of the language: 44.7 to 45.3 mm is 44,7 bis 45,3 mm. English stays.

    A type of inspection document keeps its point: it is the name that EN 10204 gives it.
    """
    if code not in _TO:
        return text
    return _RANGE.sub(rf"\1 {_TO[code]} ", _POINT.sub(r"\1,", text))


class _Known:
    """The whole sentences, and the forms of the others by how they begin or end."""

    ENDS = 4  # characters that have to fit before a form is tried

    def __init__(self, texts: dict[str, str]) -> None:
        self.whole = {text: other for text, other in texts.items() if not OPEN.search(text)}
        self.forms: dict[str, list[tuple[int, re.Pattern[str], str]]] = {}
        open_ones = sorted(texts.keys() - self.whole.keys(), key=lambda text: (-len(text), text))
        for rank, text in enumerate(open_ones):
            self.forms.setdefault(self._sorted_under(text), []).append((rank, _form(text), texts[text]))

    def _sorted_under(self, text: str) -> str:
        begin, end = text[: self.ENDS], text[-self.ENDS :]
        if "{" not in begin:
            return f"^{begin}"
        return "" if "}" in end else f"{end}$"

    def like(self, sentence: str) -> list[tuple[re.Pattern[str], str]]:
        """The forms that may fit, those with the most words of their own first."""
        keys = (f"^{sentence[: self.ENDS]}", f"{sentence[-self.ENDS :]}$", "")
        ranked = sorted((one for key in keys for one in self.forms.get(key, ())), key=lambda one: one[0])
        return [(form, other) for _, form, other in ranked]


@cache
def _known(code: str) -> _Known:
    """Of two that say the same text otherwise the later counts: the floor's scripts and the pages lend single words."""
    lent = catalogue(code, "djangojs") | {
        text: other for (place, text), other in office_words(code).items() if not place
    }
    alone = {text: other for text, other in lent.items() if "{" not in text and "<" not in text}
    texts = {text: other for text, other in alone.items() if text not in FUNCTIONS}
    texts |= catalogue(code, "labels")
    said = catalogue(code, "sentences")
    texts |= said | {f"{{9}} {text}": f"{{9}} {other}" for text, other in said.items() if PREDICATE.match(text)}
    return _Known(texts | catalogue(code, "refusals"))


@cache
def office_words(code: str) -> dict[tuple[str, str], str]:
    """What the catalogues of the office's templates say, by template ("" for all) and English text."""
    return {
        key: text for file in sorted(office_catalogues(code).glob("*.mo")) for key, text in words_of_file(file).items()
    }


def office_catalogues(code: str) -> Path:
    """Their folder: a file for each folder of templates, and one for what several share."""
    return Path(settings.LOCALE_PATHS[0]) / code / "office"


def words_of_file(file: Path) -> dict[tuple[str, str], str]:
    """What one compiled catalogue says."""
    with file.open("rb") as opened:
        texts: Any = gettext.GNUTranslations(opened)._catalog  # type: ignore[attr-defined]  # it offers no list
    found = {}
    for key, text in texts.items():
        if isinstance(key, str) and key:
            template, _, english = key.rpartition("\x04")
            found[template, english] = text
    return found


def _form(text: str) -> re.Pattern[str]:
    words = len(WORD.findall(_PLACES.sub("", text)))
    free = re.search(r"\w: {\d}$", text)  # what is told after a word and a colon may be anything
    alone = len(_PLACES.findall(text)) == 1
    named = words == 1 and re.fullmatch(r"\w+ {\d}", text)

    def place(found: re.Match[str]) -> str:
        """Some text; behind a letter or another place it may be an ending that is not there."""
        before = found.string[found.start() - 1 : found.start()]
        ends = found.end() == len(found.string)
        first = found.start() == 0 and alone and found.string[found.end() :].startswith("\\ ")
        anything = "." if words > 2 or (ends and free) else FIRST if first else LOOSE if words < 2 else "."
        name = NAME if named else ""
        return f"(?P<p{found[1]}>{name}{anything}{'*' if before.isalpha() or before == '}' else '+'}?)"

    return re.compile(_PLACE.sub(place, re.escape(text)), re.DOTALL)


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
