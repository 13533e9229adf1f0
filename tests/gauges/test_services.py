"""Adding, calibrating and retiring gauges."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

import pytest

from qcapp.audit.queries import entries_about
from qcapp.gauges import services
from qcapp.gauges.models import Gauge
from qcapp.gauges.queries import calibrations_of, gauge_by_number
from qcapp.lib.site_days import months_later
from tests.factories.gauges import CalibrationFactory, GaugeFactory, GaugeKindFactory, GaugeUseFactory
from tests.unchanged import refused


def calibrate(cast, at, **changes):
    values = {
        "number": "HG-07",
        "done_on": date(2026, 3, 16),
        "outcome": "passed",
        "done_by": "Metrology room",
    } | changes
    return services.record_calibration(by=cast.metrology, at=at, **values)


def add(cast, at, **changes):
    values = {"number": "HG-07", "kind_key": "height_gauge"} | changes
    return services.add_gauge(by=cast.metrology, at=at, **values)


@pytest.fixture
def gauge(db):
    return GaugeFactory(number="HG-07", kind__key="height_gauge")


# --- adding ------------------------------------------------------------------------------------------------


def test_adds_a_gauge_that_may_be_used_after_a_calibration(cast, fixed_now):
    GaugeKindFactory(key="height_gauge")
    card = add(cast, fixed_now, range_lower=Decimal("0"), range_upper=Decimal("600"), resolution=Decimal("0.010"))
    assert (card.number, card.range_text, str(card.resolution)) == ("HG-07", "0 to 600", "0.010")
    assert (card.usable, card.reason) == (False, "gauge_never_calibrated")
    assert [entry.verb for entry in entries_about("gauge HG-07")] == ["gauge.added"]


@pytest.mark.parametrize("number", ["HG-07", "hg-07"])
def test_refuses_two_gauges_with_one_number(cast, fixed_now, gauge, number):
    with refused("gauge_number_taken", "gauges"):
        add(cast, fixed_now, number=number)


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"number": "HG 07"}, "gauge_number"),
        ({"number": "HG\0"}, "gauge_number"),
        ({"number": ""}, "gauge_number"),
        ({"number": "A" * 21}, "gauge_number"),
        ({"kind_key": "divining_rod"}, "gauge_kind_unknown"),
        ({"kind_key": "\0"}, "gauge_kind_unknown"),
        ({"range_lower": Decimal(5), "range_upper": Decimal(5)}, "gauge_range"),
        ({"range_lower": Decimal("NaN")}, "gauge_range"),
        ({"resolution": Decimal(0)}, "gauge_resolution"),
        ({"interval_months": 0}, "gauge_interval"),
        ({"description": "x" * 121}, "text_too_long"),
        ({"unit_of_measure": "m\0m"}, "text_not_plain"),
    ],
)
def test_refuses_a_gauge_that_cannot_be_meant_so(cast, fixed_now, changes, code):
    GaugeKindFactory(key="height_gauge")
    with refused(code, "gauges"):
        add(cast, fixed_now, **changes)


def test_adds_a_kind_that_plans_can_ask_for(cast, fixed_now):
    card = services.add_kind(by=cast.quality_manager, key="bore_gauge", name="Bore gauge", at=fixed_now)
    assert (card.key, card.name) == ("bore_gauge", "Bore gauge")


@pytest.mark.parametrize(
    ("key", "name", "code"),
    [
        ("caliper", "Another caliper", "gauge_kind_taken"),
        ("Bore gauge", "Bore gauge", "gauge_kind_key"),
        ("bore_gauge", " ", "text_missing"),
    ],
)
def test_refuses_a_kind_that_is_there_or_has_no_key(cast, fixed_now, key, name, code):
    GaugeKindFactory(key="caliper")
    with refused(code, "gauges"):
        services.add_kind(by=cast.metrology, key=key, name=name, at=fixed_now)


def test_is_never_deleted_or_renumbered(gauge):
    with refused("write_once", "gauges"):
        gauge.delete()
    with refused("write_once", "gauges"):
        Gauge.objects.filter(pk=gauge.pk).update(number="HG-08")


# --- calibrating -------------------------------------------------------------------------------------------


def test_records_a_calibration_that_is_due_after_the_gauges_interval(cast, fixed_now, gauge):
    card = calibrate(cast, fixed_now, expanded_uncertainty=Decimal("0.010"), certificate="C-88")
    assert card.usable
    assert card.due_on == date(2027, 3, 16)
    assert str(card.expanded_uncertainty) == "0.010"
    assert calibrations_of(card.id)[0].recorded_by_name == cast.metrology.name
    assert entries_about("gauge HG-07")[0].verb == "gauge.calibrated"


def test_a_month_without_such_a_day_ends_earlier():
    assert months_later(date(2026, 8, 31), 6) == date(2027, 2, 28)
    assert months_later(date(2027, 8, 31), 6) == date(2028, 2, 29)
    assert months_later(date(2026, 12, 5), 1) == date(2027, 1, 5)


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"done_on": date(2026, 3, 18)}, "calibration_in_future"),
        ({"due_on": date(2026, 3, 16)}, "calibration_due_date"),
        ({"outcome": "fine"}, "calibration_outcome"),
        ({"expanded_uncertainty": Decimal("-0.01")}, "calibration_uncertainty"),
        ({"expanded_uncertainty": Decimal("Infinity")}, "calibration_uncertainty"),
        ({"done_by": ""}, "text_missing"),
        ({"number": "HG-99"}, "gauge_unknown"),
        ({"number": "HG\0"}, "gauge_unknown"),
    ],
)
def test_refuses_a_calibration_that_cannot_be_meant_so(cast, fixed_now, gauge, changes, code):
    with refused(code, "gauges"):
        calibrate(cast, fixed_now, **changes)


def test_takes_the_day_of_the_workshop_not_of_utc(cast, fixed_now, gauge):
    late = fixed_now.replace(hour=23, minute=30)  # half past midnight of the 18th in the workshop
    assert calibrate(cast, late, done_on=date(2026, 3, 18)).usable


# --- out of use and back -----------------------------------------------------------------------------------


def test_takes_a_gauge_out_of_use_and_puts_it_back(cast, fixed_now, gauge):
    CalibrationFactory(gauge=gauge)
    out = services.take_out_of_use(by=cast.metrology, number="HG-07", reason="jaws bent", at=fixed_now)
    assert (out.reason, "jaws bent" in out.sentence) == ("gauge_out_of_use", True)
    back = services.put_back_in_use(by=cast.metrology, number="HG-07", reason="straightened", at=fixed_now)
    assert back.usable
    assert len(entries_about("gauge HG-07")) == 2


def test_refuses_to_take_out_what_is_out_and_to_put_back_what_is_in(cast, fixed_now, gauge):
    with refused("gauge_not_out_of_use", "gauges"):
        services.put_back_in_use(by=cast.metrology, number="HG-07", reason="found", at=fixed_now)
    GaugeUseFactory(gauge=gauge)
    with refused("gauge_already_out_of_use", "gauges"):
        services.take_out_of_use(by=cast.metrology, number="HG-07", reason="lost", at=fixed_now)
    with refused("text_missing", "gauges"):
        services.put_back_in_use(by=cast.metrology, number="HG-07", reason=" ", at=fixed_now)


@pytest.mark.parametrize("who", ["inspector", "engineer", "keeper"])
def test_refuses_who_does_not_keep_gauges(cast, fixed_now, gauge, who):
    person = getattr(cast, who)
    reasons = {"number": "HG-07", "reason": "no", "at": fixed_now}
    with refused("not_permitted", "gauges"):
        services.take_out_of_use(by=person, **reasons)
    with refused("not_permitted", "gauges"):
        services.add_kind(by=person, key="rod", name="Rod", at=fixed_now)
    with refused("not_permitted", "gauges"):
        services.add_gauge(by=person, number="X-1", kind_key="height_gauge", at=fixed_now)
    with refused("not_permitted", "gauges"):
        services.record_calibration(
            by=person, number="HG-07", done_on=date(2026, 3, 1), outcome="passed", done_by="me", at=fixed_now
        )
    assert gauge_by_number("HG-07", fixed_now).reason == "gauge_never_calibrated"
