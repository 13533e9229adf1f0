"""Words on a page that its language does not have: neither in its catalogues nor written by a person."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

import lxml.html
from django.apps import apps
from django.db import models
from django.utils.translation import trans_real

from qcapp.config.helping import table
from qcapp.lib.spoken import catalogue, office_words

WORD = re.compile(r"[^\W\d_]{3,}")
CODE = re.compile(r"\b[a-z]+(?:_[a-z\d]+)+\b|\b[\da-f]{12}\b")  # of a refusal, and of its request
SILENT = ("audit", "shop_messages", "sessions", "contenttypes", "auth", "django_tasks_database")
SHOWN = ("title", "aria-label", "placeholder", "alt", "label")
# Names: the program's, those of standards and formats as they are cited, with their words for how tube is delivered,
# of languages in their own words, and of the site and its zone.
NAMES = frozenset(
    """
    qcapp pin jpeg png webp pdf iso astm aql kappa rfc utc europe berlin english deutsch español alder quay cycleworks
    dom drawn stress relieved annealed normalized normal sae type minima annex from memory
    """.split()  # noqa: SIM905 - a list of names reads better
)
Leftover = tuple[str, str]


def leftovers(page: bytes, known: frozenset[str], written: list[str]) -> Iterator[Leftover]:
    """Each word that nobody can have said in this language, with the text that it stands in."""
    for text in _texts(page):
        rest = CODE.sub(" ", text.casefold())
        for value in written:
            if value in rest:
                rest = re.sub(rf"(?<!\w){re.escape(value)}(?!\w)", " ", rest)
        yield from ((word, text) for word in WORD.findall(rest) if word not in known)


def words_of(code: str) -> frozenset[str]:
    """Every word in what the catalogues and the help of a language say, Django's own catalogue among them."""
    texts = [*office_words(code).values(), *(row.get(code, "") for row in table().values())]
    for domain in ("labels", "sentences", "refusals", "djangojs"):
        texts += catalogue(code, domain).values()
    texts += [str(text) for text in dict(trans_real.translation(code)._catalog.items()).values()]
    return NAMES | {word for text in texts for word in WORD.findall(text.casefold())}


def written() -> list[str]:
    """What people wrote and what names something, as it is stored, the longest first; codes of states are none."""
    found: set[str] = set()
    for model in apps.get_models():
        if model._meta.app_label not in SILENT:
            names = [field.name for field in model._meta.concrete_fields if _holds_text(field)]
            for row in model._base_manager.values_list(*names) if names else ():
                found.update(text for value in row for text in _within(value))
    said = {text.strip().casefold() for text in found if not re.fullmatch(r"[a-z_]*", text)}
    return sorted((text for text in said if WORD.search(text)), key=lambda text: (-len(text), text))


def _holds_text(field: Any) -> bool:
    return isinstance(field, models.CharField | models.TextField | models.JSONField) and not field.choices


def _within(value: Any) -> Iterator[str]:
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict | list | tuple):
        for one in value.values() if isinstance(value, dict) else value:
            yield from _within(one)


def _texts(page: bytes) -> Iterator[str]:
    tree = lxml.html.fromstring(page)
    for one in tree.iter():
        if not isinstance(one.tag, str) or one.tag in ("script", "style", "code"):
            continue
        pieces = [one.text, *(child.tail for child in one), *(one.get(name) for name in SHOWN)]
        if one.tag == "input" and one.get("type") == "submit":
            pieces.append(one.get("value"))
        yield from (text.strip() for text in pieces if text and text.strip())
