"""Measured checkpoints: reading limits and readings, every refusal, and the worst reading deciding."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from qcapp.core.checkpoints.assessment import Outcome
from qcapp.core.checkpoints.limits import KEYS, written
from qcapp.core.checkpoints.measured import Measured, MeasuredSpec
from qcapp.core.errors import Invalid
from qcapp.core.metrology.decision import judge

ANGLE = {"nominal": "62.00", "lower": "61.85", "upper": "62.15", "unit_of_measure": "°", "decimals": 2}
SPEC = Measured.read_spec(ANGLE)
VALUES = st.decimals("61.5", "62.5", places=3)


def refused(data: dict[str, Any]) -> tuple[str, str]:
    with pytest.raises(Invalid) as refusal:
        Measured.read_spec(data)
    return refusal.value.code, str(refusal.value.details["field"])


def changed(**fields: object) -> dict[str, Any]:
    return {key: value for key, value in {**ANGLE, **fields}.items() if value is not ...}


# -------------------------------------------------------------------------------------------------- specs


def test_stores_the_limits_computed_from_a_notation_with_their_source() -> None:
    spec = Measured.read_spec({"nominal": "25", "notation": "H7", "unit_of_measure": "mm"})
    stored = spec.to_json()
    assert (stored["lower"], stored["upper"], stored["notation"]) == ("25", "25.021", "H7")
    assert "ISO 286" in str(stored["source"])
    assert stored["decimals"] == 3


def test_keeps_frozen_limits_although_the_notation_would_give_others_today() -> None:
    stored = Measured.read_spec({"nominal": "25", "notation": "H7", "unit_of_measure": "mm"}).to_json()
    frozen = {**stored, "upper": "25.020", "source": "an older table"}
    spec = Measured.read_spec(frozen)
    assert spec.band is not None
    assert spec.band.upper == Decimal("25.020")
    assert spec.to_json() == frozen


def test_keeps_frozen_limits_of_one_side_too() -> None:
    frozen = {"notation": "max 0.5", "upper": "0.4", "source": "as drawn", "unit_of_measure": "mm"}
    spec = Measured.read_spec(frozen)
    assert spec.band is not None
    assert (spec.band.lower, spec.band.upper) == (None, Decimal("0.4"))


def test_stores_every_key_of_a_value_for_reference() -> None:
    stored = Measured.read_spec({"reference": True, "unit_of_measure": "mm", "decimals": 1}).to_json()
    given = {key: value for key, value in stored.items() if value not in (None, [], False)}
    assert set(stored) == KEYS | {"readings"}
    assert given == {"reference": True, "unit_of_measure": "mm", "decimals": 1, "readings": 1}


def test_accepts_limits_that_agree_with_their_notation() -> None:
    spec = Measured.read_spec(changed(notation="±0.15"))
    assert spec.band is not None
    assert (spec.band.lower, spec.band.upper) == (Decimal("61.85"), Decimal("62.15"))


@pytest.mark.parametrize(("side", "limit"), [("upper", "62.20"), ("lower", "61.80")])
def test_refuses_limits_that_disagree_with_their_notation(side: str, limit: str) -> None:
    assert refused(changed(notation="±0.15", **{side: limit})) == ("limits_disagree", side)


def test_refuses_a_limit_on_the_side_that_the_notation_leaves_open() -> None:
    data = {"notation": "min 2.0", "upper": "3.0", "unit_of_measure": "mm"}
    assert refused(data) == ("limits_disagree", "upper")


def test_takes_the_natural_boundary_that_a_notation_brings() -> None:
    spec = Measured.read_spec({"notation": "flatness 0.3", "unit_of_measure": "mm", "decimals": 2})
    assert spec.band is not None
    assert spec.band.natural == {"lower"}
    assert Measured.describe_limits(spec) == "max 0.30 mm"


def test_counts_decimals_from_the_limits_when_none_are_given() -> None:
    assert Measured.read_spec(changed(decimals=..., upper="62.155")).decimals == 3
    assert Measured.read_spec({"upper": "5", "unit_of_measure": "mm"}).decimals == 0


@pytest.mark.parametrize(
    ("fields", "code", "field"),
    [
        ({"unit_of_measure": ...}, "field_missing", "unit_of_measure"),
        ({"unit_of_measure": 5}, "field_type", "unit_of_measure"),
        ({"unit_of_measure": "m" * 21}, "field_too_long", "unit_of_measure"),
        ({"lower": ..., "upper": ...}, "limits_missing", "lower"),
        ({"lower": "63"}, "limits_crossed", "lower"),
        ({"nominal": "70"}, "nominal_outside", "nominal"),
        ({"guard": "-0.01"}, "guard_negative", "guard"),
        ({"guard": "0.2"}, "guard_swallows_band", "guard"),
        ({"natural": ["left"]}, "natural_unknown", "natural"),
        ({"natural": "lower"}, "field_type", "natural"),
        ({"lower": 61.85}, "field_type", "lower"),
        ({"upper": True}, "field_type", "upper"),
        ({"upper": "62,1,5"}, "value_two_marks", "upper"),
        ({"nominal": "about 62"}, "value_not_a_number", "nominal"),
        ({"notation": "as good as it gets"}, "notation_unknown", "notation"),
        ({"decimals": 10}, "field_out_of_range", "decimals"),
        ({"decimals": -1}, "field_out_of_range", "decimals"),
        ({"decimals": "two"}, "field_type", "decimals"),
        ({"decimals": True}, "field_type", "decimals"),
        ({"readings": 0}, "field_out_of_range", "readings"),
        ({"readings": 51}, "field_out_of_range", "readings"),
        ({"rule": "generous"}, "rule_unknown", "rule"),
        ({"reference": "yes"}, "field_type", "reference"),
        ({"reference": True}, "reference_with_limits", "lower"),
        ({"allow_outside_nominal": 1}, "field_type", "allow_outside_nominal"),
        ({"source": "a\u202eb"}, "field_control_character", "source"),
        ({"uper": "1"}, "field_unknown", "uper"),
    ],
)
def test_refuses_a_spec_and_names_the_field(fields: dict[str, object], code: str, field: str) -> None:
    assert refused(changed(**fields)) == (code, field)


def test_asks_for_decimals_of_a_value_for_reference() -> None:
    assert refused({"reference": True, "unit_of_measure": "mm"}) == ("field_missing", "decimals")


# ------------------------------------------------------------------------------------------------ answers


def answer_refused(data: dict[str, Any], spec: MeasuredSpec = SPEC) -> tuple[str, str]:
    with pytest.raises(Invalid) as refusal:
        Measured.read_answer(data, spec)
    return refusal.value.code, str(refusal.value.details["field"])


@pytest.mark.parametrize("typed", ["61.9", "61.90", "62", "61.94251", "-61.900"])
def test_keeps_a_value_as_it_was_typed(typed: str) -> None:
    assert Measured.read_answer({"value": typed}, SPEC).to_json() == {"value": typed}


def test_refuses_a_value_finer_than_any_gauge_for_it() -> None:
    assert Measured.read_answer({"value": "61.94251"}, SPEC).values == (Decimal("61.94251"),)
    assert answer_refused({"value": "61.942510"}) == ("value_too_fine", "value")


@pytest.mark.parametrize(
    ("value", "code"),
    [
        ("", "value_empty"),
        ("ok", "value_not_a_number"),
        ("NaN", "value_not_a_number"),
        ("61.94 mm", "value_unit_unexpected"),
        ("61.9.4", "value_two_marks"),
        (61.94, "field_type"),
        (True, "field_type"),
        (["61.94"], "field_type"),
        ("1" * 19, "value_too_long"),
    ],
)
def test_refuses_a_value_that_is_no_number_sent_as_text(value: object, code: str) -> None:
    assert answer_refused({"value": value}) == (code, "value")


def test_wants_exactly_the_readings_asked_for() -> None:
    three = Measured.read_spec({**ANGLE, "readings": 3})
    assert answer_refused({"values": ["62", "62"]}, three) == ("readings_differ", "values")
    assert answer_refused({"value": "62"}, three) == ("readings_differ", "values")
    assert answer_refused({"values": ["62", "62"]}) == ("readings_differ", "values")
    assert len(Measured.read_answer({"values": ["62", "62", "62"]}, three).values) == 3


def test_refuses_value_and_values_together_and_readings_that_are_no_list() -> None:
    assert answer_refused({"value": "62", "values": ["62"]})[0] == "field_missing"
    assert answer_refused({"values": "62"}) == ("field_type", "values")


# ------------------------------------------------------------------------------------------------ verdicts


@given(VALUES, st.none() | st.decimals(0, "0.2", places=3))
def test_gives_one_reading_the_verdict_of_judge(value: Decimal, uncertainty: Decimal | None) -> None:
    assert SPEC.band is not None
    found = Measured.assess(Measured.read_answer({"value": str(value)}, SPEC), SPEC, expanded_uncertainty=uncertainty)
    rule = "simple" if uncertainty is None else "guarded"
    wanted = judge(value, SPEC.band, expanded_uncertainty=uncertainty, rule=rule)  # type: ignore[arg-type]
    assert (found.outcome, found.deviation, found.excess) == (wanted.verdict, wanted.deviation, wanted.excess)
    assert (found.nearest_limit, found.plot, found.rule) == (wanted.nearest_limit, float(value), rule)


@given(st.lists(VALUES, min_size=2, max_size=5), st.none() | st.decimals(0, "0.1", places=2), st.randoms())
def test_lets_the_worst_reading_decide_in_any_order(
    values: list[Decimal], uncertainty: Decimal | None, shuffle: Any
) -> None:
    spec = Measured.read_spec({**ANGLE, "readings": len(values)})

    def assess(readings: list[Decimal]) -> Any:
        answer = Measured.read_answer({"values": [str(v) for v in readings]}, spec)
        return Measured.assess(answer, spec, expanded_uncertainty=uncertainty)

    found = assess(values)
    order = ["in_band", "near_limit", "out_of_band"]
    single = [
        Measured.assess(Measured.read_answer({"value": str(v)}, SPEC), SPEC, expanded_uncertainty=uncertainty)
        for v in values
    ]
    assert found.outcome == max((one.outcome for one in single), key=order.index)
    assert found.excess == max(one.excess for one in single if one.excess is not None)
    exchanged = list(values)
    shuffle.shuffle(exchanged)
    assert (assess(exchanged).outcome, assess(exchanged).excess) == (found.outcome, found.excess)


def test_plots_the_reading_that_decides() -> None:
    spec = Measured.read_spec({**ANGLE, "readings": 3})
    for values, plotted in ((["62.00", "62.10", "61.95"], 62.10), (["62.2", "61.7", "62"], 61.7)):
        assert Measured.assess(Measured.read_answer({"values": values}, spec), spec).plot == plotted


def test_records_a_value_for_reference_without_a_verdict() -> None:
    spec = Measured.read_spec({"reference": True, "unit_of_measure": "mm", "decimals": 1})
    found = Measured.assess(Measured.read_answer({"value": "412.5"}, spec), spec, expanded_uncertainty=Decimal(1))
    assert (found.outcome, found.plot, found.rule) == (Outcome.RECORDED, 412.5, None)


def test_refuses_a_negative_uncertainty_even_beside_a_guard_zone() -> None:
    spec = Measured.read_spec({**ANGLE, "guard": "0.05"})
    answer = Measured.read_answer({"value": "62"}, spec)
    with pytest.raises(Invalid) as refusal:
        Measured.assess(answer, spec, expanded_uncertainty=Decimal("-0.01"))
    assert refusal.value.code == "uncertainty_negative"


def test_keeps_the_guard_zone_of_the_plan_under_a_perfect_gauge() -> None:
    spec = Measured.read_spec({**ANGLE, "guard": "0.05"})
    answer = Measured.read_answer({"value": "62.14"}, spec)
    assert Measured.assess(answer, spec, expanded_uncertainty=Decimal(0)).outcome == "near_limit"


def test_gives_a_derived_checkpoint_one_reading_but_never_a_choice_among_several() -> None:
    three = Measured.read_spec({**ANGLE, "readings": 3})
    assert (SPEC.gives_number, three.gives_number) == (True, False)
    assert Measured.read_answer({"value": "62.00"}, SPEC).number() == Decimal("62.00")
    assert Measured.read_answer({"values": ["62", "62", "62"]}, three).number() is None


# --------------------------------------------------------------------------------------------------- words


@pytest.mark.parametrize(
    ("natural", "words"),
    [([], "0 to 100 %"), (["lower"], "max 100 %"), (["upper"], "min 0 %"), (["lower", "upper"], "max 100 %")],
)
def test_does_not_name_a_natural_boundary(natural: list[str], words: str) -> None:
    data = {"lower": "0", "upper": "100", "natural": natural, "unit_of_measure": "%"}
    assert Measured.describe_limits(Measured.read_spec(data)) == words


@given(st.decimals(-1000, 1000, places=4), st.integers(0, 6))
def test_writes_a_limit_with_the_decimals_of_the_plan_and_never_another_number(value: Decimal, decimals: int) -> None:
    text = written(value, decimals)
    assert Decimal(text) == value
    assert len(text.partition(".")[2]) >= decimals
    assert len(text.partition(".")[2]) == decimals or not text.endswith("0")
