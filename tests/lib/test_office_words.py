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


# ------------------------------------------------------------------------------------------------- scripts

SCRIPTS = sorted((FOLDER.parent / "static/js").glob("*.js"))
# Twins of the core, whose sentences the floor says (tests/capture/test_words.py).
OF_THE_CORE = {"counted.js", "verdict.js"}
COMMENT = re.compile(r"/\*[\s\S]*?\*/|(?m:(?<![:\"'])//.*$)")
CLASSES = re.compile(r'setAttribute\("class", [^)]*\)|className: [^}]*')
SPOKEN_BY_T = re.compile(r'\bt\("(?:[^"\\]|\\.)*"')
QUOTED = re.compile(r'"((?:[^"\\\n]|\\.)*)"|`((?:[^`\\]|\\.)*)`')
IN_BRACES = re.compile(r"\$\{(?:[^{}]|\{[^{}]*\})*\}")
OF_THE_PAGE = re.compile(
    r"[\[\]#<>=/]|^\.|\w\.\w|, \.|\b[a-z]+-[a-z]+\b"
)  # selectors, addresses, markup, names of classes
SHOWN = re.compile(r'(?:textContent|innerText|title|placeholder|message)(?: =|:) (?:[^;\n]*\? )?"([^"]*[a-z][^"]*)"')


def words_in(script: str) -> list[str]:
    """Texts of a script that are shown as they stand: two words and more, or one that is put on the page."""
    code = SPOKEN_BY_T.sub("t(", CLASSES.sub("", COMMENT.sub("", script)))
    texts = (IN_BRACES.sub("{}", one or other) for one, other in QUOTED.findall(code))
    found = [text for text in texts if re.search(r"[a-z]{2,} [a-z]{2,}", text, re.IGNORECASE)]
    return [text for text in found if not OF_THE_PAGE.search(text)] + SHOWN.findall(code)


@pytest.mark.parametrize("script", SCRIPTS, ids=lambda one: one.name)
def test_has_no_hard_coded_words_in_a_script_of_the_office(script: Path) -> None:
    if script.name not in OF_THE_CORE:
        assert words_in(script.read_text(encoding="utf-8")) == []


@pytest.mark.parametrize(
    "line",
    [
        'told.textContent = "Copied";',
        "told.textContent = `${missing} of ${all} joints without a mark`;",
        'say("The pages are being drawn …");',
        'return { ok: false, message: "The server cannot be reached; nothing was saved." };',
        'button.title = undo ? "Undo it" : "";',
    ],
)
def test_finds_words_that_a_script_shows_as_they_stand(line: str) -> None:
    assert words_in(line) != []


def test_takes_no_address_selector_or_comment_for_words() -> None:
    script = """// The table of a draft.
    document.querySelector(`tr[data-row="${row}"] td.wrong`); told.textContent = t("Copied"); node.className = "quiet";
    svg.innerHTML = '<path d="M0 0"/>'; fetch(`/plans/${id}/draft/`); event.key === "Enter";"""
    assert words_in(script) == []


@pytest.mark.parametrize("code", OFFICE)
def test_brings_a_page_with_a_script_that_speaks_its_words(code: str) -> None:
    """A template that loads such a script has the tag; the tag gives the words, on an English page nothing."""
    speaking = [script.name for script in SCRIPTS if "./words.js" in script.read_text(encoding="utf-8")]
    assert len(speaking) > 3
    for name in FOLDER.rglob("*.html"):
        source = name.read_text(encoding="utf-8")
        if any(f"js/{script}" in source for script in speaking):
            assert "{% script_words %}" in source, name
    assert Template("{% script_words %}").render(Context()) == ""
    with translation.override(code):
        assert "Kopiert" in Template("{% script_words %}").render(Context())
