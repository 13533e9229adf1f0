"""What to look at before a plan goes to review: each thing is found where it is, and not where it is not."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from uuid import uuid4

import pytest

from qcapp.gauges.queries import GaugeCard
from qcapp.plans import before_review
from qcapp.plans.draft_cards import card_of
from qcapp.plans.gauge_fit import as_ratio, fits
from qcapp.plans.plan_rules import Numbering, read_plan
from tests.factories.plans import attribute, numbered, plan_text
from tests.plans.test_plan_rows import GAUGE_KINDS

SECOND = {"second_inspection": "yes"}


def gauge(number, kind, uncertainty, *, unit="°", step="0.01", reach="180", usable=True):
    return GaugeCard(
        id=1, uuid=uuid4(), number=number, kind_key=kind, kind_name=kind.replace("_", " ").capitalize(),
        description="", unit_of_measure=unit, range_lower=Decimal(0), range_upper=Decimal(reach),
        resolution=Decimal(step), interval_months=12, needs_calibration=True, due_on=date(2030, 1, 1), usable=usable,
        reason="", sentence="", expanded_uncertainty=Decimal(uncertainty),
    )  # fmt: skip


def cards(*rows):
    plan = read_plan(plan_text(*rows), gauge_kinds=GAUGE_KINDS, numbering=Numbering())
    assert plan.findings == ()
    return [card_of(one, position) for position, one in enumerate(plan.checkpoints, start=1)]


def found(*rows, gauges=()):
    made = cards(*rows)
    return [(one.number, one.code) for one in before_review.look_at(made, fits(made, gauges))]


@pytest.mark.parametrize(
    ("row", "code"),
    [
        ({}, "critical_without_second"),
        (SECOND | {"gauge_kinds": None}, "measured_without_gauge"),
        (SECOND | {"title": "New checkpoint"}, "title_not_written"),
        (SECOND | {"title": "Plate, flatness", "limits": "0 to 0.4", "nominal": "0.2", "unit_of_measure": "mm"},
         "natural_boundary_as_limit"),
        (attribute(101, title="Serial stamp", kind="record", form="serial FR-200-{number:4}"), "stamp_not_read_back"),
        (SECOND | {"title": "Weld W1, throat", "unit_of_measure": "mm"}, "weld_without_joint"),
        (SECOND | {"title": "Air test, end", "unit_of_measure": "kPa"}, "pressure_without_caution"),
        (attribute(101, title="Leak test passed"), "pressure_without_caution"),
        (SECOND | {"joint": "W1"}, "weld_without_qualification"),
        (attribute(101, after_weld_hours="24"), "no_unit_reaches"),
        (SECOND | {"readings": "3", "mean": "yes"}, "mean_counts"),
        (SECOND | {"unit_of_measure": "mm", "temperature": "corrected 11.5"}, "temperature_without_uncertainty"),
    ],
)  # fmt: skip
def test_finds_what_is_to_be_looked_at(row, code):
    assert found(row) == [(101, code)]


@pytest.mark.parametrize(
    "row",
    [
        SECOND,
        SECOND | {"title": "Plate, flatness", "limits": "flatness 0.4", "nominal": None, "unit_of_measure": "mm"},
        SECOND
        | {
            "title": "Weld W1, throat",
            "unit_of_measure": "mm",
            "joint": "W1",
            "instruction": "The welder's qualification covers it.",
        },
        SECOND | {"title": "Air test", "unit_of_measure": "kPa", "caution": "Stand aside."},
        attribute(101, title="Weld cleaned", criticality="minor"),
        attribute(101, title="VIN stamped", kind="record", form="text", photo="yes", **SECOND),
        attribute(101, title="Welder's stamp", kind="record", form="text"),
    ],
)
def test_finds_nothing_where_all_is_well(row):
    assert found(row) == []


def test_finds_titles_that_two_checkpoints_have():
    assert found(SECOND, attribute(102, title="Head angle")) == [(101, "title_twice"), (102, "title_twice")]


def test_finds_a_ratio_that_is_too_small_and_names_a_better_gauge():
    coarse, fine = gauge("AN-01", "angle_gauge", "0.05"), gauge("PR-02", "portable_arm", "0.01")
    made = cards(SECOND)
    fit = fits(made, [coarse, fine])["head_angle"]
    assert (fit.text, fit.enough, fit.better.number) == ("3.0 : 1", False, "PR-02")
    (finding,) = before_review.look_at(made, {"head_angle": fit})
    assert finding.message == (
        "101 Head angle has a test uncertainty ratio of 3.0 : 1 with AN-01; 4 : 1 is asked. "
        "PR-02 (portable arm) would give 15 : 1, if it suits."
    )
    assert (finding.key, finding.column) == ("head_angle", "gauge_kinds")


def test_takes_the_best_gauge_that_may_be_used_and_reaches_so_far():
    overdue, short = gauge("A", "angle_gauge", "0.001", usable=False), gauge("B", "angle_gauge", "0.001", reach="30")
    fit = fits(cards(SECOND), [overdue, short, gauge("C", "angle_gauge", "0.03"), gauge("D", "angle_gauge", "0.02")])
    assert (fit["head_angle"].gauge.number, fit["head_angle"].text) == ("D", "7.5 : 1")


def test_converts_the_uncertainty_into_the_plans_unit():
    row = SECOND | {"unit_of_measure": "in", "nominal": "1.000", "limits": "±0.010", "gauge_kinds": "caliper"}
    fit = fits(cards(row), [gauge("CA", "caliper", "0.0254", unit="mm")])
    assert fit["head_angle"].ratio == 10
    assert fits(cards(row), [gauge("XX", "caliper", "0.02", unit="kg")]) == {}


def test_counts_the_parts_temperature_into_the_ratio_where_the_plan_states_it():
    """600 ± 0.08 mm by U = 0.01 is 8 : 1. ± 1 µm/(m·K) over 10 K and ± 0.5 °C add 2·600·sqrt((1e-5)² + (5.75e-6)²)/√3 =
    0.00799 mm, together 0.0128 mm: 6.2 : 1.
    """
    long = {"unit_of_measure": "mm", "nominal": "600.00", "limits": "±0.08", "gauge_kinds": "caliper"}
    arm = [gauge("CA-01", "caliper", "0.01", unit="mm", reach="1000")]
    texts = []
    for temperature in ("corrected 11.5", "corrected 11.5 ±1 thermometer ±0.5"):
        made = cards(SECOND | long | {"temperature": temperature})
        texts.append(fits(made, arm)["head_angle"].text)
    assert texts == ["8.0 : 1", "6.2 : 1"]
    (finding,) = before_review.look_at(made, fits(made, arm, Decimal(10)))
    assert (
        "6.2 : 1 with CA-01 and ± 0.00800 mm from the temperature of a part 10 K from its reference;" in finding.message
    )


def test_finds_a_band_narrower_than_ten_steps_of_the_gauge():
    rows = [SECOND, numbered(102, criticality="major", limits="±0.6")]
    assert found(*rows, gauges=[gauge("AN", "angle_gauge", "0.01", step="0.1")]) == [(101, "resolution_too_coarse")]


@pytest.mark.parametrize(
    ("ratio", "text"), [("3.96", "3.9 : 1"), ("4", "4.0 : 1"), ("9.95", "10.0 : 1"), ("40.4", "40 : 1")]
)
def test_never_rounds_a_ratio_up_to_what_is_asked(ratio, text):
    assert as_ratio(Decimal(ratio)) == text


def test_every_check_has_a_test_here():
    tested = {"critical_without_second", "measured_without_gauge", "ratio_too_small", "resolution_too_coarse",
              "natural_boundary_as_limit", "stamp_not_read_back", "weld_without_joint", "pressure_without_caution",
              "weld_without_qualification", "no_unit_reaches", "mean_counts",
              "temperature_without_uncertainty"}  # fmt: skip
    assert {check.__name__ for check in before_review.CHECKS} == tested


def test_finds_a_checkpoint_that_is_computed_from_what_no_unit_has_together():
    rows = [
        numbered(101, variants="left", criticality="major"),
        numbered(102, variants="not left", criticality="major"),
        numbered(103, kind="derived", formula="checkpoint_101 - checkpoint_102", nominal="0", criticality="major",
                 gauge_kinds=None),
    ]  # fmt: skip
    assert (103, "no_unit_reaches") in found(*rows)
    rows[1]["variants"] = "not right"
    assert (103, "no_unit_reaches") not in found(*rows)


def test_says_how_much_a_finding_weighs():
    made = cards(attribute(101, title="Leak test passed"), numbered(102, gauge_kinds=None, criticality="major"))
    weights = {one.code: one.severity for one in before_review.look_at(made)}
    assert weights == {"pressure_without_caution": "warning", "measured_without_gauge": "advice"}
