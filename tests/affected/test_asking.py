"""The notation of a question: what is read is written back, what is not readable is refused with what to do."""

from __future__ import annotations

from datetime import date

import pytest
from django.utils import translation
from hypothesis import given, settings
from hypothesis import strategies as st

from qcapp.affected.asking import (
    SOURCES,
    Both,
    Either,
    Row,
    Term,
    Tree,
    Without,
    of_rows,
    read,
    rows_of,
    terms_of,
    written,
)
from qcapp.affected.question_words import OTHERS
from qcapp.affected.templatetags.asked import asked
from qcapp.core.errors import Invalid

HEAT, WELDER, FIXTURE = Term("heat", "7K4412"), Term("welder", "W11"), Term("fixture", "TF-03")

days = st.none() | st.dates(date(2020, 1, 1), date(2029, 12, 31))
values = st.text(st.characters(codec="utf-8", exclude_categories=["C", "Z"]), min_size=1, max_size=20)


@st.composite
def terms(draw: st.DrawFn) -> Term:
    source = draw(st.sampled_from(sorted(SOURCES)))
    about = SOURCES[source]
    since, until = (draw(days), draw(days)) if about.dated else (None, None)
    if not about.valued and since is None and until is None:
        since = date(2026, 1, 1)
    if since and until and since > until:
        since, until = until, since
    return Term(source, draw(values) if about.valued else "", since, until)


def trees(leaves: st.SearchStrategy[Tree]) -> st.SearchStrategy[Tree]:
    several = st.lists(leaves, min_size=2, max_size=3).map(tuple)
    return st.one_of(st.builds(Without, leaves), st.builds(Both, several), st.builds(Either, several))


@given(st.recursive(terms(), trees, max_leaves=6))
@settings(max_examples=200, deadline=None)
def test_reads_what_it_writes(tree: Tree) -> None:
    assert written(read(written(tree))) == written(tree)
    assert list(terms_of(read(written(tree)))) == list(terms_of(tree))


@pytest.mark.parametrize(
    ("text", "tree"),
    [
        ("heat 7K4412", HEAT),
        ("HEAT 7K4412 AND NOT (welder W11 or fixture TF-03)", Both((HEAT, Without(Either((WELDER, FIXTURE)))))),
        ("heat 7K4412 or welder W11 and fixture TF-03", Either((HEAT, Both((WELDER, FIXTURE))))),
        ("not not heat 7K4412", Without(Without(HEAT))),
        ('supplier "Brook  Tube"', Term("supplier", "Brook Tube")),
        ('lot "or"', Term("lot", "or")),
        ('lot "a ""b"""', Term("lot", 'a "b"')),
        ("opened from 2026-03-01 to 2026-03-31", Term("opened", "", date(2026, 3, 1), date(2026, 3, 31))),
        ("gauge CA-03 to 2026-04-15", Term("gauge", "CA-03", None, date(2026, 4, 15))),
        ("heat 7K4412)", "question_not_readable"),
        ("(heat 7K4412", "question_not_readable"),
        ("heat", "question_not_readable"),
        ("heat and lot X", "question_not_readable"),
        ('heat "7K4412', "question_not_readable"),
        ("heat 7K4412 lot X", "question_not_readable"),
        ("heat 7K4412 and", "question_not_readable"),
        ("colour red", "question_not_readable"),
        ("heat \0", "question_not_readable"),
        ("opened", "question_not_readable"),
        ("not " * 60 + "heat X", "question_not_readable"),
        ("(" * 300 + "heat X", "question_not_readable"),
        ("heat X or " * 30 + "heat X", "question_too_long"),
        ("heat " + "7" * 3000, "question_too_long"),
        ("", "question_missing"),
        ("heat 7K4412 from 2026-01-01", "days_not_taken"),
        ("gauge CA-03 from yesterday", "day_not_readable"),
        ("gauge CA-03 from 2026-02-30", "day_not_readable"),
        ("gauge CA-03 from", "day_not_readable"),
        ("gauge CA-03 from 2026-03-02 to 2026-03-01", "days_turned"),
    ],
)  # fmt: skip
def test_reads_a_question_or_says_what_is_wrong(text: str, tree: Tree | str) -> None:
    if not isinstance(tree, str):
        assert read(text) == tree
        return
    with pytest.raises(Invalid) as caught:
        read(text)
    assert caught.value.code == tree
    assert caught.value.message.endswith(".")


def test_makes_a_question_of_rows_and_rows_of_it() -> None:
    rows = [Row("and", HEAT), Row("and not", WELDER), Row("or", FIXTURE), Row("and", HEAT)]
    tree = of_rows(rows)
    assert written(tree) == "heat 7K4412 and not welder W11 or fixture TF-03 and heat 7K4412"
    assert rows_of(tree) == rows
    assert rows_of(read("heat 7K4412 and (welder W11 or fixture TF-03)")) is None
    assert rows_of(read("not heat 7K4412")) == [Row("and not", HEAT)]


def test_reads_and_shows_a_question_in_the_words_of_another_language_and_keeps_the_english_ones() -> None:
    german = "Schmelze 7K4412 und nicht (Schweißer W11 oder Vorrichtung TF-03 von 2026-03-01)"
    english = "heat 7K4412 and not (welder W11 or fixture TF-03 from 2026-03-01)"
    assert written(read(german)) == written(read(german.upper())) == english
    with translation.override("de"):
        assert asked(english) == german
        assert asked("colour red") == "colour red"
    assert asked(english) == english


def test_puts_a_name_in_quotes_that_is_a_word_of_the_notation_in_any_language() -> None:
    tree = Both((Term("supplier", "und"), Term("supplier", "Oder")))
    assert written(tree) == 'supplier "und" and supplier "Oder"'
    assert read(written(tree)) == tree


@given(st.recursive(terms(), trees, max_leaves=6))
def test_reads_again_what_it_wrote_in_another_language(tree: Tree) -> None:
    for words in OTHERS.values():
        assert read(written(tree, words)) == read(written(tree))


def test_has_a_word_for_every_source_in_every_language() -> None:
    for words in OTHERS.values():
        assert set(words) == {*SOURCES, "and", "or", "not", "from", "to"}
        assert len({word.lower() for word in words.values()}) == len(words)
