"""Record checkpoints: texts of a stated form, nothing judged."""

from __future__ import annotations

from typing import Any

import pytest

from qcapp.core.checkpoints.record import Record
from qcapp.core.errors import Invalid


@pytest.mark.parametrize(
    ("data", "code", "field"),
    [
        ({"form": "poem"}, "form_unknown", "form"),
        ({"min_length": 0}, "field_out_of_range", "min_length"),
        ({"max_length": 201}, "field_out_of_range", "max_length"),
        ({"max_length": "long"}, "field_type", "max_length"),
        ({"min_length": 5, "max_length": 4}, "limits_crossed", "min_length"),
        ({"form": "text", "pattern": "FR-{number:4}"}, "pattern_not_here", "pattern"),
        ({"form": "serial", "pattern": "FR-.*"}, "serial_pattern", "pattern"),
    ],
)
def test_refuses_a_spec_and_names_the_field(data: dict[str, Any], code: str, field: str) -> None:
    with pytest.raises(Invalid) as refusal:
        Record.read_spec(data)
    assert (refusal.value.code, refusal.value.details["field"]) == (code, field)


@pytest.mark.parametrize(
    ("spec", "text", "code"),
    [
        ({}, "", "field_missing"),
        ({}, "  ", "field_missing"),
        ({}, 5, "field_type"),
        ({}, "a\nb", "field_control_character"),
        ({}, "a\x7fb", "field_control_character"),
        ({}, "a\u200bb", "field_control_character"),
        ({}, "\ud800", "field_control_character"),
        ({}, "x" * 201, "field_too_long"),
        ({"max_length": 3}, "abcd", "field_too_long"),
        ({"min_length": 3}, "ab", "text_too_short"),
        ({"form": "heat"}, "h48213", "mark_form"),
        ({"form": "heat"}, "H48213;", "mark_form"),
        ({"form": "heat"}, "-48213", "mark_form"),
        ({"form": "serial"}, "FL–30", "mark_form"),
        ({"form": "serial", "pattern": "FL-30-{number:4}"}, "FL-30-42", "serial_form"),
        ({"form": "serial", "pattern": "FL-30-{number:4}"}, "FL-30-0000", "serial_zero"),
        ({"form": "date"}, "2031-02-29", "date_form"),
        ({"form": "date"}, "30.04.2031", "date_form"),
        ({"form": "date"}, "20310430", "date_form"),
        ({"form": "date"}, "2031-W18-3", "date_form"),
    ],
)
def test_refuses_a_text_of_another_form(spec: dict[str, Any], text: object, code: str) -> None:
    with pytest.raises(Invalid) as refusal:
        Record.read_answer({"text": text}, Record.read_spec(spec))
    assert (refusal.value.code, refusal.value.details["field"]) == (code, "text")


def test_reads_composed_and_decomposed_letters_as_the_same_text() -> None:
    spec = Record.read_spec({})
    assert Record.read_answer({"text": "é"}, spec) == Record.read_answer({"text": "e\u0301"}, spec)


def test_accepts_one_length_only() -> None:
    spec = Record.read_spec({"min_length": 3, "max_length": 3})
    assert Record.read_answer({"text": "abc"}, spec).text == "abc"


def test_accepts_lengths_up_to_both_ends() -> None:
    spec = Record.read_spec({"min_length": 2, "max_length": 3})
    assert [Record.read_answer({"text": text}, spec).text for text in ("ab", "abc")] == ["ab", "abc"]
