"""One row of a plan file into one checkpoint, or every cell of it that cannot be meant so."""

from __future__ import annotations

import json

import pytest

from qcapp.core.checkpoints.kinds import KINDS
from qcapp.lib.spoken import said_in
from qcapp.plans.plan_rows import SETUPS
from qcapp.plans.plan_rules import Numbering, read_plan
from tests.factories.gauges import kinds_asked_for
from tests.factories.plans import attribute, numbered, plan_text

GAUGE_KINDS = kinds_asked_for()

COUNT = {"kind": "count", "nominal": None, "limits": "max 2", "decimals": None, "unit_of_measure": "pores"}
RECORD = attribute(101, kind="record", form="heat")
DERIVED = numbered(102, kind="derived", nominal="0", limits="±0.2", formula="head_angle - 62", gauge_kinds=None)


def read(*rows):
    return read_plan(plan_text(*rows), gauge_kinds=GAUGE_KINDS, numbering=Numbering())


def found(*rows):
    return [(finding.column, finding.code) for finding in read(*rows).findings]


def spec_of(*rows):
    plan = read(*rows)
    assert plan.findings == ()
    return json.loads(plan.checkpoints[-1].specified)


# --- what is specified -------------------------------------------------------------------------------------


def test_computes_the_limits_of_a_notation_and_keeps_the_notation():
    spec = spec_of({"nominal": "30", "limits": "H7", "unit_of_measure": "mm", "decimals": "3"})
    assert (spec["lower"], spec["upper"], spec["notation"]) == ("30", "30.021", "H7")
    assert "ISO 286" in spec["source"]


def test_takes_limits_as_numbers_with_a_guard():
    spec = spec_of({"limits": None, "lower": "61.85", "upper": "62,15", "guard": "0.02"})
    assert (spec["lower"], spec["upper"], spec["guard"], spec["notation"]) == ("61.85", "62.15", "0.02", None)


def test_takes_limits_beside_a_notation_that_agrees_with_them():
    assert spec_of({"lower": "61.85", "upper": "62.15"})["source"] == "as drawn"
    assert found({"lower": "61.80", "upper": "62.15"}) == [("lower", "limits_disagree")]


def test_records_a_value_for_reference_without_limits():
    assert spec_of({"nominal": None, "limits": "reference"})["reference"] is True


def test_counts_have_a_highest_and_a_lowest_number():
    assert spec_of(COUNT) == {"accept": 2, "at_least": None, "counted": "pores"}
    assert spec_of(COUNT | {"limits": "min 6"})["at_least"] == 6
    assert spec_of(COUNT | {"limits": None, "lower": "31", "upper": "31"})["accept"] == 31
    assert found(COUNT | {"upper": "3"}) == [("limits", "limits_disagree")]
    assert found(COUNT | {"limits": "a few"}) == [("limits", "count_limit_unreadable")]
    assert found(COUNT | {"limits": None}) == [("upper", "field_missing")]


def test_records_have_a_form_and_serials_a_pattern():
    assert spec_of(RECORD)["form"] == "heat"
    assert spec_of(RECORD | {"form": "serial FR-200-{number:4}"})["pattern"] == "FR-200-{number:4}"
    assert found(RECORD | {"form": "poem"}) == [("form", "form_unknown")]
    assert found(RECORD | {"form": "heat FR-{number:4}"}) == [("form", "pattern_not_here")]


def test_derived_values_have_a_formula():
    assert spec_of({}, DERIVED)["formula"] == "head_angle - 62"
    assert found({}, DERIVED | {"formula": None}) == [("formula", "field_missing")]
    assert found({}, DERIVED | {"formula": "2 + 2"}) == [("formula", "formula_constant")]


def test_one_more_spelling_of_a_unit_means_the_same():
    assert (
        spec_of({"nominal": "35", "limits": "±3", "unit_of_measure": "Nm", "decimals": "0"})["unit_of_measure"] == "N·m"
    )
    assert spec_of({"limits": "±3", "unit_of_measure": "μm"})["unit_of_measure"] == "µm"


@pytest.mark.parametrize("setup", SETUPS)
def test_takes_every_set_up_in_words(setup):
    assert read({"setup": setup.replace("_", " ").upper()}).checkpoints[0].setup == setup


