"""Count checkpoints: whole numbers from zero, at most and at least."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from qcapp.core.checkpoints.count import Count
from qcapp.core.errors import Invalid

SPEC = Count.read_spec({"accept": 2})


@pytest.mark.parametrize(
    ("data", "code", "field"),
    [
        ({}, "field_missing", "accept"),
        ({"at_least": 0}, "field_missing", "accept"),
        ({"accept": -1}, "field_out_of_range", "accept"),
        ({"accept": 1.0}, "field_type", "accept"),
        ({"accept": True}, "field_type", "accept"),
        ({"accept": "two"}, "field_type", "accept"),
        ({"accept": 1, "at_least": 2}, "limits_crossed", "at_least"),
        ({"accept": 1, "counted": "x" * 41}, "field_too_long", "counted"),
    ],
)
def test_refuses_a_spec_and_names_the_field(data: dict[str, Any], code: str, field: str) -> None:
    with pytest.raises(Invalid) as refusal:
        Count.read_spec(data)
    assert (refusal.value.code, refusal.value.details["field"]) == (code, field)


@pytest.mark.parametrize(
    ("count", "code"),
    [
        (-1, "field_out_of_range"),
        (1_000_001, "field_out_of_range"),
        (1.0, "field_type"),
        (True, "field_type"),
        ("-1", "field_type"),
        ("1.0", "field_type"),
        ("²", "field_type"),
        ("١", "field_type"),
        (None, "field_missing"),
    ],
)
def test_refuses_what_nobody_can_have_counted(count: object, code: str) -> None:
    with pytest.raises(Invalid) as refusal:
        Count.read_answer({"count": count}, SPEC)
    assert (refusal.value.code, refusal.value.details["field"]) == (code, "count")


@given(st.integers(0, 9), st.integers(0, 9), st.integers(0, 12))
def test_accepts_from_at_least_up_to_accept(at_least: int, more: int, count: int) -> None:
    spec = Count.read_spec({"at_least": at_least, "accept": at_least + more})
    found = Count.assess(Count.read_answer({"count": count}, spec), spec)
    assert (found.outcome == "in_band") is (at_least <= count <= at_least + more)
    assert found.plot == count


def test_is_never_near_a_limit() -> None:
    found = {Count.assess(Count.read_answer({"count": n}, SPEC), SPEC).outcome for n in range(5)}
    assert found == {"in_band", "out_of_band"}
