"""What only the whole plan shows: stages, numbers and keys, documents, formulas, pairs."""

from __future__ import annotations

from qcapp.plans.plan_rules import Numbering, read_plan
from tests.factories.plans import attribute, numbered, plan_text
from tests.plans.test_plan_rows import DERIVED, GAUGE_KINDS


def read(*rows, numbers=None):
    return read_plan(plan_text(*rows), gauge_kinds=GAUGE_KINDS, numbering=Numbering(numbers or {}))


def found(*rows, numbers=None):
    return [(finding.line, finding.column, finding.code) for finding in read(*rows, numbers=numbers).findings]


# --- stages ------------------------------------------------------------------------------------------------


def test_a_stage_is_described_by_its_first_row():
    plan = read(
        {"hold_point": "yes"},
        attribute(102, stage_name=None, hold_point=None),
        attribute(201, stage_number="2", stage_name="Tack-up", witness_point="yes"),
    )
    assert plan.findings == ()
    assert [(s.number, s.name, s.hold_point, s.witness_point) for s in plan.stages] == [
        (1, "Alignment", True, False),
        (2, "Tack-up", False, True),
    ]


def test_refuses_a_stage_that_is_described_in_two_ways():
    rows = {"hold_point": "yes"}, attribute(102, stage_name="Alinement", hold_point="no")
    assert found(*rows) == [(3, "hold_point", "stage_differs"), (3, "stage_name", "stage_differs")]


def test_refuses_stages_out_of_order():
    rows = attribute(201, stage_number="2"), attribute(101), attribute(202, stage_number="2")
    assert found(*rows) == [(3, "stage_number", "stage_out_of_order")]


# --- numbers and keys --------------------------------------------------------------------------------------


def test_refuses_a_number_or_key_that_is_there_twice():
    assert found({}, attribute(101)) == [(3, "number", "number_twice")]
    assert found({}, attribute(102) | {"number": "0101"}) == [(3, "number", "number_twice")]
    assert found({}, attribute(102, key="head_angle")) == [(3, "key", "key_twice")]


def test_a_number_is_never_given_to_another_checkpoint_of_the_family():
    numbers = {101: "head_angle", 105: "pivot_bore"}
    assert found({}, numbers=numbers) == []
    assert found({"number": "105"}, numbers=numbers) == [(2, "number", "number_of_another")]
    assert found({"number": "106"}, numbers=numbers) == [(2, "key", "key_has_number")]
    assert found({"key": "head_twist"}, numbers=numbers) == [(2, "number", "number_of_another")]


# --- documents ---------------------------------------------------------------------------------------------


def test_collects_drawings_and_specifications_once_each():
    plan = read(
        {"drawing": "AQ-FR200-05", "drawing_revision": "C"},
        attribute(102, drawing="AQ-FR200-05", drawing_revision="C"),
        attribute(103, drawing="spec:AQ-WS-07", drawing_revision="D"),
    )
    assert plan.findings == ()
    assert [(d.kind, d.number, d.revision) for d in plan.documents] == [
        ("drawing", "AQ-FR200-05", "C"),
        ("specification", "AQ-WS-07", "D"),
    ]


def test_refuses_a_drawing_cited_in_two_revisions():
    rows = {"drawing": "AQ-1", "drawing_revision": "C"}, attribute(102, drawing="AQ-1", drawing_revision="B")
    assert found(*rows) == [(3, "drawing_revision", "document_two_revisions")]


# --- formulas ----------------------------------------------------------------------------------------------


def derived(number, formula, **changes):
    return DERIVED | numbered(number) | {"formula": formula, "criticality": "major"} | changes


def test_refuses_a_formula_over_what_no_checkpoint_gives():
    assert found({}, derived(102, "head_angle + tail_angle")) == [(3, "formula", "unknown_name")]
    assert found({}, attribute(103, key="stamp"), derived(102, "head_angle + stamp")) == [
        (4, "formula", "unknown_name")
    ]


def test_refuses_readings_that_are_not_one_number():
    assert found({"readings": "3"}, derived(102, "head_angle * 2")) == [(3, "formula", "unknown_name")]


def test_names_the_way_round_a_circle_of_formulas():
    rows = derived(101, "checkpoint_102 + 1"), derived(102, "checkpoint_101 + 1")
    plan = read(*rows)
    assert [finding.code for finding in plan.findings] == ["cycle"]
    assert "checkpoint_101 → checkpoint_102" in plan.findings[0].message


def test_refuses_a_formula_that_would_wait_for_a_later_stage():
    later = {"stage_number": "2", "stage_name": "Later"}
    assert found(derived(102, "head_angle + 1"), later) == [(2, "formula", "formula_reads_later_stage")]
    assert found({}, derived(102, "head_angle + 1", **later)) == []


def test_refuses_a_formula_over_what_is_not_measured_on_every_unit():
    sampled = {"criticality": "minor", "frequency": "1 in 5"}
    assert found(sampled, derived(102, "head_angle + 1")) == [(3, "formula", "formula_reads_sampled")]
    assert found(sampled, derived(102, "head_angle + 1", frequency="1 in 5")) == []


def test_leaves_formulas_aside_while_a_row_they_may_read_is_wrong():
    assert found({"nominal": "x"}, derived(102, "head_angle + 1")) == [(2, "nominal", "value_not_a_number")]


# --- pairs -------------------------------------------------------------------------------------------------


def test_pairs_the_same_dimension_before_and_after():
    assert found({}, numbered(102, paired_with="head_angle")) == []
    assert found({"paired_with": "head_angle"}) == [(2, "paired_with", "paired_unknown")]
    assert found({"paired_with": "tail"}) == [(2, "paired_with", "paired_unknown")]
    millimetres = numbered(102, paired_with="head_angle", unit_of_measure="mm")
    assert found({}, millimetres) == [(3, "paired_with", "paired_differs")]
