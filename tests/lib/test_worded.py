"""Templates said again in another language, piece by piece."""

from __future__ import annotations

import pytest

from qcapp.lib.word_files import faults
from qcapp.lib.worded import has_words, pieces, said_again


def shout(source: str) -> str:
    return said_again(source, str.upper)


@pytest.mark.parametrize(
    ("source", "expected"),
    [
        ("<h1>Open reports</h1>", ["Open reports"]),
        ("{% block title %}Units{% endblock %}", ["Units"]),
        ("<p>{{ card.serial }} is on hold.</p>", ["{{ card.serial }} is on hold."]),
        ("<p>{{ n }} report{{ n|pluralize }} open</p>", ["{{ n }} report{{ n|pluralize }} open"]),
        ("<p>{% if a %}Yes{% else %}No{% endif %}</p>", ["Yes", "No"]),
        (
            '<p>See <a href="/">the plan</a>, then <a href="?">sign</a>.</p>',
            ["See <a>the plan</a>, then <a2>sign</a2>."],
        ),
        ('<a href="/x/">Bench</a> <a href="/y/">Paper</a>', ["Bench", "Paper"]),
        ("{% if a %}<a>{% endif %}Plan{% if a %}</a>{% endif %}", ["Plan"]),
        ('<b title="Was it an outlier?">{{ x }}</b>', ["Was it an outlier?"]),
        ('<img alt="{% if a %}Photo of {{ x }}{% else %}none{% endif %}">', ["Photo of {{ x }}", "none"]),
        ('<p>{{ x|default:"not said" }}</p>', ["not said"]),
        ('<p>{{ n|pluralize:"is,are" }}</p>', ['{{ n|pluralize:"is,are" }}']),
        ("<td>±\n  wide\n  spaced</td>", ["± wide spaced"]),
    ],
)
def test_cuts_a_template_into_what_a_reader_sees(source: str, expected: list[str]) -> None:
    assert pieces(source) == expected


@pytest.mark.parametrize(
    "source",
    [
        '<a class="act quiet" href="{% url \'plans:list\' %}" data-act="undo">{{ x.number }}</a>',
        "{# a remark #}{% comment %}Not shown{% endcomment %}<!-- nor this -->",
        '<script type="application/json">{"word": "kept"}</script><style>b { color: red }</style>',
        "{% if card.state == \"open\" %}{{ x|date:'c' }}{% endif %} · – &nbsp;±",
        '<td title="{{ x.name }}">{{ a }}, {{ b }}</td>',
        "{% with a=b %}{% include 'x.html' with kind='attribute' %}{% endwith %}",
    ],
)
def test_leaves_what_nobody_reads(source: str) -> None:
    assert pieces(source) == []
    assert shout(source) == source


def test_puts_a_sentence_back_with_its_own_tags_and_spaces() -> None:
    source = '<p>\n  See <a href="/x/" title="Open it">the <b>plan</b></a> of {{ x|default:"nobody" }}.\n</p>'
    english = 'See <a>the <b>plan</b></a> of {{ x|default:"nobody" }}.'
    german = {
        english: 'Zu {{ x|default:"nobody" }}: <a>der <b>Plan</b></a>.',
        "Open it": "Öffnen",
        "nobody": "niemand",
    }
    assert said_again(source, lambda piece: german[piece]) == (
        '<p>\n  Zu {{ x|default:"niemand" }}: <a href="/x/" title="Öffnen">der <b>Plan</b></a>.\n</p>'
    )


def test_keeps_a_template_as_it_is_where_nothing_is_said() -> None:
    source = '<p class="{% if a > b %}x{% endif %}">One  <strong>two</strong>\n{{ n }} three</p>'
    assert said_again(source, lambda piece: piece).split() == source.split()


def test_names_what_a_translation_gets_wrong() -> None:
    english = "{{ n }} report{{ n|pluralize }} of <a>{{ unit.serial }}</a>."
    assert faults(english, 'Zu <a>{{ unit.serial }}</a>: {{ n }} Bericht{{ n|pluralize:"e" }}.') == []
    assert faults(english, "{{ n }} Stück von <a>{{ unit.serial }}</a>.") == []
    assert len(faults(english, "{{ n }} Berichte von <a>{{ unit.name }}</a>.")) == 1
    assert len(faults(english, "{{ n }} Berichte von {{ unit.serial }}.")) == 1
    assert len(faults(english, '{{ n }} Bericht{{ m|pluralize:"e" }} von <a>{{ unit.serial }}</a>')) == 2


def test_sees_a_word_where_two_letters_stand_together() -> None:
    assert has_words("Cpk {{ x }}")
    assert not has_words("{{ words }} &middot; n = 5 <b>{% if words %}</b>")
