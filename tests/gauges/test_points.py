"""Calibrations by points: pass or fail is computed, and how right the gauge was until then is told."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

import pytest

from qcapp.gauges import services
from qcapp.gauges.models import Calibration, CalibrationPoint
from qcapp.gauges.points import Point
from qcapp.gauges.queries import calibrations_of, gauge_by_number
from tests.factories.gauges import GaugeFactory
from tests.unchanged import refused


@pytest.fixture
def gauge(db):
    return GaugeFactory(number="HG-07", kind__key="height_gauge")


def point(reference="100", as_found="100.00", as_left=None, limit="0.03") -> Point:
    return Point(Decimal(reference), Decimal(as_found), None if as_left is None else Decimal(as_left), Decimal(limit))


def calibrate(cast, at, *points: Point, **changes):
    given = {"number": "HG-07", "done_on": date(2026, 3, 16), "done_by": "Metrology room"} | changes
    return services.record_calibration(by=cast.metrology, at=at, points=points, **given)


@pytest.mark.parametrize(
    ("points", "outcome", "found_out"),
    [
        ([point(as_found="100.03")], "passed", False),  # on the limit of error: within it
        ([point(as_found="99.969")], "failed", True),
        ([point(as_found="100.09", as_left="100.01")], "passed", True),
        ([point(), point("200", "200.05")], "failed", True),
        ([point(as_found="100.01", as_left="100.04")], "failed", False),
    ],
)
def test_computes_the_outcome_from_the_points(cast, fixed_now, gauge, points, outcome, found_out):
    card = calibrate(cast, fixed_now, *points)
    last = calibrations_of(gauge.pk)[0]
    assert (last.outcome, last.found_out) == (outcome, found_out)
    assert last.points == tuple(points)
    assert card.usable == (outcome == "passed")


@pytest.mark.parametrize(
    ("points", "code"),
    [
        ([point(limit="0")], "calibration_points"),
        ([point(as_found="NaN")], "calibration_points"),
        ([point()] * 61, "calibration_points"),
        ([point(), point()], "error_points_twice"),
        ([point("100", "100.5"), point("100.2", "100.1")], "error_points_crossed"),
    ],
)
def test_refuses_points_that_say_nothing(cast, fixed_now, gauge, points, code):
    with refused(code, "gauges"):
        calibrate(cast, fixed_now, *points)


def test_refuses_a_word_that_the_points_contradict(cast, fixed_now, gauge):
    with refused("calibration_outcome", "gauges"):
        calibrate(cast, fixed_now, point(as_found="101"), outcome="passed")
    with refused("calibration_outcome", "gauges"):
        calibrate(cast, fixed_now)


def test_is_typed_as_a_table_and_shown_again(cast, client_of, gauge):
    client = client_of(cast.metrology)
    typed = {
        "done_on": "2026-03-16", "done_by": "Metrology room", "outcome": "", "expanded_uncertainty": "0.01",
        "point_reference": ["0", "300", "", "600"], "point_as_found": ["0,00", "300.05", "", "600.02"],
        "point_as_left": ["", "300.01", "", ""], "point_limit": ["0.03", "0.03", "", "0,03"],
    }  # fmt: skip
    assert client.post("/gauges/HG-07/calibrations/", typed).status_code == 302
    page = client.get("/gauges/HG-07/").content.decode()
    for text in ("3 points, found out of tolerance", "300.05", "0.05", "What it has measured since"):
        assert text in page
    assert gauge_by_number("HG-07").usable
    assert CalibrationPoint.objects.count() == 3


@pytest.mark.parametrize(
    ("row", "sentence"),
    [
        (("100", "", "", "0.03"), "Point 1 needs the reference value"),
        (("100", "12,3,4", "", "0.03"), "Point 1:"),
        (("100", "100.01", "", "0"), "must be above zero"),
    ],
)
def test_keeps_what_was_typed_when_a_point_cannot_be_read(cast, client_of, gauge, row, sentence):
    names = ("point_reference", "point_as_found", "point_as_left", "point_limit")
    typed = dict(zip(names, row, strict=True)) | {"done_on": "2026-03-16", "done_by": "M", "outcome": ""}
    answer = client_of(cast.metrology).post("/gauges/HG-07/calibrations/", typed)
    assert answer.status_code == 400
    page = answer.content.decode()
    assert sentence in page
    assert 'value="100"' in page
    assert not Calibration.objects.exists()
