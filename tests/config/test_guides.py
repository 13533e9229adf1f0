"""The guides: one for each person, with the words of the pages, pictures of the demonstration, links that lead.

In a guide **bold** is a word of the program and “quotes” are what it says; `…` stands for what changes. Both are looked
for in the catalogues of the German words, which hold every English word of every page (tests/lib/test_office_words.py).
"""

from __future__ import annotations

import ast
import re
from functools import lru_cache
from pathlib import Path

import pytest
from PIL import Image

from qcapp.config.helping import DOCUMENTS, GUIDES, OF_ROLE, OPEN, OPEN_PICTURES, anchor
from qcapp.config.management.commands.take_pictures import PAPERS, PICTURES
from qcapp.people.roles import Role

ROOT = DOCUMENTS.parent
PERSONS = {
    "inspector, assembler": "inspector",
    "welder": "welder",
    "second inspector": "second-inspector",
    "quality manager, named deputy": "quality-manager",
    "design engineer": "engineer",
    "welding coordinator": "welding-coordinator",
    "goods-in, tube shop": "goods-in",
    "metrology": "metrology",
    "customer service": "customer-service",
    "dispatch": "dispatch",
    "customer, dealer, authority": "checking",
    "system keeper": "keeper",
}
AT_A_DESK = {"customer-service", "checking", "keeper"}  # where nothing that the guide asks for can hurt somebody
WRITTEN = sorted((DOCUMENTS / "guides").glob("*.md"))
PAGES = [ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted(DOCUMENTS.rglob("*.md"))]
PICTURE = re.compile(r"!\[([^\]]*)\]\(([^)\s]+)\)")
LINK = re.compile(r"(?<!!)\[[^\]]+\]\(([^)\s]+)\)")
QUOTED = re.compile(r"\*\*([^*]+)\*\*|“([^”]+)”")
ENGLISH = re.compile(r'(?m)^msgid(?:_plural)? ("(?:[^"\\\n]|\\.)*"(?:\n"(?:[^"\\\n]|\\.)*")*)')
CHANGES = re.compile(r"\{\{.*?\}\}|\{%.*?%\}|\{\d\}|%\(\w+\)s|%s|<[^>]+>")
WORDS = """
part family, variant, inspection plan, checkpoint, stage, revision, characteristic, criticality, method, set-up,
condition, frequency, hold point, witness point, band, in band, near limit, out of band, unit, lot, heat, mill
certificate, delivery, place, result, round, sign-off, second inspection, imperfection, nonconformance,
nonconformance report (NCR), containment, disposition, concession, deviation permit, corrective action, hold,
release, release withdrawn, dispatch, certificate, as-built record, trial-fitted, delivered with, gauge,
calibration, measurement uncertainty, gauge study, deputy
"""
LARGEST = 120_000  # bytes of a picture


@lru_cache(maxsize=1)
def spoken() -> str:
    """Every English text of the program, one a line, with … for what changes."""
    files = sorted((ROOT / "qcapp/locale/de").rglob("*.po"))
    texts = {ast.literal_eval(f"({text})") for file in files for text in ENGLISH.findall(file.read_text("utf-8"))}
    return "\n".join(" ".join(CHANGES.sub("…", text).split()).casefold() for text in sorted(texts))


def stands_on_a_page(quoted: str) -> bool:
    """A word is one text of its own; several in a row may be part of a longer one."""
    wanted = " ".join(quoted.split()).casefold().strip(" .,:;…")
    pattern = ".*".join(re.escape(part.strip()) for part in wanted.split("…"))
    if " " in wanted:
        return re.search(rf"(?<!\w){pattern}(?!\w)", spoken()) is not None
    return re.search(rf"(?m)^\W*{pattern}\W*$", spoken()) is not None


def plain(file: Path) -> str:
    """The document without its blocks and pieces of code."""
    text = re.sub(r"```.*?```", "", file.read_text(encoding="utf-8"), flags=re.DOTALL)
    return re.sub(r"`[^`]*`", "", text)


def anchors(file: Path) -> set[str]:
    heads = re.findall(r"(?m)^#+ (.+)$", file.read_text(encoding="utf-8"))
    return {anchor(head) for head in heads}


