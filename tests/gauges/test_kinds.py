"""Each kind of gauge with its own questions, from being added to being calibrated; and a gauge that is retired."""

from __future__ import annotations

from decimal import Decimal

import pytest

from qcapp.audit.queries import entries_about
from qcapp.gauges import services
from qcapp.gauges.due import due_list
from qcapp.gauges.forms import usual_point
from qcapp.gauges.models import Calibration, CalibrationPoint, Gauge
from qcapp.gauges.points import Point
from qcapp.gauges.queries import calibrations_of, gauge_by_number, gauge_kinds, usable_gauges
from qcapp.gauges.usual_kinds import PROFILES, USUAL_KINDS, profile_of
from tests.factories.gauges import CalibrationFactory, GaugeFactory
from tests.unchanged import refused, unchanged

# The kinds that the registry is to know, in the words of the task.
WANTED = {
    "caliper", "micrometer", "bore gauge", "height gauge", "angle gauge", "weld gauge", "dial indicator",
    "feeler gauge", "thread gauge", "torque wrench", "pressure gauge", "coating thickness gauge",
    "ultrasonic wall gauge", "hardness tester", "contact thermometer", "surface plate", "setting master",
    "alignment bar", "go/no-go gauge", "portable measuring arm",
}  # fmt: skip
SHOWS_NOTHING = {"thread_gauge", "surface_plate", "setting_master", "alignment_bar", "go_no_go_gauge"}


def test_knows_the_twenty_kinds_and_which_of_them_show_no_value():
    assert set(USUAL_KINDS.values()) == WANTED
    assert PROFILES.keys() == USUAL_KINDS.keys()
    assert {key for key, profile in PROFILES.items() if not profile.reads} == SHOWS_NOTHING
    questions = [question for profile in PROFILES.values() for question in profile.questions]
    assert all(len(profile.questions) >= 2 for profile in PROFILES.values())
    assert all(len(question) <= 60 for question in questions)
    for profile in PROFILES.values():
        assert {series for series, _ in profile.proposed} == (set(profile.series) or {""})


def test_proposes_points_over_the_gauges_own_range(cast, fixed_now):
    kind = services.add_kind(by=cast.metrology, key="torque_wrench", name="torque wrench", at=fixed_now)
    assert (kind.unit_of_measure, kind.reads) == ("N·m", True)
    card = services.add_gauge(
        by=cast.metrology, number="TW-1", kind_key="torque_wrench", range_lower=Decimal(20), range_upper=Decimal(120),
        at=fixed_now,
    )  # fmt: skip
    assert [usual_point(card, share) for _, share in card.profile.proposed] == ["40", "80", "120"]
    assert profile_of("our_own_rod").questions == ()


def test_adds_and_calibrates_one_of_each_kind_on_its_pages(cast, client_of):
    """Its own words are asked, its own questions answered, and the points taken on what it has."""
    client = client_of(cast.metrology)
    assert client.post("/gauges/kinds/usual/").status_code == 302
    assert "Next" in client.get("/gauges/add/").text
    for place, (key, profile) in enumerate(PROFILES.items()):
        number = f"K-{place:02}"
        asked = client.get("/gauges/add/", {"kind": key}).text
        assert f"{profile.range_label}, from" in asked
        assert ('name="resolution"' in asked) == bool(profile.resolution_label)
        told = {"number": number, "kind_key": key, "unit_of_measure": profile.unit_of_measure, "range_upper": "100",
                "range_lower": "0", "interval_months": profile.interval_months, "needs_calibration": "on"}  # fmt: skip
        assert client.post("/gauges/add/", told).status_code == 302
        page = client.get(f"/gauges/{number}/").text
        assert page.count('name="looked_at"') == len(profile.questions)
        assert ('name="point_as_left"' in page) == profile.adjustable
        assert all(f">{series}</option>" in page for series in profile.series)
        assert profile.found_label in page
        series = list(dict.fromkeys(name for name, _ in profile.proposed))
        points = {"point_series": series, "point_reference": ["10"] * len(series), "point_limit": ["1"] * len(series),
                  "point_as_found": [str(10 + turn / 10) for turn in range(len(series))]}  # fmt: skip
        done = {"done_on": "2026-01-05", "done_by": "Room 2", "looked_at": ["yes"] * len(profile.questions)}
        assert client.post(f"/gauges/{number}/calibrations/", done | points).status_code == 302
        assert gauge_by_number(number).reason in ("", "gauge_overdue")
        (found,) = calibrations_of(gauge_by_number(number).id)
        assert (found.outcome, len(found.looked_at), found.found_out) == ("passed", len(profile.questions), False)
        assert [point.series for point in found.points] == series
    assert Gauge.objects.count() == Calibration.objects.count() == 20


@pytest.fixture
def caliper(db):
    return GaugeFactory(number="CA-01", kind__key="caliper")


def point(series="", found="50.00"):
    return Point(Decimal(50), Decimal(found), None, Decimal("0.03"), series)


