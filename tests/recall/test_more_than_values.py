"""A bad gauge's verdicts, what was computed from its readings, drawn pieces of lots, and where each unit is."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal

import pytest

from qcapp.gauges import services as gauges
from qcapp.gauges.points import Point
from qcapp.gauges.queries import calibrations_of, gauge_by_number
from qcapp.goods.queries.lots import drawn_pieces
from qcapp.goods.services.lots import open_lot, sample_lot
from qcapp.inspections.queries import adopted
from qcapp.inspections.services import record_operations
from qcapp.lib.fields import uuid7
from qcapp.production.queries import open_holds, unit_by_serial
from qcapp.production.queries.as_built import lot_by_code
from qcapp.production.services.places import add_place, move_item
from qcapp.recall.judging import KEPT_BACK
from qcapp.recall.queries import recall_of
from qcapp.recall.services import hold_affected
from tests.cast import FIXED_NOW, Cast
from tests.factories.inspections import make_gauges
from tests.goods import conftest as goods
from tests.trends.line import Line, measured, row

kit, accepted, data_folder = goods.kit, goods.accepted, goods.data_folder


def found_wrong(cast: Cast, at, *points: Point, number="CA-01", **changes) -> int:
    """A calibration on the day of `at` with these points; its key."""
    told = {"by": cast.metrology, "number": number, "done_on": at.date(), "done_by": "Room 2", "at": at,
            "expanded_uncertainty": Decimal("0.010"), "points": points}  # fmt: skip
    gauges.record_calibration(**(told | changes))
    return calibrations_of(gauge_by_number(number).id)[0].id


def wrong(reference: str, error: str, series: str = "") -> Point:
    at = Decimal(reference)
    return Point(at, at + Decimal(error), None, Decimal("0.02"), series)


PAIR = (
    measured(101, "left", "40 to 60", gauge_kinds="caliper"),
    measured(102, "right", "40 to 60", gauge_kinds="caliper"),
    row(103, "gap", "derived", limits="0 to 1", unit_of_measure="mm", decimals="3", formula="left - right"),
    row(104, "twice", "derived", limits="max 1.9", unit_of_measure="mm", decimals="3", formula="gap * 2"),
    row(105, "edge", "attribute", gauge_kinds="caliper"),
    row(106, "holes", "count", limits="max 2", gauge_kinds="caliper"),
)


def answer_all(line: Line, left: str, right: str) -> str:
    serial = line.open()
    given = (
        ("left", {"value": left}),
        ("right", {"value": right}),
        ("edge", {"conforms": True}),
        ("holes", {"count": 1}),
    )
    line.send([line.operation(serial, key, answer, gauge="CA-01") for key, answer in given])
    return serial


@pytest.fixture
def pair(cast: Cast) -> Line:
    return Line.with_plan(cast, *PAIR, gauges=True)


def by_title(view, serial: str) -> dict[str, object]:
    (unit,) = [one for one in view.units if one.serial == serial]
    return {one.title: one for one in unit.readings}


def test_computes_again_what_was_computed_from_its_readings(pair: Line) -> None:
    """At 50 it shows 0.02 too much, at 51 0.06: 50.98 − 50.00 = 0.98 was in band. Between the points the error goes
    straight from 50.02 shown to 51.06 shown, so at 50.98 it is 0.02 + 0.04 · 0.96/1.04 = 0.0569; 50.00 lies below the
    first point and keeps its 0.02. Without the errors the gap is 0.98 − 0.0569 + 0.02 = 0.9431, U = 0.01 + 0.01.
    """
    serial = answer_all(pair, "50.980", "50.000")
    other = answer_all(pair, "51.060", "50.080")
    at = pair.at + timedelta(days=1)
    view = recall_of("CA-01", found_wrong(pair.cast, at, wrong("50", "0.02"), wrong("51", "0.06")), at=at)
    seen = by_title(view, serial)
    assert (seen["Gap"].corrected, seen["Gap"].finding.value, seen["Gap"].computed) == ("0.9431", "still in band", True)
    assert (seen["Twice"].value, seen["Twice"].corrected) == ("1.96000", "1.8862")  # of the computed gap, twice
    assert seen["Twice"].finding.value == "doubtful"  # 1.9 − 1.8862 is inside U = 0.04
    assert seen["Twice"].outcome == "out_of_band"
    assert by_title(view, other)["Gap"].finding.value == "still in band"


def test_finds_out_of_band_what_each_reading_alone_does_not_show(pair: Line) -> None:
    """50.9 and 50.0 stay far inside 40 to 60 whatever the gauge did; their gap of 0.9 was 1.1."""
    serial = answer_all(pair, "50.900", "50.000")
    at = pair.at + timedelta(days=1)
    points = (wrong("50", "0.00"), wrong("50.5", "0.00"), wrong("51.1", "-0.20"))
    seen = by_title(recall_of("CA-01", found_wrong(pair.cast, at, *points), at=at), serial)
    assert {seen[title].finding.value for title in ("Left", "Right")} == {"still in band"}
    assert (seen["Gap"].corrected, seen["Gap"].finding.value) == ("1.1000", "out of band")


def test_lists_verdicts_and_counts_as_doubtful(pair: Line) -> None:
    serial = answer_all(pair, "50", "50")
    at = pair.at + timedelta(days=1)
    view = recall_of("CA-01", found_wrong(pair.cast, at, wrong("50", "0.05")), at=at)
    seen = by_title(view, serial)
    assert [(seen[title].value, seen[title].finding.value) for title in ("Edge", "Holes")] == [
        ("conforms", "doubtful"), ("1 counted", "doubtful"),
    ]  # fmt: skip
    assert view.readings == 4
    assert seen["Left"].finding.value == "still in band"


def test_takes_the_gravest_of_several_series(pair: Line) -> None:
    """59.98 read with the outside jaws (right) is in band; with the inside jaws, 0.05 too little, it was 60.03."""
    serial = answer_all(pair, "59.980", "59.980")
    at = pair.at + timedelta(days=1)
    points = (wrong("50", "0.00", "outside jaws"), wrong("50", "-0.05", "inside jaws"))
    seen = by_title(recall_of("CA-01", found_wrong(pair.cast, at, *points), at=at), serial)
    assert (seen["Left"].corrected, seen["Left"].finding.value) == ("60.0300", "out of band")


def test_proves_nothing_when_a_question_was_answered_by_no(pair: Line) -> None:
    serial = answer_all(pair, "50", "50")
    at = pair.at + timedelta(days=1)
    key = found_wrong(pair.cast, at, wrong("50", "0.00"), looked_at={"The slide runs without play": False})
    view = recall_of("CA-01", key, at=at)
    assert by_title(view, serial)["Left"].finding.value == "doubtful"
    assert "The slide runs without play" in view.note


def test_says_that_a_plug_shows_no_value(cast: Cast) -> None:
    gauges.add_kind(by=cast.metrology, key="go_no_go_gauge", name="go/no-go gauge", at=FIXED_NOW)
    line = Line.with_plan(cast, row(101, "bore", "attribute", gauge_kinds="go_no_go_gauge"), gauges=True)
    gauges.add_gauge(by=cast.metrology, number="GN-1", kind_key="go_no_go_gauge", at=FIXED_NOW)
    day = FIXED_NOW - timedelta(days=9)
    gauges.record_calibration(
        by=cast.metrology, number="GN-1", done_on=day.date(), done_by="Room 2", outcome="passed", at=FIXED_NOW
    )
    serial = line.open()
    line.send([line.operation(serial, "bore", {"conforms": True}, gauge="GN-1")])
    at = line.at + timedelta(days=1)
    key = found_wrong(cast, at, wrong("12", "0.05", "go side"), number="GN-1")
    view = recall_of("GN-1", key, at=at)
    assert by_title(view, serial)["Bore"].finding.value == "doubtful"
    assert view.note.startswith("A go/no-go gauge shows no value of its own")


def test_says_where_each_unit_is(pair: Line, client_of) -> None:
    serial = answer_all(pair, "50", "50")
    add_place(by=pair.cast.dispatch, code="RACK-2", name="rack behind the oven", at=pair.at)
    move_item(by=pair.cast.dispatch, code=serial, place_code="RACK-2", at=pair.at)
    at = pair.at + timedelta(days=1)
    key = found_wrong(pair.cast, at, wrong("50", "0.05"))
    (unit,) = recall_of("CA-01", key, at=at).units
    assert (unit.state, unit.place, unit.holder) == ("in build", "rack behind the oven", "")
    page = client_of(pair.cast.metrology).get(f"/gauges/CA-01/recall/{key}/").text
    assert "rack behind the oven" in page


def test_holds_the_lot_with_its_drawn_piece(cast: Cast, kit, proof_of) -> None:
    """TK-200: a piece of the sample was measured with the bad caliper, so nothing of its lot is used."""
    make_gauges(cast, FIXED_NOW - timedelta(days=60))
    lot = open_lot(by=cast.goods_in, family_code="TK-200", quantity=100, heat_numbers=["H4711"], at=FIXED_NOW)
    sample_lot(by=cast.goods_in, lot_code=lot.code, at=FIXED_NOW)
    piece = drawn_pieces(lot.id)[0].unit
    told = {"id": str(uuid7()), "v": 1, "kind": "result", "serial": piece.serial, "checkpoint": "length", "round": 1,
            "revision": str(adopted(piece.item_id).revision.uuid), "inspection": 1, "purpose": "reading",
            "answer": {"value": "412.4"}, "raw": "", "gauge": "CA-01", "recorded_at": FIXED_NOW.isoformat(),
            "recorded_by": cast.inspector.badge, "base": None, "reason": ""}  # fmt: skip
    (said,) = record_operations(sent_by=cast.inspector, device="t", sent_at=FIXED_NOW, operations=[told], at=FIXED_NOW)
    assert said.outcome == "applied"
    at = FIXED_NOW + timedelta(days=1)
    key = found_wrong(cast, at, wrong("400", "-0.2"))
    (unit,) = recall_of("CA-01", key, at=at).units
    assert (unit.serial, unit.lot, unit.worst.value) == (piece.serial, lot.code, "out of band")
    done = hold_affected(
        proof=proof_of(cast.metrology, at), number="CA-01", calibration_id=key, item_ids=[unit.item_id],
        reason="jaw bent", at=at,
    )  # fmt: skip
    held = lot_by_code(lot.code).item_id
    assert [hold.source for hold in open_holds(held)] == [done.report]
    assert unit_by_serial(piece.serial).on_hold


def test_keeps_a_first_answer_from_who_still_owes_the_second(cast: Cast, client_of) -> None:
    line = Line.with_plan(cast, measured(gauge_kinds="caliper", second_inspection="yes"), gauges=True)
    line.play("size", ["59.990"], gauge=["CA-01"])
    at = line.at + timedelta(days=1)
    key = found_wrong(cast, at, wrong("50", "-0.05"))
    owed, decides = (recall_of("CA-01", key, at=at, viewer=who) for who in (cast.second_inspector, cast.metrology))
    (hidden,), (seen,) = owed.units[0].readings, decides.units[0].readings
    assert (hidden.value, hidden.corrected, hidden.finding.value) == (KEPT_BACK, "", "doubtful")
    assert (seen.value, seen.finding.value) == ("59.990", "out of band")
    address = f"/gauges/CA-01/recall/{key}"
    for path in (f"{address}/", f"{address}/list.csv", f"/api/v1{address}"):
        assert "59.99" not in client_of(cast.second_inspector).get(path).content.decode()
        assert "59.99" in client_of(cast.metrology).get(path).content.decode()
