"""What is still English on a page in another language: texts with a word that only the English side of the catalogues
has, what people and plans wrote left out.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from html.parser import HTMLParser
from typing import Any

from django.apps import apps
from django.db import models

from qcapp.lib.spoken import catalogue
from qcapp.lib.word_files import said_by_the_code, said_so_far

WORD = re.compile(r"[^\W\d_]{2,}")
MARKS = re.compile(r"{{.*?}}|{\d[^}]*}|</?\w+>")
VOID = {"input", "img", "br", "meta", "link", "hr", "path", "circle", "rect", "line", "use", "polyline", "col", "image"}
NAMES = ("title", "aria-label", "placeholder", "alt", "aria-description")
SILENT = {"script", "style", "kbd", "code", "textarea"}
COMMON = {"the", "of", "and", "is", "are", "with", "by", "for", "not", "from", "has", "it", "which", "there", "have"}
OTHERWISE = {"auth", "contenttypes", "sessions", "django_tasks_database", "shop_messages"}
ENDS = re.compile(r"^[\W_]+|[\W_]+$")
LONGEST = 14  # words of a text that somebody wrote


class Texts(HTMLParser):
    """What a reader or a screen reader gets of a page."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []
        self.stack: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found += [text for name, text in attrs if name in NAMES and text]
        if tag not in VOID:
            self.stack.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found += [text for name, text in attrs if name in NAMES and text]

    def handle_endtag(self, tag: str) -> None:
        while tag in self.stack and self.stack.pop() != tag:
            pass

    def handle_data(self, data: str) -> None:
        if data.strip() and not SILENT & set(self.stack):
            self.found.append(data)


def english_words(code: str) -> frozenset[str]:
    """Words of the English texts that no text of the other language has, and the commonest ones."""
    pairs = [(english, other) for (_, english), other in (said_so_far(code) | said_by_the_code(code)).items()]
    pairs += [*catalogue(code, "refusals").items(), *catalogue(code, "djangojs").items()]
    own = {word.lower() for _, other in pairs for word in WORD.findall(MARKS.sub("", other))}
    return frozenset({word.lower() for english, _ in pairs for word in WORD.findall(MARKS.sub("", english))} - own) | (
        COMMON - own
    )


def written() -> frozenset[str]:
    """Every text in the database's rows but messages, which are said as they are shown."""
    found: set[str] = set()
    for model in apps.get_models():
        if model._meta.app_label not in OTHERWISE:
            for field in model._meta.concrete_fields:
                if isinstance(field, models.CharField | models.TextField | models.JSONField) and not field.choices:
                    found.update(_texts(list(model._base_manager.values_list(field.attname, flat=True))))
    return frozenset(ENDS.sub("", " ".join(text.split()).lower()) for text in found)


def _texts(told: Any) -> Iterator[str]:
    if isinstance(told, str):
        yield told
        yield from re.split(r"[\n;]", told)
    elif isinstance(told, dict):
        for value in told.values():
            yield from _texts(value)
    elif isinstance(told, list):
        for value in told:
            yield from _texts(value)


def english_left(html: str, english: frozenset[str], data: frozenset[str]) -> list[str]:
    """The texts of a page that still have an English word when what the data says is taken out."""
    parser = Texts()
    parser.feed(html)
    found = dict.fromkeys(" ".join(text.split()) for text in parser.found)
    return [text for text in found if english & {word.lower() for word in WORD.findall(_without(text, data, english))}]


def _without(text: str, data: frozenset[str], english: frozenset[str]) -> str:
    if not english & {word.lower() for word in WORD.findall(text)}:
        return ""
    tokens, kept, place = text.split(), [], 0
    while place < len(tokens):
        for end in range(min(len(tokens), place + LONGEST), place, -1):
            if ENDS.sub("", " ".join(tokens[place:end]).lower()) in data:
                place = end
                break
        else:
            kept.append(tokens[place])
            place += 1
    return " ".join(kept)
