"""The check of effect: before against after, the cluster left out, checked against scipy from the raw answers."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from scipy import stats

from qcapp.improvement.pictures.compared import shares_picture, values_picture
from qcapp.improvement.queries.effect import Effect, effect_of
from qcapp.inspections.models import Result

from ..cast import FIXED_NOW
from ..factories.improvement import Led, frame
from ..factories.inspections import Workshop
from ..factories.nonconformance import Case
from ..unchanged import refused

pytestmark = pytest.mark.django_db
SINCE = date(2026, 3, 24)
NOW = FIXED_NOW + timedelta(days=14)
# Frames from before, besides the three that triggered the action: two of eight out of band.
BEFORE = ("62.30", "62.25", "62.12", "62.10", "62.14", "62.09", "62.11", "62.13")
AFTER = ("62.01", "61.99", "62.02", "62.00", "61.98", "62.03", "62.00", "62.01")


def played(workshop: Workshop, after: tuple[str, ...], units: int = 5, before: tuple[str, ...] = BEFORE) -> Led:
    """An action watched since SINCE, with units from before and after it."""
    led = Led.opened(workshop).acting().done()
    for place, value in enumerate(before):
        frame(workshop, 100 + place, value, FIXED_NOW + timedelta(days=1))
    led.watch(SINCE, at=NOW, units=units)
    for place, value in enumerate(after):
        frame(workshop, 200 + place, value, FIXED_NOW + timedelta(days=8))
    return led


def effect(led: Led) -> Effect:
    found = effect_of(led.number)
    assert found is not None
    return found


def test_has_no_effect_before_it_has_a_day(led: Led) -> None:
    assert effect_of(led.number) is None


def test_says_how_many_units_are_missing(thrice: Workshop) -> None:
    led = played(thrice, AFTER[:3], units=40)
    found = effect(led)
    assert (found.code, found.sentence) == ("not_enough", "Not enough units yet: 3 of 40.")
    with refused("effect_not_enough", "improvement"):
        led.close(NOW)


def test_leaves_the_cluster_out_that_triggered_it(thrice: Workshop) -> None:
    found = effect(played(thrice, AFTER))
    assert (found.before.found, found.before.of, found.left_out) == (2, 8, 3)
    assert (found.after.found, found.after.of) == (0, 8)


def test_compares_as_scipy_does_on_the_raw_answers(thrice: Workshop) -> None:
    led = played(thrice, AFTER)
    found = effect(led)
    cluster = set(led.view.reports and [one.serial for one in led.view.reports])
    rows = Result.objects.filter(characteristic__key="head_angle").select_related("item__unit")
    kept = [row for row in rows if row.item.unit.serial not in cluster]
    sides = [[row for row in kept if (row.recorded_at.date() >= SINCE) == after] for after in (False, True)]
    out = [sum(row.outcome == "out_of_band" for row in side) for side in sides]
    table = [[out[1], len(sides[1]) - out[1]], [out[0], len(sides[0]) - out[0]]]
    assert found.shares is not None
    assert found.means is not None
    assert found.shares.p_value == pytest.approx(stats.fisher_exact(table).pvalue)
    welch = stats.ttest_ind([row.plot for row in sides[1]], [row.plot for row in sides[0]], equal_var=False)
    assert found.means.p_value == pytest.approx(welch.pvalue)
    interval = welch.confidence_interval(0.95)
    assert (found.means.change.lower, found.means.change.upper) == pytest.approx((interval.low, interval.high))
    assert found.means_sentence.startswith("The mean changed: 62.155 before, 62.005 ° since")


def test_does_not_call_chance_an_effect(thrice: Workshop) -> None:
    found = effect(played(thrice, AFTER))
    assert found.code == "not_told"
    assert "2 of 8 before (25.0 %), 0 of 8 since (0.0 %)" in found.sentence
    assert found.sentence.endswith("That cannot be told from chance.")


def test_says_that_it_helped_when_chance_hardly_does_as_much(thrice: Workshop) -> None:
    before = ("62.30", "62.25", "62.31", "62.28", "62.14", "62.26", "62.11", "62.29")
    led = played(thrice, AFTER, before=before)
    found = effect(led)
    assert (found.code, found.before.found) == ("better", 6)
    led.close(NOW)
    kept = led.view.moves[-1]
    assert (kept.name, kept.signed, kept.data["effect"]) == ("close", True, "better")
    assert kept.data["sentence"] == found.sentence


def test_refuses_to_close_what_made_it_worse(thrice: Workshop) -> None:
    led = played(
        thrice, ("62.40",) * 8, before=("62.00", "62.01", "62.02", "61.99", "62.00", "62.01", "62.03", "62.02")
    )
    assert effect(led).code == "worse"
    with refused("effect_worse", "improvement"):
        led.close(NOW)
    assert led.look_again(NOW).state == "open"


def test_needs_a_unit_from_before_to_compare_with(thrice: Workshop) -> None:
    found = effect(played(thrice, AFTER, before=()))
    assert (found.code, found.before.of) == ("not_enough", 0)
    assert "No unit from before" in found.sentence


def test_does_not_count_what_waits_for_a_second_inspection(workshop: Workshop) -> None:
    for place in range(3):
        Case.out_of_band(workshop.another_unit(f"FR-200-{20 + place:04}"), "throat_w7", "2.1")
    led = Led.opened(workshop, value=str(workshop.card("throat_w7").characteristic_id)).acting().done()
    led.watch(SINCE, at=NOW, units=2)
    for place in range(3):
        unit = workshop.another_unit(f"FR-200-{30 + place:04}")
        unit.at = NOW
        unit.send(unit.operation("throat_w7", "3.4"), at=NOW)
    assert effect(led).after.of == 0


def test_counts_a_joint_s_units_by_any_of_its_checkpoints(workshop: Workshop) -> None:
    for place in range(3):
        Case.out_of_band(workshop.another_unit(f"FR-200-{20 + place:04}"), "pores", {"count": 9})
    led = Led.opened(workshop, basis="joint", value="W7").acting().done()
    led.watch(SINCE, at=NOW, units=2)
    for place, pores in enumerate((0, 1, 8)):
        unit = workshop.another_unit(f"FR-200-{30 + place:04}")
        unit.at = NOW
        unit.send(unit.operation("pores", {"count": pores}), at=NOW)
    found = effect(led)
    assert (found.after.found, found.after.of, found.left_out) == (1, 3, 3)


def test_counts_a_cause_by_the_units_opened(workshop: Workshop) -> None:
    for place in range(3):
        Case.out_of_band(workshop.another_unit(f"FR-200-{20 + place:04}")).decide(cause="method")
    led = Led.opened(workshop, basis="cause", value="method").acting().done()
    found = effect(led.watch(FIXED_NOW.date(), at=NOW, units=2))
    assert (found.after.found, found.after.of, found.left_out) == (0, 1, 3)  # FR-200-0147 itself


def test_draws_both_sides_and_nothing_without_units(thrice: Workshop) -> None:
    found = effect(played(thrice, AFTER))
    shares, values = shares_picture(found), values_picture(found)
    assert "2 of 8" in shares
    assert "0 of 8" in shares
    assert values.count("<circle") == 16
    assert "62.155" in values
    assert "style=" not in shares + values
