"""The demonstration's plans: complete, credible, and their limits those of the standards.

Limits are computed here once more from the tables in `tests/vectors`, whose rows name their sources:
ISO 286-1:2010 (fits.json), ISO 2768-1:1989 and ISO 13920:2023 (general_tolerances.json).
"""

from __future__ import annotations

import json
from collections import Counter
from decimal import Decimal
from pathlib import Path

import pytest

from qcapp.core.checkpoints.kinds import KINDS
from qcapp.plans import before_review
from qcapp.plans.draft_cards import card_of
from qcapp.plans.plan_rules import Numbering, read_plan
from tests.factories.plans import FIXTURES
from tests.plans.test_plan_rows import GAUGE_KINDS

VECTORS = Path(__file__).resolve().parents[1] / "vectors"
FITS = json.loads((VECTORS / "fits.json").read_text(encoding="utf-8"))
GENERAL = json.loads((VECTORS / "general_tolerances.json").read_text(encoding="utf-8"))["tables"]
PLANS = {
    file.stem: read_plan(file.read_bytes(), gauge_kinds=GAUGE_KINDS, numbering=Numbering())
    for file in sorted(FIXTURES.glob("*.csv"))
}
ROWS = [
    pytest.param(checkpoint, id=f"{family} {checkpoint.number} {checkpoint.row.cells['limits']}")
    for family, plan in PLANS.items()
    for checkpoint in plan.checkpoints
    if checkpoint.row.cells["limits"] in {"H7", "H8", "N7", "g6", "h6", "k6"}
    or checkpoint.row.cells["limits"].startswith("ISO ")
]
FR200 = PLANS["FR-200"].checkpoints
BY_KEY = {checkpoint.key: checkpoint for checkpoint in FR200}


def size_row(rows, nominal):
    return next(row for row in rows if Decimal(row["size_over_mm"]) < nominal <= Decimal(row["size_up_to_mm"]))


def fit(nominal, letter, grade):
    """Lower and upper deviation in µm: fundamental deviation and width of the grade (ISO 286-1:2010)."""
    width = Decimal(size_row(FITS["it_grades"], nominal)[f"IT{grade}"])
    row = size_row(FITS["fundamental_deviations"], nominal)
    if letter == "H":
        return Decimal(0), width
    if letter in ("g", "h"):
        upper = Decimal(row[f"{letter}_es"])
        return upper - width, upper
    if letter == "k":
        lower = Decimal(row["k_ei_IT4_to_IT7"])
        return lower, lower + width
    upper = Decimal(row["N_ES_base_to_IT8"]) + Decimal(size_row(FITS["deltas"], nominal)[f"IT{grade}"])
    return upper - width, upper


def general(standard, letter, nominal):
    """The permitted deviation in mm for a size."""
    rows = [
        row for row in GENERAL if (row["standard"], row["kind"], row["tolerance_class"]) == (standard, "linear", letter)
    ]
    return next(Decimal(row["amount"]) for row in rows if Decimal(row["over"]) < nominal <= Decimal(row["to"]))


@pytest.mark.parametrize("checkpoint", ROWS)
def test_limits_are_those_of_the_standards_tables(checkpoint):
    nominal, notation = Decimal(checkpoint.row.cells["nominal"]), checkpoint.row.cells["limits"]
    if notation.startswith("ISO "):
        standard, _, letter = notation.rpartition("-")
        amount = general(standard, letter, nominal)
        expected = nominal - amount, nominal + amount
    else:
        lower, upper = fit(nominal, notation[0], int(notation[1:]))
        expected = nominal + lower / 1000, nominal + upper / 1000
    assert (checkpoint.spec.band.lower, checkpoint.spec.band.upper) == expected


def test_checks_at_least_ten_rows_against_the_tables():
    assert len(ROWS) >= 10
    assert len({row.values[0].row.cells["limits"] for row in ROWS}) >= 8


def test_the_pivots_clearance_is_that_of_the_fit():
    """30 H7/g6: 7 to 41 µm (ISO 286-1:2010, smallest EI - es, largest ES - ei)."""
    bore, spindle = fit(Decimal(30), "H", 7), fit(Decimal(30), "g", 6)
    band = BY_KEY["pivot_clearance"].spec.band
    assert (band.lower, band.upper) == (bore[0] - spindle[1], bore[1] - spindle[0])


