"""The words of the floor pages: each in German and in Spanish, none hard-coded, and none that nobody says."""

from __future__ import annotations

import re
import subprocess
from pathlib import Path

import pytest
from django.utils import translation

from qcapp.capture import shell
from qcapp.capture.language import OTHERS, words_of
from qcapp.inspections.states import FLAG_SENTENCES
from qcapp.lib import on_tablets
from qcapp.people.tablet_guard import ALLOWED

ROOT = Path(__file__).resolve().parents[2]
SCRIPTS = sorted((ROOT / "static/capture").glob("*.js"))
TEMPLATES = [
    ROOT / "templates/capture" / name
    for name in (
        "bench.html",
        "floor.html",
        "lot.html",
        "setup.html",
        "unit_row.html",
        "weld.html",
        "correction.html",
        "corrections.html",
    )
]
FRAME = ROOT / "templates/floor.html"
HELP = re.compile(r'{% block help %}<p data-words="([^"]+)">{% translate "([^"]+)" %}</p>{% endblock %}')
SAID = re.compile(r'\b(?:t|say)\("((?:[^"\\]|\\.)*)"')
IN_TEMPLATE = re.compile(r'{% translate "([^"]+)" %}')
COUNTED = re.compile(r"{% blocktranslate count [^%]*%}(.*?){% plural %}(.*?){% endblocktranslate %}")
PLACES = re.compile(r"%\(\w+\)s")
IN_VIEW = re.compile(r'(?:\b_|gettext_lazy)\("([^"]+)"\)')
# Texts that stand on the page without t(): a sentence, or a capital and small letters, as the last part of el(…).
BARE = re.compile(r'(?:\}, |\? |: |, )"([A-Z][a-z]+(?: [^"]*)?)"(?=[,)\]; ])')
NOT_WORDS = {"Enter", "Content-Type", "Accept"}


def said_in(*files: Path) -> set[str]:
    return {text.replace('\\"', '"') for file in files for text in SAID.findall(file.read_text())}


@pytest.mark.parametrize("code", OTHERS)
def test_has_every_word_of_the_scripts_in_each_language(code: str) -> None:
    words = words_of(code)
    assert said_in(*SCRIPTS) - set(words) == set()
    assert set(FLAG_SENTENCES.values()) - set(words) == set()
    assert all(words.values())


@pytest.mark.parametrize("code", OTHERS)
def test_keeps_the_places_where_a_number_or_a_name_goes(code: str) -> None:
    for english, other in words_of(code).items():
        assert sorted(re.findall(r"{\d}", english)) == sorted(re.findall(r"{\d}", other)), english


@pytest.mark.parametrize("code", OTHERS)
def test_counts_only_by_what_the_sentence_names(code: str) -> None:
    counting = 0
    for english, other in words_of(code).items():
        places = set(re.findall(r"{(\d)}", english))
        for text in (english, other):
            by = re.findall(r"{(\d)\?[^|{}]*\|[^|{}]*}", text)
            assert set(by) <= places, text
            assert len(by) == len(re.findall(r"{\d\?", text)), text
            counting += len(by)
    assert counting > 10


def test_says_one_and_several_in_a_script() -> None:
    said = """import { t } from "./words.js";
    for (const n of [0, 1, "1", 2]) console.log(t("{1}: {0} {0?stage|stages}", n, "x"));"""
    done = subprocess.run(
        ["node", "--input-type=module", "-e", said],
        cwd=ROOT / "static/capture",
        check=True,
        capture_output=True,
        text=True,
    )
    assert done.stdout.splitlines() == ["x: 0 stages", "x: 1 stage", "x: 1 stage", "x: 2 stages"]


@pytest.mark.parametrize("code", OTHERS)
def test_has_every_word_of_the_templates_and_views_in_each_language(code: str) -> None:
    texts = {text for file in (*TEMPLATES, FRAME) for text in IN_TEMPLATE.findall(file.read_text())}
    texts |= set(
        IN_VIEW.findall("".join((ROOT / "qcapp/capture" / name).read_text() for name in ("welding.py", "decoding.py")))
    )
    assert len(texts) > 40
    same = {"No", "Enter", "Station"}
    with translation.override(code):
        assert [text for text in texts - same if translation.gettext(text) == text] == []


@pytest.mark.parametrize("code", OTHERS)
def test_says_one_and_several_in_each_language(code: str) -> None:
    counted = [two for file in TEMPLATES for two in COUNTED.findall(file.read_text())]
    assert len(counted) >= 2
    with translation.override(code):
        for one, several in (map(_as_message, two) for two in counted):
            said = [translation.ngettext(one, several, n) for n in (1, 2)]
            assert not {one, several} & set(said)
            assert all(PLACES.findall(text) for text in said)


def _as_message(text: str) -> str:
    """The text of a template as it stands in the catalogue."""
    return re.sub(r"{{ (\w+) }}", r"%(\1)s", text)


@pytest.mark.parametrize("script", SCRIPTS, ids=lambda one: one.name)
def test_has_no_hard_coded_words_in_a_script(script: Path) -> None:
    code = "\n".join(
        line for line in script.read_text().splitlines() if not line.lstrip().startswith(("//", "*", "/*"))
    )
    bare = [text for text in BARE.findall(SAID.sub("", code)) if text not in NOT_WORDS and " " in text]
    assert bare == []


@pytest.mark.parametrize("template", TEMPLATES, ids=lambda one: one.name)
def test_has_no_hard_coded_words_in_a_template(template: Path) -> None:
    text = re.sub(r"{% blocktranslate.*?{% endblocktranslate %}", "", template.read_text(), flags=re.DOTALL)
    text = re.sub(r"{%.*?%}|{{.*?}}|{#.*?#}", "", text, flags=re.DOTALL)
    text = re.sub(r"<[^>]*>", "", text)
    assert re.findall(r"[A-Za-z]{4,}", text.replace("qcapp", "")) == []


def test_counts_every_page_that_a_shared_tablet_opens_among_those_that_speak_every_language() -> None:
    opened = {name for name in ALLOWED if name.partition(":")[0] not in on_tablets.ROOMS}
    assert opened - on_tablets.PAGES == {"guide", "guide_picture"}  # guides are written in English, for everybody


def test_keeps_the_shells_in_english_whoever_asks() -> None:
    with translation.override("de"):
        assert "Other unit" in shell.shell_html("bench")


@pytest.mark.parametrize("code", OTHERS)
def test_lists_the_words_among_what_a_tablet_keeps(code: str) -> None:
    assert f"/floor/words/{code}/" in shell.worker_script()


def test_says_two_sentences_of_help_on_every_page_in_each_language() -> None:
    pages = [file for file in TEMPLATES if "{% extends" in file.read_text()]
    assert len(pages) >= 7
    for page in pages:
        ((kept, shown),) = HELP.findall(page.read_text())
        assert kept == shown, page.name  # what a tablet keeps is said again by its script, from this attribute
        for text in (shown, *(words_of(code)[shown] for code in OTHERS)):
            assert len(re.findall(r"[.;:](?= |$)", text)) >= 2, text


def test_knows_the_words_that_a_kept_page_carries() -> None:
    carried = {text for file in (*TEMPLATES, FRAME) for text in re.findall(r'data-words="([^"]+)"', file.read_text())}
    assert len(carried) > 15
    for code in OTHERS:
        assert carried - set(words_of(code)) == set()
