"""The words of the office pages: what stands in the templates, and what the catalogue says for it."""

from __future__ import annotations

import re
from datetime import date
from decimal import Decimal
from pathlib import Path

import pytest
from django import forms
from django.template import Context, Template
from django.utils import translation

from qcapp.lib import on_tablets
from qcapp.lib.spoken import OFFICE, OTHERS
from qcapp.lib.word_files import catalogues, faults, rooms, said_so_far, templates
from qcapp.lib.worded import SAID_ATTRIBUTES, has_words
from qcapp.lib.worded_templates import UNTOUCHED, in_language

FOLDER = Path(__file__).resolve().parents[2] / "templates"
# Attributes that hold names for the page's own scripts and styles, never words for a reader.
OF_SCRIPTS = re.compile(
    r"(?:class|id|for|name|type|rel|role|href|src|action|method|enctype|http-equiv|content|lang|charset|scope|rows|cols|width|height"
    r"|viewBox|d|points|x|y|x1|x2|y1|y2|cx|cy|r|rx|ry|transform|autocomplete|inputmode|pattern|accept|datetime|value|tabindex"
    r"|aria-(?:labelledby|describedby|current|live|hidden|controls|expanded|pressed|selected)|hx-[a-z-]+|step|min|max"
    r"|maxlength|minlength|sizes|media|target|colspan|rowspan|fill|stroke[a-z-]*|text-anchor|form|list|loading|spellcheck|preserveAspectRatio|autocapitalize"
    r"|data-[a-z-]+)"
)
ATTRIBUTE = re.compile(r'\s([a-zA-Z][\w-]*)="((?:\{\{.*?\}\}|[^"])*)"')
IN_A_TAG = re.compile(r"""\{%\s*(?:include|with|firstof|cycle|now)\b[^%]*%\}""")


@pytest.mark.parametrize("code", OTHERS)
def test_has_an_entry_for_every_piece_of_the_templates_and_none_that_no_template_has(code: str) -> None:
    for room, entries in rooms(code).items():
        text = (catalogues(code) / f"{room}.po").read_text(encoding="utf-8")
        keys = [re.sub(r"\\(.)", r"\1", key) for key in re.findall(r'^msgid "(.+)"$', text, re.MULTILINE)]
        assert set(keys) == {entry.english for entry in entries}, "run `manage.py write_words`"
    assert {file.stem for file in catalogues(code).glob("*.po")} == set(rooms(code))


@pytest.mark.parametrize("code", OTHERS)
def test_says_every_piece_of_the_templates(code: str) -> None:
    said = {english for _, english in said_so_far(code)}
    entries = [entry for entries in rooms(code).values() for entry in entries]
    assert len(entries) > (1800 if code in OFFICE else 300)
    assert [entry.english for entry in entries if entry.english not in said] == []


@pytest.mark.parametrize("code", OTHERS)
def test_shows_the_same_values_in_every_language(code: str) -> None:
    wrong = [(english, fault) for (_, english), other in said_so_far(code).items() for fault in faults(english, other)]
    assert wrong == []


@pytest.mark.parametrize("code", OTHERS)
def test_says_a_piece_otherwise_only_where_the_named_template_has_it(code: str) -> None:
    pieces_of = templates(code)
    assert [key for key in said_so_far(code) if key[0] and key[1] not in pieces_of.get(key[0], [])] == []


def test_names_templates_that_are_there_as_untouched() -> None:
    names = [file.relative_to(FOLDER).as_posix() for file in FOLDER.rglob("*.html")]
    assert [start for start in UNTOUCHED if not any(name.startswith(start) for name in names)] == []
    assert on_tablets.TEMPLATES - set(names) == set()


def test_has_no_words_in_a_place_that_is_not_read() -> None:
    """A text in an attribute or a template tag that the cutting does not look at could never be said again."""
    hidden = []
    for name in templates(OFFICE[0]):
        source = (FOLDER / name).read_text(encoding="utf-8")
        for attribute, text in ATTRIBUTE.findall(re.sub(r"\{%.*?%\}", "", source)):
            if has_words(text) and attribute not in SAID_ATTRIBUTES and not OF_SCRIPTS.fullmatch(attribute):
                hidden.append((name, attribute, text))
        for tag in IN_A_TAG.findall(source):
            texts = re.findall(r'"([^"]*)"', tag)
            hidden += [(name, "tag", text) for text in texts if text[:1].isupper() or " " in text]
    assert hidden == []


@pytest.mark.parametrize("code", OTHERS)
def test_writes_a_date_and_a_number_for_a_field_or_a_drawing_alike_in_every_language(code: str) -> None:
    class Asked(forms.Form):
        on = forms.DateField(widget=forms.DateInput(attrs={"type": "date"}))

    with translation.override(code):
        assert 'value="2026-11-24"' in str(Asked(initial={"on": date(2026, 11, 24)})["on"])
        assert Asked({"on": "2026-11-24"}).is_valid()
        assert Template("{{ a }} {{ b }}").render(Context({"a": 12.5, "b": Decimal("0.10")})) == "12.5 0.10"


def test_keeps_the_capital_of_a_noun_that_english_writes_small() -> None:
    source = "<p>Shift by {{ split.name|lower }}, {{ split.label|lower|default:'-' }}</p>"
    assert "|lower" not in in_language("de", "invented.html", source)
    assert in_language("es", "invented.html", source).count("|lower") == 2
    assert in_language("de", "plans/print/invented.html", source) == source