def calibrate(cast, at, **changes):
    told = {"number": "CA-01", "done_on": at.date(), "done_by": "Room 2"} | changes
    return services.record_calibration(by=cast.metrology, at=at, **told)


def test_fails_a_gauge_whose_points_are_right_when_one_question_is_answered_by_no(cast, fixed_now, caliper):
    answers = {"Closed, it shows zero": True, "The slide runs without play": False}
    card = calibrate(cast, fixed_now, points=[point()], looked_at=answers)
    assert card.reason == "gauge_failed"
    (found,) = calibrations_of(card.id)
    assert (found.found_out, found.not_in_order) == (True, ("The slide runs without play",))
    assert entries_about("gauge CA-01")[-1].payload["looked_at"] == answers
    with refused("calibration_outcome", "gauges"):
        calibrate(cast, fixed_now, points=[point()], looked_at=answers, outcome="passed")


def test_takes_points_of_several_series_at_one_value(cast, fixed_now, caliper):
    points = [point("outside jaws"), point("inside jaws", "50.05")]
    assert calibrate(cast, fixed_now, points=points).reason == "gauge_failed"
    assert sorted(CalibrationPoint.objects.values_list("series", flat=True)) == ["inside jaws", "outside jaws"]
    with refused("error_points_twice", "gauges"):
        calibrate(cast, fixed_now, points=[point("inside jaws"), point("inside jaws")])


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"looked_at": {"It trips cleanly each time": True}, "outcome": "passed"}, "calibration_question"),
        ({"points": [point("falling")]}, "calibration_series"),
        ({"looked_at": {"Closed, it shows zero": True}}, "calibration_outcome"),  # alone it proves nothing
    ],
)
def test_refuses_what_is_not_asked_of_this_kind(cast, fixed_now, caliper, changes, code):
    with refused(code, "gauges"):
        calibrate(cast, fixed_now, **changes)


def test_tells_the_questions_of_each_kind_to_programs(cast, client_of):
    client = client_of(cast.metrology)
    client.post("/api/v1/gauge-kinds/usual")
    kinds = {one["key"]: one for one in client.get("/api/v1/gauge-kinds").json()["kinds"]}
    assert kinds["pressure_gauge"]["series"] == ["rising", "falling"]
    assert kinds["go_no_go_gauge"]["reads"] is False
    assert len(kinds["caliper"]["questions"]) == 4


# --- retired ---------------------------------------------------------------------------------------------------


def test_retires_a_gauge_for_good_and_deletes_nothing(cast, fixed_now, caliper):
    CalibrationFactory(gauge=caliper)
    assert [one.number for one in usable_gauges(["caliper"], fixed_now)] == ["CA-01"]
    card = services.retire(by=cast.metrology, number="CA-01", reason="worn out", at=fixed_now)
    assert (card.reason, card.usable, "worn out" in card.sentence) == ("gauge_retired", False, True)
    assert due_list(fixed_now) == []
    assert usable_gauges(["caliper"], fixed_now) == []
    assert entries_about("gauge CA-01")[-1].verb == "gauge.retired"
    told = {"number": "CA-01", "reason": "again", "at": fixed_now}
    for act in (services.retire, services.put_back_in_use, services.take_out_of_use):
        with refused("gauge_retired", "gauges"):
            act(by=cast.metrology, **told)
    with refused("gauge_retired", "gauges"):
        calibrate(cast, fixed_now, outcome="passed")
    with refused("gauge_number_taken", "gauges"):
        services.add_gauge(by=cast.metrology, number="ca-01", kind_key="caliper", at=fixed_now)
    with unchanged("gauges"):  # whoever has it in hand and doubts it changes nothing
        services.set_aside(by=cast.inspector, **told)
    with refused("write_once", "gauges"):
        Gauge.objects.get().delete()


def test_retires_on_the_page_and_by_the_api(cast, caliper, client_of):
    GaugeFactory(number="CA-02", kind__key="caliper")
    client = client_of(cast.metrology)
    assert client.post("/gauges/CA-01/retire/", {"reason": ""}).status_code == 400
    assert client.post("/gauges/CA-01/retire/", {"reason": "worn out"}).status_code == 302
    page = client.get("/gauges/CA-01/").text
    assert "retired" in page
    assert "Record a calibration" not in page
    assert client.post("/gauges/CA-01/back-in-use/", {"reason": "x"}).status_code == 409
    assert "0 of 1" not in client.get("/gauges/").text
    told = {"data": {"reason": "lost"}, "content_type": "application/json"}
    assert client.post("/api/v1/gauges/CA-02/retire", **told).json()["gauge"]["reason"] == "gauge_retired"
    assert client.post("/api/v1/gauges/CA-02/retire", **told).json()["code"] == "gauge_retired"
    assert client_of(cast.inspector).post("/gauges/CA-02/retire/", {"reason": "x"}).status_code == 403
    assert {kind.key for kind in gauge_kinds()} == {"caliper"}
