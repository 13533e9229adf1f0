"""What the code says to people, looked up as a page is drawn."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import UTC, datetime
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from django import forms
from django.template import Context, Template
from django.utils import translation
from django.utils.safestring import mark_safe

from qcapp.core.errors import Invalid
from qcapp.core.metrology.notations import read_limits
from qcapp.lib.printing import paper
from qcapp.lib.spoken import OTHERS, _Known, catalogue, said_in, said_number
from qcapp.lib.spoken_sources import labels, sentences
from qcapp.lib.templatetags.qc import day, moment, number
from qcapp.lib.templatetags.spoken import said
from qcapp.lib.word_files import misplaced, of_the_code, said_by_the_code
from qcapp.lib.worded import looked_up

PLACE = re.compile(r"{(\d)}")
COUNTED = re.compile(r"{\d\?[^|{}]*\|([^{}]*)}")
AT = datetime(2026, 3, 4, 12, 5, tzinfo=UTC)


def drawn(source: str, **context: Any) -> str:
    return Template("{% load qc %}" + source).render(Context(context))


class Asked(forms.Form):
    severity = forms.ChoiceField(
        choices=[("", "not known yet"), ("m", "major")], widget=forms.Select(attrs={"title": "Reason"})
    )
    how = forms.ChoiceField(choices=[("a", "minor")], widget=forms.RadioSelect)


@pytest.mark.parametrize("code", OTHERS)
def test_says_what_consists_of_several_sentences_as_it_was_written_and_not_by_pieces_of_others(code: str) -> None:
    """“There is no unit {0}. Read it again …” is one text, whatever a shorter form could make of its first sentence."""
    written = {
        text: other for name in ("labels", "sentences", "refusals") for text, other in catalogue(code, name).items()
    }
    several = {text: other for text, other in written.items() if "{0}" in text and re.search(r"[.?!] \w", text)}
    assert len(several) > 30
    wrong = {text: said_in(code, named(text)) for text in several if said_in(code, named(text)) != named(several[text])}
    assert wrong == {}


def named(text: str) -> str:
    """The form with a serial number in each of its places."""
    counted = re.sub(r"{\d\?[^|{}]*\|([^|{}]*)}", r"\1", text)
    return re.sub(r"{(\d)}", r"FR-200-99\1", counted)


@pytest.mark.parametrize("code", OTHERS)
def test_says_everything_that_the_code_says_and_nothing_that_it_says_no_more(code: str) -> None:
    said = {english for _, english in said_by_the_code(code)}
    wanted = {entry.english for entries in of_the_code(code).values() for entry in entries}
    assert (wanted - said, said - wanted) == (set(), set()), "run `manage.py write_words` and say what is new"


@pytest.mark.parametrize("code", OTHERS)
def test_names_in_every_sentence_what_the_english_names(code: str) -> None:
    assert [english for (_, english), other in said_by_the_code(code).items() if misplaced(english, other)] == []


@pytest.mark.parametrize("code", OTHERS)
def test_says_each_form_by_its_own_words_and_by_no_other_that_fits_as_well(code: str) -> None:
    """Where places hold numbers; a place that an English ending fills (value, values) is left out."""
    wrong = []
    for english, other in catalogue(code, "sentences").items():
        if re.search(r"[a-z]{\d}", english):
            continue
        told = COUNTED.sub(r"\1", PLACE.sub(r"7\1", other))
        if said_in(code, PLACE.sub(r"7\1", english)) not in (told, said_number(code, told)):
            wrong.append(english)
    assert wrong == []


@pytest.mark.parametrize(
    ("english", "german"),
    [
        (
            "The wall before must be above zero, not -1; check what was typed.",
            "Über null muss liegen: Wanddicke davor, nicht -1; prüfen Sie, was getippt wurde.",
        ),
        ("The body is nested deeper than 32 levels.", "Der Inhalt ist tiefer als 32 Ebenen verschachtelt."),
        ("max takes 1 value, not 3.", "max nimmt 1 Wert, nicht 3."),
        ("clamp takes 3 values, not 1.", "clamp nimmt 3 Werte, nicht 1."),
        ("“at_least” is above “accept”; exchange them.", "„at_least“ liegt über „accept“; vertauschen Sie beide."),
    ],
)
def test_says_what_the_core_and_the_api_refuse(english: str, german: str) -> None:
    assert said_in("de", english) == german


def test_names_a_notation_in_german_that_is_read_as_it_is_written() -> None:
    with pytest.raises(Invalid) as refused:
        read_limits(Decimal(25), "roughly", "mm")
    told = said_in("de", refused.value.message)
    assert told.startswith("Die Toleranz „roughly“ ist nicht verständlich; schreiben Sie ±0,2,")
    assert read_limits(None, "25,0 bis 25,4", "mm").upper == Decimal("25.4")
    assert "25,0 bis 25,4" in told


def test_reads_labels_and_sentences_from_the_code() -> None:
    assert len(labels()) > 600
    assert len(sentences()) > 600
    assert {"Needed for re-welding and cold straightening.", "use as is", "goods in"} <= set(labels())


def test_looks_up_what_shows_a_label_and_leaves_what_a_person_wrote_or_a_script_reads() -> None:
    names = frozenset({"state_label", "entry.text"})
    source = '<b class="{{ x.state_label }}" title="{{ x.state_label }}">{{ x.state_label|capfirst }} {{ a.text }}</b>'
    assert looked_up(source, names) == (
        '<b class="{{ x.state_label }}" title="{{ x.state_label|said }}">'
        "{{ x.state_label|said|capfirst }} {{ a.text }}</b>"
    )
    assert looked_up("<li>{{ entry.text }}</li>", names) == "<li>{{ entry.text|said }}</li>"


def test_says_a_label_a_list_and_a_code_in_the_language_of_the_page() -> None:
    with translation.override("de"):
        assert said("rework") == "Nacharbeit"
        assert said(["quality manager", "FR-200-0001"]) == ["Qualitätsleitung", "FR-200-0001"]
        assert said("in_correction") == "in Korrektur"
        assert said("Withdrawn") == "Zurückgezogen"
        assert said("The qualification of Wenda Carrow holds until 4 Mar 2026.").endswith("gilt bis 4. März 2026.")
        assert said(mark_safe("rework")) == "rework"
        assert said(7) == 7
    assert said("rework") == "rework"


def test_draws_choices_and_titles_of_a_field_in_the_language_of_the_page() -> None:
    english = str(Asked()["severity"])
    with translation.override("de"):
        german = str(Asked()["severity"]) + str(Asked()["how"])
    assert "not known yet" in english
    assert "noch nicht bekannt" in german
    assert 'value="m"' in german
    assert 'title="Grund"' in german
    assert "gering" in german


@pytest.mark.parametrize(
    ("source", "english", "german"),
    [
        ("{{ at|day }}", "4 Mar 2026", "4. März 2026"),
        ("{{ at|moment }}", "4 Mar 2026, 13:05", "4. März 2026, 13:05"),
        ("{{ value|number }}", "−0.50 to 12.25", "−0,50 bis 12,25"),
        ("{{ serial|number }}", "FR-200-0147, 3.1.2", "FR-200-0147, 3.1.2"),
        ("{{ outcome|verdict }}", "near limit", "grenznah"),
        ("{{ state|words }}", "in build", "in Fertigung"),
    ],
)
def test_writes_days_numbers_and_verdicts_in_the_language_of_the_page(source: str, english: str, german: str) -> None:
    told = {"at": AT, "value": "-0.50 to 12.25", "serial": "FR-200-0147, 3.1.2", "outcome": "near_limit"}
    assert drawn(source, state="in_build", **told) == english
    with translation.override("de"):
        assert drawn(source, state="in_build", **told) == german


@pytest.mark.parametrize(("write", "value"), [(day, AT), (moment, AT), (number, "12.5")])
def test_writes_what_is_kept_in_english_whatever_language_is_active(write: Callable[[Any], str], value: Any) -> None:
    english = write(value)
    with translation.override("de"):
        assert write(value) == english


def test_prints_a_paper_in_english_whoever_asks(settings: Any, tmp_path: Path) -> None:
    (tmp_path / "sheet.html").write_text("{% load qc %}{{ at|day }} {{ state|words }}")
    settings.TEMPLATES = [{**settings.TEMPLATES[0], "DIRS": [tmp_path]}]
    with translation.override("de"):
        assert paper("sheet.html", {"at": AT, "state": "in_build"}) == "4 Mar 2026 in build"


def test_tries_the_form_with_the_most_words_of_its_own_first() -> None:
    known = _Known(
        {"{0} is open.": "{0} ist offen.", "{0} is {1}.": "{0} ist {1}.", "Stage {0} waits.": "Es wartet {0}."}
    )
    tried = [form.pattern for form, _ in known.like("NCR-1 is open.")]
    assert tried[0].endswith("\\ is\\ open\\.")
    assert said_in("de", "A sentence that nobody wrote.") == "A sentence that nobody wrote."


def test_finds_no_short_form_in_what_somebody_wrote() -> None:
    wrote = "Pulls to the left under load; owner asks whether the axle was straight."
    assert said_in("de", wrote) == wrote
    assert said_in("de", f"Complaint: {wrote}") == f"Beanstandung: {wrote}"
    assert said_in("de", "CA-2026-0003 owner Vane") == "CA-2026-0003 Verantwortung Vane"


def test_says_one_and_several_by_the_number_in_the_sentence() -> None:
    assert said_in("de", "1 answer recorded") == "1 Antwort eingetragen"
    assert said_in("de", "12 answers recorded") == "12 Antworten eingetragen"
    assert said_in("de", "1 units measured with GA-01 are on hold until they are decided.").startswith("1 mit GA-01 ")
    assert "Einheit ist gesperrt" in said_in("de", "1 units measured with GA-01 are on hold until they are decided.")


@pytest.mark.parametrize("code", ["de"])
def test_counts_by_a_place_that_the_sentence_has(code: str) -> None:
    counted = re.compile(r"{(\d)\?")
    wrong = [
        english
        for (_, english), other in said_by_the_code(code).items()
        if not set(counted.findall(other)) <= set(re.findall(r"{(\d)}", english))
    ]
    assert wrong == []


@pytest.mark.parametrize("code", ["de"])
def test_writes_the_numbers_that_a_sentence_names_with_the_mark_of_the_language(code: str) -> None:
    assert "0,8 % bis 1,1 %" in said_in(code, "Cr 1.2 % is too high; 4130 has 0.8 % to 1.1 % (ASTM A519).")


def test_loses_no_sentence_of_a_long_text_to_a_form_that_leaves_a_word_out() -> None:
    """`{0} {1} in a row below the centre {2}.` says nothing of {1}, which would hold every sentence before it."""
    text = "FR-200: a chart of ours. Nobody knows these words. Eight frames in a row below the centre since FR-200-01."
    other = said_in("de", text)
    assert "a chart of ours" in other
    assert "Nobody knows these words." in other
    assert "Acht Einheiten in Folge unter der Mitte" in other


@pytest.mark.parametrize(
    ("english", "german"),
    [
        ("CA-2026-0001: a step for you, due 3 Nov 2026", "CA-2026-0001: ein Schritt für Sie, fällig am 3. Nov. 2026"),
        ("Valid until 27 August 2036.", "Gültig bis 27. Aug. 2036."),
    ],
)
def test_writes_a_day_that_stands_in_two_places_or_with_its_whole_month(english: str, german: str) -> None:
    assert said_in("de", english) == german
