"""A gauge found out of tolerance: what it measured is judged again, and one signed act holds the chosen units."""

from __future__ import annotations

import csv
import io
import json
from datetime import timedelta
from decimal import Decimal

import pytest

from qcapp.audit.models import Entry
from qcapp.gauges import services as gauges
from qcapp.gauges.points import Point
from qcapp.gauges.queries import calibrations_of, gauge_by_number
from qcapp.nonconformance.queries import report
from qcapp.production.queries import open_holds, unit_by_serial
from qcapp.recall.models import Recall
from qcapp.recall.queries import recall_of
from qcapp.recall.services import hold_affected
from tests.cast import PIN, Cast
from tests.trends.line import Line, measured
from tests.unchanged import refused

PLACES = ("recall", "nonconformance", "production", "people.Signature")
VALUES = ["50.000", "59.900", "59.970", "40.020", "45.000"]


@pytest.fixture
def line(cast: Cast) -> Line:
    """Five units measured with CA-01, band 40 to 60 mm; the gauge is calibrated again on the next day."""
    made = Line.with_plan(cast, measured(gauge_kinds="caliper"), gauges=True)
    made.play("size", VALUES, gauge=["CA-01"] * 5)
    return made


def find(line: Line, *points: Point, uncertainty: str = "0.02", **changes) -> int:
    """Calibrate CA-01 on the day after the last reading, and give the calibration's key."""
    at = line.at + timedelta(days=1)
    given = {
        "by": line.cast.metrology, "number": "CA-01", "done_on": at.date(), "done_by": "Metrology room", "at": at,
        "expanded_uncertainty": Decimal(uncertainty), "points": points,
    }  # fmt: skip
    gauges.record_calibration(**(given | changes))
    return calibrations_of(gauge_by_number("CA-01").id)[0].id


def wrong_by(error: str) -> Point:
    """The gauge shows this much too much, everywhere; its limit of error is 0.02."""
    return Point(Decimal("50"), Decimal("50") + Decimal(error), None, Decimal("0.02"))


def view(line: Line, calibration: int):
    return recall_of("CA-01", calibration, at=line.at + timedelta(days=2))


def test_judges_again_what_was_measured_since_the_last_good_calibration(line: Line) -> None:
    found = view(line, find(line, wrong_by("-0.05")))
    by_serial = {unit.serial: unit.readings[0] for unit in found.units}
    serials = line.serials
    # worked by hand: reading + 0.05 against 40 to 60 with U = 0.02
    assert (Decimal(by_serial[serials[0]].corrected), by_serial[serials[0]].finding.value) == (
        Decimal("50.050"),
        "still in band",
    )
    assert (Decimal(by_serial[serials[1]].corrected), by_serial[serials[1]].finding.value) == (
        Decimal("59.950"),
        "still in band",
    )
    assert (Decimal(by_serial[serials[2]].corrected), by_serial[serials[2]].finding.value) == (
        Decimal("60.020"),
        "doubtful",
    )
    assert by_serial[serials[3]].finding.value == "still in band"
    assert [unit.serial for unit in found.in_doubt] == [serials[2]]
    worse = recall_of("CA-01", find(line, wrong_by("-0.09")), at=line.at + timedelta(days=2))
    assert [unit.worst.value for unit in worse.units][:2] == ["out of band", "doubtful"]


def test_looks_no_further_back_than_the_last_good_calibration(line: Line) -> None:
    find(line, wrong_by("0.00"))
    good_on = (line.at + timedelta(days=1)).date()
    line.at += timedelta(days=2)
    line.play("size", ["59.990"], gauge=["CA-01"])
    found = view(line, find(line, wrong_by("-0.05")))
    assert [unit.serial for unit in found.units] == [line.serials[-1]]
    assert found.since == good_on


def test_calls_everything_doubtful_without_points(line: Line) -> None:
    found = view(line, find(line, outcome="failed"))
    assert {unit.worst.value for unit in found.units} == {"doubtful"}
    assert "not known" in found.note


def test_says_that_a_gauge_was_right(line: Line) -> None:
    calibration = find(line, wrong_by("0.01"))
    with refused("gauge_was_right", *PLACES):
        view(line, calibration)
    with refused("calibration_unknown", *PLACES):
        view(line, calibration + 99)


def hold(line: Line, calibration: int, items: list[int], proof_of, **changes):
    at = line.at + timedelta(days=2)
    given = {
        "proof": proof_of(line.cast.metrology, at), "number": "CA-01", "calibration_id": calibration,
        "item_ids": items, "reason": "the jaw was bent", "at": at,
    }  # fmt: skip
    return hold_affected(**(given | changes))


