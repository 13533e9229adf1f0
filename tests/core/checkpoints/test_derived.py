"""Derived checkpoints: computed, rounded to two decimals more than the plan's, and never typed."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from qcapp.core.checkpoints.derived import Derived, compute
from qcapp.core.errors import Invalid

OFFSET: dict[str, Any] = {
    "formula": "(left - right) / 3",
    "nominal": "0",
    "notation": "±0.5",
    "unit_of_measure": "mm",
    "decimals": 1,
}
SPEC = Derived.read_spec(OFFSET)
VALUES = st.decimals(-1000, 1000, places=3)


@pytest.mark.parametrize(
    ("fields", "code", "field"),
    [
        ({"formula": None}, "field_missing", "formula"),
        ({"formula": 5}, "field_type", "formula"),
        ({"formula": "left -"}, "formula_syntax", "formula"),
        ({"formula": "1 + 2"}, "formula_constant", "formula"),
        ({"formula": "a" * 501}, "field_too_long", "formula"),
        ({"notation": None}, "limits_missing", "lower"),
        ({"readings": 3}, "field_unknown", "readings"),
    ],
)
def test_refuses_a_spec_and_names_the_field(fields: dict[str, Any], code: str, field: str) -> None:
    with pytest.raises(Invalid) as refusal:
        Derived.read_spec({**OFFSET, **fields})
    assert (refusal.value.code, refusal.value.details["field"]) == (code, field)


def test_names_the_checkpoints_it_reads() -> None:
    assert SPEC.inputs == ["left", "right"]


@given(VALUES, VALUES)
def test_rounds_to_two_decimals_more_than_the_plan(left: Decimal, right: Decimal) -> None:
    answer = compute(SPEC, {"left": left, "right": right})
    wanted = Fraction(round((Fraction(left) - Fraction(right)) / 3 * 1000), 1000)
    assert Fraction(answer.value) == wanted
    assert answer.value.as_tuple().exponent == -3


def test_judges_the_rounded_value() -> None:
    for left, outcome in (("1.5014", "in_band"), ("1.5016", "out_of_band")):
        answer = compute(SPEC, {"left": Decimal(left), "right": Decimal(0)})
        assert Derived.assess(answer, SPEC).outcome == outcome


def test_leaves_aside_the_values_of_other_checkpoints() -> None:
    answer = compute(SPEC, {"left": Decimal(3), "right": Decimal(0), "other": Decimal(9)})
    assert answer.to_json() == {"value": "1.000", "inputs": {"left": "3", "right": "0"}}
    assert answer.number() == 1


@pytest.mark.parametrize(
    ("answer", "code", "field"),
    [
        ({"value": "0.1"}, "field_missing", "inputs"),
        ({"inputs": ["1", "2"]}, "field_missing", "inputs"),
        ({"inputs": {"left": "1"}}, "input_missing", "inputs"),
        ({"inputs": {"left": "1", "right": "x"}}, "value_not_a_number", "inputs"),
        ({"inputs": {"left": "1", "right": 2.5}}, "field_type", "inputs"),
        ({"inputs": {"left": "1", "right": "2", "other": "3"}}, "field_unknown", "other"),
        ({"inputs": {"left": "3", "right": "0"}, "value": "0.4"}, "derived_value_differs", "value"),
        ({"inputs": {"left": "3", "right": "0"}, "value": "x"}, "value_not_a_number", "value"),
    ],
)
def test_refuses_an_answer_and_names_the_field(answer: dict[str, Any], code: str, field: str) -> None:
    with pytest.raises(Invalid) as refusal:
        Derived.read_answer(answer, SPEC)
    assert (refusal.value.code, refusal.value.details["field"]) == (code, field)


def test_refuses_a_typed_value_and_says_what_the_inputs_give() -> None:
    with pytest.raises(Invalid, match=r"give 1\.000, not 0\.4"):
        Derived.read_answer({"inputs": {"left": "3", "right": "0"}, "value": "0.4"}, SPEC)


def test_says_which_inputs_are_missing() -> None:
    with pytest.raises(Invalid) as refusal:
        compute(SPEC, {"left": Decimal(1)})
    assert refusal.value.details["keys"] == ["right"]


def test_applies_the_uncertainty_of_the_whole_computation() -> None:
    answer = compute(SPEC, {"left": Decimal("1.4"), "right": Decimal(0)})
    found = Derived.assess(answer, SPEC, expanded_uncertainty=Decimal("0.1"))
    assert (answer.value, found.outcome, found.rule) == (Decimal("0.467"), "near_limit", "guarded")


def test_computes_a_value_for_reference_without_a_verdict() -> None:
    spec = Derived.read_spec({"formula": "a * 2", "reference": True, "unit_of_measure": "mm", "decimals": 0})
    answer = compute(spec, {"a": Decimal("1.5")})
    assert (answer.value, Derived.assess(answer, spec).outcome) == (Decimal("3.00"), "recorded")
