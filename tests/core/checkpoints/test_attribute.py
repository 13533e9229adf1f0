"""Attribute checkpoints: a clear yes or no, and a note."""

from __future__ import annotations

import pytest

from qcapp.core.checkpoints.attribute import Attribute
from qcapp.core.errors import Invalid

SPEC = Attribute.read_spec({})


@pytest.mark.parametrize(
    ("value", "code"),
    [
        ("true", "field_type"),
        ("yes", "field_type"),
        (1, "field_type"),
        (0, "field_type"),
        (None, "field_missing"),
    ],
)
def test_refuses_anything_but_true_or_false(value: object, code: str) -> None:
    with pytest.raises(Invalid) as refusal:
        Attribute.read_answer({"conforms": value}, SPEC)
    assert (refusal.value.code, refusal.value.details["field"]) == (code, "conforms")


def test_keeps_a_note_of_several_lines_as_one() -> None:
    answer = Attribute.read_answer({"conforms": False, "note": " pores\nat the toe \t "}, SPEC)
    assert answer.to_json() == {"conforms": False, "note": "pores at the toe"}


@pytest.mark.parametrize("note", ["", "   ", None])
def test_leaves_out_an_empty_note(note: str | None) -> None:
    assert Attribute.read_answer({"conforms": True, "note": note}, SPEC).to_json() == {"conforms": True}


@pytest.mark.parametrize(
    ("note", "code"),
    [
        (5, "field_type"),
        ("a\0b", "field_control_character"),
        ("\u202eko", "field_control_character"),
        ("x" * 1001, "field_too_long"),
    ],
)
def test_refuses_a_note_that_cannot_be_read(note: object, code: str) -> None:
    with pytest.raises(Invalid) as refusal:
        Attribute.read_answer({"conforms": True, "note": note}, SPEC)
    assert (refusal.value.code, refusal.value.details["field"]) == (code, "note")