# --- what is refused ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("changes", "expected"),
    [
        ({"kind": "measure"}, ("kind", "word_unknown")),
        ({"kind": None}, ("kind", "word_unknown")),
        ({"criticality": "very"}, ("criticality", "word_unknown")),
        ({"setup": "upside down"}, ("setup", "word_unknown")),
        ({"second_inspection": "maybe"}, ("second_inspection", "word_unknown")),
        ({"hold_point": "maybe"}, ("hold_point", "word_unknown")),
        ({"number": "0"}, ("number", "number_unreadable")),
        ({"number": "1e3"}, ("number", "number_unreadable")),
        ({"number": "٣"}, ("number", "number_unreadable")),
        ({"stage_number": None}, ("stage_number", "number_unreadable")),
        ({"key": "Head angle"}, ("key", "key_unreadable")),
        ({"key": "min"}, ("key", "key_unreadable")),
        ({"title": None}, ("title", "cell_missing")),
        ({"stage_name": None}, ("stage_name", "cell_missing")),
        ({"title": "x" * 121}, ("title", "cell_too_long")),
        ({"caution": "x" * 401}, ("caution", "cell_too_long")),
        ({"gauge_kinds": "angle_guage"}, ("gauge_kinds", "gauge_kind_unknown")),
        ({"frequency": "1 in 5"}, ("frequency", "critical_sampled")),
        ({"frequency": "first of batch"}, ("frequency", "critical_sampled")),
        ({"frequency": "sometimes"}, ("frequency", "frequency_not_understood")),
        ({"joint": "7"}, ("joint", "joint_unreadable")),
        ({"drawing": "AQ-1"}, ("drawing_revision", "document_without_revision")),
        ({"drawing_revision": "C"}, ("drawing", "document_without_number")),
        ({"unit_of_measure": "cubits"}, ("unit_of_measure", "unit_unknown")),
        ({"nominal": "sixty"}, ("nominal", "value_not_a_number")),
        ({"nominal": "1.000,5"}, ("nominal", "value_two_marks")),
        ({"nominal": '1/2"'}, ("nominal", "value_fraction")),
        ({"nominal": "NaN"}, ("nominal", "value_not_a_number")),
        ({"nominal": "1" * 40}, ("nominal", "value_too_long")),
        ({"decimals": "two"}, ("decimals", "number_unreadable")),
        ({"decimals": "10"}, ("decimals", "field_out_of_range")),
        ({"readings": "0"}, ("readings", "field_out_of_range")),
        ({"limits": "about right"}, ("limits", "notation_unknown")),
        ({"limits": None}, ("lower", "limits_missing")),
        ({"limits": "ISO 2768-m", "nominal": None, "unit_of_measure": "mm"}, ("limits", "nominal_missing")),
        ({"limits": "reference"}, ("nominal", "reference_with_limits")),
        ({"limits": None, "lower": "62.2", "upper": "62.1"}, ("lower", "limits_crossed")),
        ({"guard": "0.2"}, ("guard", "guard_swallows_band")),
        ({"formula": "a + b"}, ("formula", "column_not_for_kind")),
        ({"form": "heat"}, ("form", "column_not_for_kind")),
    ],
)
def test_names_the_cell_that_cannot_be_meant_so(changes, expected):
    plan = read(changes)
    assert [(finding.column, finding.code) for finding in plan.findings] == [expected]
    assert plan.findings[0].message.endswith((".", "?"))
    assert plan.findings[0].line == 2


def test_keeps_the_words_of_a_plan_file_english_in_every_language():
    told = said_in("de", read({"kind": "recorded"}).findings[0].message)
    assert told.startswith("Art “recorded” ist nicht bekannt; schreiben Sie “measured”, “attribute”, “count”")


def test_names_every_cell_of_a_row_at_once():
    changes = {
        "kind": "measured",
        "number": "x",
        "key": "X",
        "nominal": "x",
        "decimals": "x",
        "gauge_kinds": "x",
        "joint": "x",
    }
    expected = ["decimals", "gauge_kinds", "joint", "key", "nominal", "number"]
    assert [column for column, _ in found(changes)] == expected


@pytest.mark.parametrize("kind", [kind for kind in KINDS if kind != "measured"])
def test_refuses_limits_of_a_gauge_where_the_kind_has_none(kind):
    columns = [column for column, code in found({"kind": kind, "readings": "3"}) if code == "column_not_for_kind"]
    assert "readings" in columns


def test_an_unknown_gauge_is_answered_with_one_like_it():
    assert "did you mean bore_gauge" in read({"gauge_kinds": "bore_guage"}).findings[0].message


def test_takes_several_kinds_of_gauge_once_each():
    assert read({"gauge_kinds": "angle_gauge; portable_arm;angle_gauge"}).checkpoints[0].gauge_kinds == (
        "angle_gauge",
        "portable_arm",
    )
