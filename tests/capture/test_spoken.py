"""What the server says on the floor, in the language that follows the badge; the office stays English."""

from __future__ import annotations

import ast
import itertools
import re
from pathlib import Path

import pytest
from django.utils import translation

from qcapp.api.v1 import bench
from qcapp.lib.spoken import OTHERS, catalogue, said, said_in, said_within

ROOT = Path(__file__).resolve().parents[2] / "qcapp"
REFUSALS = {"Refused", "NotAllowed", "Invalid", "NotFound", "Conflict", "Throttled"}
# Said in pieces in the code, or standing for what a form names.
JOINED = {
    "There is no unit {0}. Near it: {1}.",
    "There is no unit {0}. Read it again, or open the unit first.",
    "Stage {0} comes first and is not signed.",
    "Stage {0} (hold point) comes first and is not signed.",
    "Gauge {0} is out of use: {1}. Choose another.",
    "The tablet's key or the PIN behind it has ended. Sign the stage again with network.",
    "This is no signature that can be read. Sign the stage again with network.",
    "Another signature is stored under this identifier. Sign the stage again with network.",
    "It was signed more than 72 hours before it arrived. Sign the stage again with network.",
    "The tablet's clock was ahead when it was signed. Sign the stage again with network.",
    "Stage {0} has changed since it was signed on the tablet. Sign the stage again with network.",
    "One of the entries that it covers has not arrived. Send it again when all have.",
    "{0} of the entries that it covers have not arrived. Send it again when all have.",
    "{0} holds no qualification for process {1} at {2} mm today.",
    "{0} is not qualified for process {1} today: {2} was to be confirmed by {3}, six months after the last time.",
    "The file has {0} MB; at most {1} MB are taken.",
    "The picture has {0} × {1} pixels; at most {2} million are taken. Save it smaller and send it again.",
}


def form_of(node: ast.expr) -> str | None:
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        return node.value
    if not isinstance(node, ast.JoinedStr):
        return None
    places = itertools.count()
    return "".join(str(part.value) if isinstance(part, ast.Constant) else f"{{{next(places)}}}" for part in node.values)


def forms_in(tree: ast.AST) -> set[str]:
    return {form for node in ast.walk(tree) if isinstance(node, ast.expr) and (form := form_of(node))}


def refused_in(source: Path) -> set[str]:
    """The sentence of every refusal that the module raises, also where it stood in `message` before."""
    found = set()
    for function in (node for node in ast.walk(ast.parse(source.read_text())) if isinstance(node, ast.FunctionDef)):
        for node in ast.walk(function):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in REFUSALS:
                found |= {form for form in (form_of(argument) for argument in node.args[1:2]) if form}
            if isinstance(node, ast.Assign) and getattr(node.targets[0], "id", "") == "message":
                found |= {form for form in [form_of(node.value)] if form}
    return found


@pytest.mark.parametrize("code", OTHERS)
def test_has_every_refusal_of_the_rules_in_each_language(code: str) -> None:
    sentences = refused_in(ROOT / "inspections/services/rules.py")
    assert len(sentences) > 15
    assert sentences - set(catalogue(code, "refusals")) == set()


@pytest.mark.parametrize("code", OTHERS)
def test_has_what_the_bench_says_in_each_language(code: str) -> None:
    known = set(catalogue(code, "refusals")) | set(catalogue(code, "djangojs"))
    assert {*bench.WAITS.values(), bench.WITHHELD, "Waits for first article {0}.", "On hold: {0}."} - known == set()


@pytest.mark.parametrize("code", OTHERS)
def test_keeps_every_place_for_what_a_sentence_names(code: str) -> None:
    for english, other in catalogue(code, "refusals").items():
        assert sorted(re.findall(r"{\d}", english)) == sorted(re.findall(r"{\d}", other)), english


def test_has_no_sentence_that_nobody_says() -> None:
    forms: set[str] = set()
    for source in ROOT.rglob("*.py"):
        forms |= forms_in(ast.parse(source.read_text()))
    said_by_code = {text for text in catalogue("de", "refusals") if text.endswith((".", ")")) and text not in JOINED}
    assert said_by_code - forms == set()


def test_finds_a_sentence_by_its_form_and_leaves_what_it_names() -> None:
    english = "FR-200-0147 is dispatched; results are recorded while a unit is in build."
    assert said_in("de", english) == (
        "FR-200-0147 ist ausgeliefert; Ergebnisse werden eingetragen, solange eine Einheit in Fertigung ist."
    )
    assert said_in("es", "505 is critical: another person or another gauge measures it again.").startswith("505 es ")
    day = "Gauge CA-05 was due on 11 Nov 2026; choose another."
    assert ["11. Nov. 2026" in said_in("de", day), "11 nov 2026" in said_in("es", day)] == [True, True]
    assert said_in("de", "Nobody ever wrote this.") == "Nobody ever wrote this."


@pytest.mark.parametrize(
    ("sentence", "spanish", "german"),
    [
        (
            "{} reading(s) are asked for, 2 given; every reading counts.",
            ("pide 1 lectura y", "piden 3 lecturas y"),
            ("ist 1 Ablesung,", "sind 3 Ablesungen,"),
        ),
        (
            "The value has more than {} decimals; type what the gauge shows.",
            ("1 decimal;", "3 decimales;"),
            ("1 Nachkommastelle;", "3 Nachkommastellen;"),
        ),
        ("Stage 2 is not complete: {} open, 103.", ("1 pendiente,", "3 pendientes,"), ("1 offen,", "3 offen,")),
    ],
)
def test_says_one_and_several_of_what_a_refusal_counts(
    sentence: str, spanish: tuple[str, str], german: tuple[str, str]
) -> None:
    for code, expected in (("es", spanish), ("de", german)):
        for number, words in zip((1, 3), expected, strict=True):
            assert words in said_in(code, sentence.format(number))


def test_speaks_only_where_sentences_stand_and_only_when_a_language_is_active() -> None:
    data = {"answer": "It conforms.", "rows": [{"message": "It conforms.", "code": "x"}]}
    assert said_within(data, frozenset({"message"})) == data
    with translation.override("es"):
        assert said("It conforms.") == "Es conforme."
        assert said_within(data, frozenset({"message"})) == {
            "answer": "It conforms.",
            "rows": [{"message": "Es conforme.", "code": "x"}],
        }