def test_holds_the_chosen_units_under_one_report(line: Line, proof_of) -> None:
    calibration = find(line, wrong_by("-0.09"))
    found = view(line, calibration)
    chosen = [unit.item_id for unit in found.units[:2]]
    row = hold(line, calibration, chosen, proof_of)
    for unit in found.units[:2]:
        assert [one.source for one in open_holds(unit.item_id)] == [row.report]
    assert not open_holds(found.units[2].item_id)
    facts = report(row.report)
    assert "gauge CA-01" in facts.card.title
    assert facts.card.severity == "critical"
    assert Entry.objects.order_by("-number").first().verb == "gauge.recalled"
    known = json.loads(row.known)
    assert {one["serial"]: one["finding"] for one in known["units"]}[found.units[0].serial] == "out of band"
    assert view(line, calibration).done[0].units == 2


def test_keeps_what_was_known_although_the_plan_moves_on(line: Line, proof_of) -> None:
    calibration = find(line, wrong_by("-0.09"))
    row = hold(line, calibration, [view(line, calibration).units[0].item_id], proof_of)
    before = row.known
    line.revise("B", measured(limits="30 to 70", gauge_kinds="caliper"))
    line.play("size", ["61.000"], gauge=["CA-01"])
    assert Recall.objects.get(pk=row.pk).known == before


def test_refuses_to_hold_what_it_may_not(line: Line, proof_of, cast: Cast) -> None:
    calibration = find(line, wrong_by("-0.09"))
    items = [unit.item_id for unit in view(line, calibration).units]
    with refused("no_unit_chosen", *PLACES):
        hold(line, calibration, [], proof_of)
    with refused("units_not_affected", *PLACES):
        hold(line, calibration, [items[0], items[0] + 9999], proof_of)
    with refused("text_missing", *PLACES):
        hold(line, calibration, items, proof_of, reason=" ")
    with refused("not_permitted", *PLACES):
        hold(line, calibration, items, proof_of, proof=proof_of(cast.inspector, line.at))
    hold(line, calibration, items[:1], proof_of)
    with refused("all_on_hold", *PLACES):
        hold(line, calibration, items[:1], proof_of)


def test_shows_the_page_and_holds_from_it(line: Line, client_of, cast: Cast) -> None:
    calibration = find(line, wrong_by("-0.05"))
    client, address = client_of(cast.metrology), f"/gauges/CA-01/recall/{calibration}/"
    page = client.get(address).content.decode()
    doubtful = next(unit for unit in view(line, calibration).units if unit.worst.value == "doubtful")
    assert page.count("checked") == 1
    for text in (doubtful.serial, "60.0200", "doubtful", "still in band", "5 answers on 5 units"):
        assert text in page, text
    chosen = {"item": [doubtful.item_id], "reason": "bent <jaw>"}
    wrong = client.post(f"{address}hold/", chosen | {"pin": "000000"})
    assert wrong.status_code == 403
    assert "bent &lt;jaw&gt;" in wrong.content.decode()
    assert not Recall.objects.exists()
    assert client.post(f"{address}hold/", chosen | {"item": ["9" * 5000, "x"], "pin": PIN}).status_code == 400
    assert not Recall.objects.exists()
    assert client.post(f"{address}hold/", chosen | {"pin": PIN}).status_code == 302
    page = client.get(address).content.decode()
    assert "on hold" in page
    assert "1 unit put on hold" in page
    assert unit_by_serial(doubtful.serial).on_hold


def test_shows_no_form_to_who_may_only_look(line: Line, client_of, cast: Cast) -> None:
    calibration = find(line, wrong_by("-0.05"))
    page = client_of(cast.inspector).get(f"/gauges/CA-01/recall/{calibration}/").content.decode()
    assert "Hold the chosen units" not in page
    assert client_of(cast.inspector).post(f"/gauges/CA-01/recall/{calibration}/hold/").status_code == 403


def test_gives_the_list_as_csv(line: Line, client_of, cast: Cast) -> None:
    calibration = find(line, wrong_by("-0.05"))
    answer = client_of(cast.customer_service).get(f"/gauges/CA-01/recall/{calibration}/list.csv")
    rows = list(csv.DictReader(io.StringIO(answer.content.decode("utf-8-sig"))))
    assert len(rows) == 5
    assert {row["serial"]: row["reading_finding"] for row in rows}[line.serials[2]] == "doubtful"


def test_asks_few_queries_however_many_readings(line: Line, django_assert_max_num_queries) -> None:
    calibration = find(line, wrong_by("-0.05"))
    with django_assert_max_num_queries(14):  # what was read and computed, and where each unit is
        view(line, calibration)