def test_has_every_word_of_the_trade_that_the_product_uses_once_in_the_glossary() -> None:
    text = (DOCUMENTS / "glossary.md").read_text(encoding="utf-8").partition("## In German")[0]
    rows = re.findall(r"(?m)^\| ([^|]+) \| ", text)[1:]
    named = [word.strip() for row in rows for word in re.split(r", | and ", row)]
    wanted = " ".join(WORDS.split()).split(", ")
    assert [word for word in wanted if word not in named] == []
    assert sorted({word for word in named if named.count(word) > 1}) == []
    assert all(f"guides/{stem}.md" in text for stem in PERSONS.values())


def test_has_a_guide_for_each_person() -> None:
    assert sorted(PERSONS.values()) == [file.stem for file in WRITTEN]
    listed = {name.removeprefix("guides/") for name, _ in GUIDES if name.startswith("guides/")}
    assert listed == set(PERSONS.values())
    assert {OF_ROLE[role].removeprefix("guides/") for role in Role} <= listed


@pytest.mark.parametrize("guide", WRITTEN, ids=lambda one: one.stem)
def test_shows_a_day_with_pictures_what_to_do_when_it_refuses_and_the_cautions(guide: Path) -> None:
    text = guide.read_text(encoding="utf-8")
    assert PICTURE.search(text), "no picture"
    assert re.search(r"(?m)^## When it (refuses|does not answer)$", text)
    assert guide.stem == "checking" or re.search(r"(?m)^## (A day|A delivery comes in|The call)$", text)
    if guide.stem not in AT_A_DESK:
        assert re.search(r"Caution", text)
        assert "ocal codes" in " ".join(text.split())


@pytest.mark.parametrize("guide", WRITTEN, ids=lambda one: one.stem)
def test_quotes_only_what_stands_on_a_page(guide: Path) -> None:
    quoted = {bold or said for bold, said in QUOTED.findall(plain(guide))}
    assert len(quoted) > 6
    assert sorted(one for one in quoted if not stands_on_a_page(one)) == []


def test_notices_a_word_that_is_on_no_page() -> None:
    assert stands_on_a_page("Record the calibration")
    assert stands_on_a_page("Hand over …")
    assert not stands_on_a_page("Recorded the calibration")
    assert not stands_on_a_page("Kalibrierung")
    assert not stands_on_a_page("quality plan")


def test_shows_only_pictures_that_the_command_takes_each_with_words_for_who_does_not_see_it() -> None:
    taken = {one.name for one in (*PICTURES, *PAPERS)}
    for page in PAGES:
        for words, address in PICTURE.findall(page.read_text(encoding="utf-8")):
            file = (page.parent / address).resolve()
            assert file.is_file(), f"{page.name}: {address}"
            assert len(words) > 8, f"{page.name}: {address}"
            assert file.suffix == ".svg" or file.stem in taken, f"{page.name}: {address}"
    assert {file.stem for file in (DOCUMENTS / "pictures").iterdir()} == taken
    assert {f"{one}.png" for one in taken} >= set(OPEN_PICTURES)


def test_keeps_every_picture_small_and_of_the_size_it_is_taken_in() -> None:
    for one in (*PICTURES, *PAPERS):
        file = DOCUMENTS / "pictures" / f"{one.name}.png"
        assert file.stat().st_size < LARGEST, file.name
        with Image.open(file) as picture:
            assert max(picture.size) == max(one.size), file.name


def test_lets_a_stranger_see_every_picture_of_the_open_guide() -> None:
    text = (DOCUMENTS / f"{OPEN}.md").read_text(encoding="utf-8")
    assert {address.rpartition("/")[2] for _, address in PICTURE.findall(text)} == set(OPEN_PICTURES)
    assert [link for link in LINK.findall(text) if not link.startswith("http")] == []


@pytest.mark.parametrize("page", PAGES, ids=lambda one: str(one.relative_to(ROOT)))
def test_links_only_to_what_is_there(page: Path) -> None:
    for link in LINK.findall(plain(page)):
        address, _, anchor = link.partition("#")
        if re.match(r"[a-z]+:", address):
            continue
        file = (page.parent / address).resolve() if address else page
        assert file.exists(), link
        assert not anchor or anchor in anchors(file), link
