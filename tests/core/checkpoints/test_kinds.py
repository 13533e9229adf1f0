"""All kinds alike: the worked cases, and what every kind must keep when it goes to storage and back."""

from __future__ import annotations

import doctest
import json
from dataclasses import FrozenInstanceError
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

from qcapp.core.checkpoints import kinds
from qcapp.core.checkpoints.kinds import KINDS, Outcome, kind, passes
from qcapp.core.errors import Invalid
from qcapp.core.sealing import canonical

CASES = json.loads((Path(__file__).parents[2] / "vectors" / "kinds.json").read_text("utf-8"))["cases"]


def identify(case: dict[str, Any]) -> str:
    return f"{case['kind']}-{case['describe_limits']}-{case['describe_answer']}"


def decimal(text: str | None) -> Decimal | None:
    return None if text is None else Decimal(text)


@pytest.mark.parametrize("case", CASES, ids=identify)
def test_assesses_each_worked_case(case: dict[str, Any]) -> None:
    used = kind(case["kind"])
    spec = used.read_spec(case["spec"])
    answer = used.read_answer(case["answer"], spec)
    found = used.assess(answer, spec, expanded_uncertainty=decimal(case["expanded_uncertainty"]))
    assert found.outcome == case["outcome"]
    assert found.deviation == decimal(case["deviation"])
    assert found.excess == decimal(case["excess"])
    assert found.nearest_limit == case["nearest_limit"]
    assert found.rule == case["rule"]


@pytest.mark.parametrize("case", CASES, ids=identify)
def test_describes_each_worked_case_in_words(case: dict[str, Any]) -> None:
    used = kind(case["kind"])
    spec = used.read_spec(case["spec"])
    assert used.describe_limits(spec) == case["describe_limits"]
    assert used.describe_answer(used.read_answer(case["answer"], spec), spec) == case["describe_answer"]


@pytest.mark.parametrize("case", CASES, ids=identify)
def test_keeps_specs_and_answers_whole_through_storage(case: dict[str, Any]) -> None:
    used = kind(case["kind"])
    spec = used.read_spec(case["spec"])
    answer = used.read_answer(case["answer"], spec)
    stored_spec, stored_answer = canonical(spec.to_json()), canonical(answer.to_json())
    again = used.read_spec(json.loads(stored_spec))
    assert again == spec
    assert used.read_answer(json.loads(stored_answer), again) == answer
    assert canonical(again.to_json()) == stored_spec


@pytest.mark.parametrize("name", KINDS)
def test_has_a_worked_case_of_each_kind(name: str) -> None:
    assert any(case["kind"] == name for case in CASES)


def test_has_a_worked_case_of_each_outcome() -> None:
    assert {case["outcome"] for case in CASES} == set(Outcome)


@pytest.mark.parametrize("name", KINDS)
def test_freezes_specs_and_answers(name: str) -> None:
    case = next(case for case in CASES if case["kind"] == name)
    spec = kind(name).read_spec(case["spec"])
    answer = kind(name).read_answer(case["answer"], spec)
    for frozen in (spec, answer, kind(name).assess(answer, spec)):
        with pytest.raises(FrozenInstanceError):
            frozen.outcome = "in_band"
        assert hash(frozen) is not None


@pytest.mark.parametrize("name", KINDS)
def test_knows_each_kind_by_its_name_and_labels_it(name: str) -> None:
    assert kind(name).name == name
    assert kind(name).label


def test_refuses_an_unknown_kind_and_names_the_known_ones() -> None:
    with pytest.raises(Invalid, match="measured, attribute, count, record, derived") as refusal:
        kind("guess")
    assert refusal.value.code == "kind_unknown"


def test_passes_all_but_out_of_band_and_does_not_conform() -> None:
    failing = {outcome for outcome in Outcome if not passes(outcome)}
    assert failing == {Outcome.OUT_OF_BAND, Outcome.DOES_NOT_CONFORM}
    assert not passes("out_of_band")


def test_does_not_pass_a_word_that_is_no_outcome() -> None:
    with pytest.raises(ValueError, match="conform"):
        passes("conform")


@pytest.mark.parametrize("name", KINDS)
def test_refuses_fields_it_does_not_know(name: str) -> None:
    case = next(case for case in CASES if case["kind"] == name)
    used = kind(name)
    with pytest.raises(Invalid) as refusal:
        used.read_spec({**case["spec"], "uper": "1"})
    assert (refusal.value.code, refusal.value.details["field"]) == ("field_unknown", "uper")
    spec = used.read_spec(case["spec"])
    with pytest.raises(Invalid) as refusal:
        used.read_answer({**case["answer"], "vlaue": "1"}, spec)
    assert (refusal.value.code, refusal.value.details["field"]) == ("field_unknown", "vlaue")


@pytest.mark.parametrize("name", KINDS)
def test_refuses_an_answer_that_is_empty_or_no_object(name: str) -> None:
    used = kind(name)
    spec = used.read_spec(next(case["spec"] for case in CASES if case["kind"] == name))
    for data, code in (({}, "field_missing"), ([], "field_type"), ("1", "field_type"), (None, "field_type")):
        with pytest.raises(Invalid) as refusal:
            used.read_answer(data, spec)  # type: ignore[arg-type]  # what a broken tablet may send
        assert refusal.value.code == code


@pytest.mark.parametrize(
    ("name", "gives"),
    [("measured", True), ("attribute", False), ("count", True), ("record", False), ("derived", True)],
)
def test_says_whether_a_derived_checkpoint_may_read_it(name: str, gives: bool) -> None:
    case = next(case for case in CASES if case["kind"] == name)
    spec = kind(name).read_spec(case["spec"])
    assert spec.gives_number is gives
    assert (kind(name).read_answer(case["answer"], spec).number() is not None) is gives


def test_holds_what_its_docstring_shows() -> None:
    shown = doctest.testmod(kinds)
    assert (shown.failed, shown.attempted > 0) == (0, True)
