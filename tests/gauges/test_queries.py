"""Which gauges may be used on which day."""

from __future__ import annotations

from datetime import UTC, date, datetime
from decimal import Decimal

import pytest

from qcapp.core.errors import NotFound
from qcapp.gauges import queries
from qcapp.gauges.models import Calibration, GaugeUse
from tests.factories.gauges import CalibrationFactory, GaugeFactory, GaugeKindFactory, GaugeUseFactory

pytestmark = pytest.mark.django_db


def state(gauge, day):
    return queries.gauge_state(gauge.pk, day)


def test_may_be_used_from_the_calibration_up_to_and_including_the_due_date():
    gauge = CalibrationFactory().gauge  # 2 January 2026 to 2 January 2027
    reasons = {
        date(2026, 1, 1): "gauge_never_calibrated",
        date(2026, 1, 2): "",
        date(2027, 1, 2): "",
        date(2027, 1, 3): "gauge_overdue",
    }
    assert {day: state(gauge, day).reason for day in reasons} == reasons
    assert state(gauge, date(2026, 5, 1)).expanded_uncertainty == Decimal("0.02")


def test_the_sentence_of_an_overdue_gauge_says_what_to_do():
    gauge = CalibrationFactory(gauge__number="C-014", due_on=date(2026, 5, 3)).gauge
    expected = "Gauge C-014 was due on 3 May 2026; choose another or record its calibration."
    assert state(gauge, date(2026, 5, 4)).sentence == expected


def test_a_later_calibration_counts_from_its_day_on():
    gauge = CalibrationFactory().gauge
    CalibrationFactory(gauge=gauge, done_on=date(2026, 6, 1), outcome=Calibration.Outcome.FAILED)
    assert state(gauge, date(2026, 5, 31)).usable
    assert state(gauge, date(2026, 6, 1)).reason == "gauge_failed"
    CalibrationFactory(gauge=gauge, done_on=date(2026, 6, 2))
    assert state(gauge, date(2026, 6, 2)).usable


def test_the_last_one_recorded_counts_among_two_of_one_day():
    gauge = CalibrationFactory().gauge
    CalibrationFactory(gauge=gauge, outcome=Calibration.Outcome.FAILED)
    assert state(gauge, date(2026, 1, 2)).reason == "gauge_failed"


def test_a_gauge_out_of_use_may_not_be_used_however_fresh_its_calibration():
    gauge = CalibrationFactory().gauge
    GaugeUseFactory(gauge=gauge)  # 1 March 2026
    assert state(gauge, date(2026, 2, 28)).usable
    assert state(gauge, date(2026, 3, 1)).reason == "gauge_out_of_use"
    GaugeUseFactory(gauge=gauge, kind=GaugeUse.Kind.BACK, at=datetime(2026, 3, 1, 12, tzinfo=UTC))
    assert state(gauge, date(2026, 3, 1)).usable


def test_the_eye_needs_no_calibration():
    assert state(GaugeFactory(needs_calibration=False), date(2026, 3, 1)).usable


def test_offers_usable_gauges_of_the_kinds_asked_for(fixed_now):
    CalibrationFactory(gauge__number="CA-02")
    CalibrationFactory(gauge__number="CA-01")
    CalibrationFactory(gauge__number="BG-01", gauge__kind=GaugeKindFactory(key="bore_gauge"))
    CalibrationFactory(gauge__number="CA-03", due_on=date(2026, 2, 1))
    GaugeFactory(number="CA-04")
    assert [card.number for card in queries.usable_gauges(["caliper"], fixed_now)] == ["CA-01", "CA-02"]
    assert queries.usable_gauges([], fixed_now) == []


def test_lists_overdue_gauges_first_then_others_that_may_not_be_used(fixed_now):
    CalibrationFactory(gauge__number="A-1", due_on=date(2027, 1, 1))
    CalibrationFactory(gauge__number="A-2", due_on=date(2026, 6, 1))
    GaugeFactory(number="A-3")
    CalibrationFactory(gauge__number="A-4", due_on=date(2026, 3, 1))
    GaugeUseFactory(gauge__number="A-5")
    CalibrationFactory(gauge__number="A-6", outcome=Calibration.Outcome.FAILED)
    cards = queries.all_gauges(fixed_now)
    assert [card.number for card in cards] == ["A-4", "A-6", "A-3", "A-5", "A-2", "A-1"]


def test_reads_many_states_in_one_query(django_assert_num_queries):
    gauges = [CalibrationFactory().gauge for _ in range(5)]
    with django_assert_num_queries(1):
        states = queries.gauge_states([gauge.pk for gauge in gauges], date(2026, 3, 1))
    assert [states[gauge.pk].usable for gauge in gauges] == [True] * 5
    with django_assert_num_queries(1):
        queries.all_gauges(datetime(2026, 3, 1, tzinfo=UTC))


def test_finds_a_gauge_by_its_label_whatever_the_case(fixed_now):
    CalibrationFactory(gauge__number="HG-07")
    assert queries.gauge_by_number(" hg-07 ", fixed_now).usable
    assert set(queries.gauges_by_number(["HG-07", "HG-08", "\0"], fixed_now)) == {"HG-07"}
    with pytest.raises(NotFound, match="There is no gauge HG-08"):
        queries.gauge_by_number("HG-08", fixed_now)
    with pytest.raises(NotFound):
        queries.gauge_state(0, date(2026, 3, 1))
