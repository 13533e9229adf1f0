"""Sentences of the server in the language that is active: English stands in the code and is the key of every other.

A sentence that names something ("FR-200-0147 is not due …") is found by its form: `{0}`, `{1}` … in the catalogue
`refusals.po` stand for what it names. A sentence that no catalogue has stays English.
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
BETWEEN = re.compile(r"(?<=[.?!]) (?=[A-Z“\d])")  # two sentences
LISTED = re.compile(", ")
PREDICATE = re.compile(r"[a-z].*\.$", re.DOTALL)  # said of a checkpoint or a person, whose name stands before it
_PLACE = re.compile(r"\\{(\d)\\}")  # as re.escape leaves it
_PLACES = re.compile(r"{\d}")
# What the places of a form with one word of its own hold: "{0} owner {1}" is not found in what somebody wrote.
LOOSE = r"(?:(?![:;!?]|\.\s).)"
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
    """The sentence, or several of them, in a language other than English."""
    found = _found(code, sentence) or _said_apart(code, sentence, BETWEEN) or _found(code, sentence, across=True)
    return said_day(code, sentence) if found is None else found


def _found(code: str, sentence: str, *, across: bool = False) -> str | None:
    """What the catalogues have; `across` lets what a sentence names reach over the end of it."""
    known = _known(code)
    if sentence in known.whole:
        return known.whole[sentence]
    for form, other in known.like(sentence):
        match = form.fullmatch(sentence)
        if match and (across or not any(BETWEEN.search(one) for one in match.groups())):
            return re.sub(r"{(\d)}", lambda place: said_label(code, match[f"p{place[1]}"]), other)  # noqa: B023
    return None


def _said_apart(code: str, text: str, between: re.Pattern[str]) -> str | None:
    """What stands one behind the other, each said by itself; None where that leaves something in English."""
    parts = between.split(text)
    if len(parts) == 1 or text in _known(code).whole:
        return None
    found = [_found(code, part) for part in parts]
    return None if None in found else between.findall(text)[0].join(map(str, found))


def said_label(code: str, text: str) -> str:
    """A label in a language other than English, also as one of a list, or with a capital as the first of a line."""
    other = _said_apart(code, text, LISTED) or said_in(code, text)
    if other != text or not text:
        return other
    turned = text[0].swapcase() + text[1:]
    other = said_in(code, turned)
    if other == turned:
        return text
    return other[0].upper() + other[1:] if text[0].isupper() else other


def said_day(code: str, text: str) -> str:
    """The days in a text as the language writes them: 24 Nov 2026 is 24. Nov. 2026. English stays."""
    if code not in _DAYS:
        return text
    form, months = _DAYS[code]
    return _DAY.sub(lambda day: form.format(day[1], months[_MONTHS.index(day[2])], day[3]), text)


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
    texts = {text: other for text, other in lent.items() if "{" not in text and "<" not in text}
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
    anything = LOOSE if len(WORD.findall(_PLACES.sub("", text))) < 2 else "."

    def place(found: re.Match[str]) -> str:
        """Some text; behind a letter or another place it may be an ending that is not there."""
        before = found.string[found.start() - 1 : found.start()]
        return f"(?P<p{found[1]}>{anything}{'*' if before.isalpha() or before == '}' else '+'}?)"

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