@pytest.mark.parametrize("family", PLANS)
def test_every_plan_is_right_and_says_that_it_is_invented(family):
    plan = PLANS[family]
    assert plan.findings == ()
    assert "Invented" in (FIXTURES / f"{family}.csv").read_text(encoding="utf-8").splitlines()[0]
    assert all(len(checkpoint.title) <= 60 for checkpoint in plan.checkpoints)
    assert all(checkpoint.caution.endswith(".") for checkpoint in plan.checkpoints if checkpoint.caution)


def test_the_frame_plan_has_its_nine_stages():
    counts = Counter(checkpoint.stage_number for checkpoint in FR200)
    stages = [(stage.number, stage.name, counts[stage.number]) for stage in PLANS["FR-200"].stages]
    assert stages == [
        (1, "Tube kit", 22), (2, "Tack-up", 21), (3, "Finish weld", 34), (4, "Weld inspection", 26),
        (5, "Alignment", 18), (6, "Tank tests", 8), (7, "Trial assembly", 24), (8, "Finish", 7),
        (9, "Release", 4),
    ]  # fmt: skip
    assert [stage.number for stage in PLANS["FR-200"].stages if stage.hold_point] == [2, 4, 6]
    assert all(checkpoint.number // 100 == checkpoint.stage_number for checkpoint in FR200)


def test_the_frame_plan_has_every_kind_unit_of_measure_and_frequency():
    assert {checkpoint.kind for checkpoint in FR200} == set(KINDS)
    units = {getattr(checkpoint.spec, "unit_of_measure", "") for checkpoint in FR200}
    assert units >= {"mm", "°", "N·m", "kPa", "µm"}
    assert {checkpoint.frequency for checkpoint in FR200} == {"every", "1 in 5", "first of batch"}


def test_each_joint_of_the_frame_is_inspected_and_critical_welds_by_a_second_person():
    joints = [checkpoint for checkpoint in FR200 if checkpoint.stage_number == 4 and checkpoint.joint]
    assert [checkpoint.joint for checkpoint in joints] == [f"W{number}" for number in range(1, 25)]
    assert all(checkpoint.second_inspection for checkpoint in joints if checkpoint.criticality == "critical")


@pytest.mark.parametrize("family", sorted(PLANS.keys() - {"TK-200", "MG-5"}))  # heat mark alone, and an etched number
def test_the_stamp_is_read_back_against_the_tag_by_a_second_person_with_a_photo(family):
    (stamp,) = [one for one in PLANS[family].checkpoints if one.key == "serial_read_back"]
    assert (stamp.kind, stamp.second_inspection, stamp.photo) == ("record", True, True)
    assert stamp.spec.pattern == f"{family}-{{number:4}}"
    assert stamp.method == "stamp against the tag"
    cards = [card_of(one, place) for place, one in enumerate(PLANS[family].checkpoints, start=1)]
    assert "stamp_not_read_back" not in {one.code for one in before_review.look_at(cards)}


def test_pressure_tests_heat_and_heavy_units_carry_their_caution():
    for key, word in {
        "leak_start": "Stored energy", "leak_end": "Stored energy", "proof_pressure": "liquid",
        "fuel_tank_serial": "Hot work", "steering_free": "Heavy unit", "notch_gap": "Sharp edges",
        "coating_tubes": "Coating", "preheat": "Hot part",
    }.items():  # fmt: skip
        assert word in BY_KEY[key].caution


def test_dimensions_before_and_after_welding_are_paired_under_the_same_set_up():
    pairs = [(checkpoint, BY_KEY[checkpoint.paired_with]) for checkpoint in FR200 if checkpoint.paired_with]
    assert len(pairs) >= 8
    for after, before in pairs:
        assert before.stage_number == 2
        assert after.stage_number == 5
        assert (before.setup, before.frequency) == (after.setup, after.frequency)


def test_the_nominal_trail_lies_in_its_band():
    """Trail = (R cos h - offset) / sin h, the head angle h taken from the horizontal (plain geometry)."""
    trail = KINDS["derived"].compute(
        BY_KEY["trail"].spec, {"head_angle": Decimal("62.00"), "fork_yoke_offset": Decimal("45.0")}
    )
    band = BY_KEY["trail"].spec.band
    assert abs(trail.value - band.nominal) < 1
