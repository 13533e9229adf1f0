"""Which results a chart takes, how it marks them, and what it never tells."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.db import connection, transaction
from django.test import Client

from qcapp.inspections.queries.series import _countable, last_points
from qcapp.inspections.services import reopen_checkpoints
from qcapp.people.models import Person
from qcapp.production.queries import unit_by_serial
from qcapp.trends.queries import distortion_page, series_of, yield_page

from ..cast import FIXED_NOW, Cast
from ..factories.inspections import Workshop
from .line import FIXTURE_ROW, Line, measured, row

ClientOf = Callable[[Person], Client]


def texts(key: str = "size") -> list[str]:
    return [reading.text for reading in series_of("DX-1", key).readings]


def test_takes_the_value_that_stands_and_marks_it(cast: Cast) -> None:
    line = Line.with_plan(cast, measured())
    line.play("size", ["50.0", "51.0"])
    first = line.send([line.operation(line.open(), "size", {"value": "5.20"})])[0]
    line.send(
        [
            line.operation(
                line.serials[-1], "size", {"value": "52.0"}, purpose="correction", base=first.id, reason="typed wrong"
            )
        ]
    )
    readings = series_of("DX-1", "size").readings
    assert [reading.text for reading in readings] == ["50.0", "51.0", "52.0"]
    assert readings[-1].marks == ("corrected entry, before: 5.20",)


def test_takes_the_first_round_only(cast: Cast) -> None:
    line = Line.with_plan(cast, measured())
    said = line.play("size", ["50.0", "61.5"])
    assert said[-1].report
    _reopen(cast, line)
    line.send([line.operation(line.serials[-1], "size", {"value": "55.0"}, round=2)])
    readings = series_of("DX-1", "size").readings
    assert [reading.text for reading in readings] == ["50.0", "61.5"]
    assert readings[-1].outcome == "out_of_band"
    assert readings[-1].marks == ("inspected again later, NCR-2026-0001",)


def _reopen(cast: Cast, line: Line) -> None:
    """As a correction of the report does."""
    item = unit_by_serial(line.serials[-1]).item_id
    with transaction.atomic():
        reopen_checkpoints(by=cast.quality_manager, item_id=item, keys=["size"], source="NCR-2026-0001", at=line.at)


def test_orders_by_the_time_of_measuring(cast: Cast) -> None:
    line = Line.with_plan(cast, measured())
    serials = [line.open(), line.open()]
    early, late = FIXED_NOW.replace(hour=7).isoformat(), FIXED_NOW.replace(hour=8).isoformat()
    line.send([line.operation(serials[1], "size", {"value": "51.0"}, recorded_at=late)])
    line.send([line.operation(serials[0], "size", {"value": "50.0"}, recorded_at=early)])
    assert texts() == ["50.0", "51.0"]


def test_keeps_a_first_answer_secret_until_the_second_is_given(cast: Cast) -> None:
    """Also from whoever could work it out from a derived value, on every page and over REST."""
    double = row(103, "double", "derived", limits="0 to 200", unit_of_measure="mm", decimals="3", formula="size * 2")
    line = Line.with_plan(cast, measured(second_inspection="yes"), double)
    serial = line.open()
    line.send([line.operation(serial, "size", {"value": "50.123"})])
    assert texts() == []
    assert texts("double") == []
    second = line.operation(serial, "size", {"value": "50.120"}, inspection=2, recorded_by=cast.second_inspector.badge)
    line.send([second])
    assert texts() == ["50.123"]
    assert texts("double") == ["100.246"]


@pytest.mark.parametrize("address", ["/api/v1/trends/DX-1", "/trends/?family=DX-1", "/api/v1/distortion/DX-1"])
def test_tells_no_waiting_answer_on_pages_of_a_family(cast: Cast, client_of: ClientOf, address: str) -> None:
    rows = (measured(second_inspection="yes"), measured(102, "size_before"))
    line = Line.with_plan(cast, *rows)
    for place in range(6):
        serial = line.open()
        line.send(
            [
                line.operation(serial, "size", {"value": f"50.{place}77"}),
                line.operation(serial, "size_before", {"value": "50.000"}),
            ]
        )
    said = client_of(cast.quality_manager).get(address).content.decode()
    assert not any(f".{place}77" in said for place in range(6))  # neither a value nor its difference to 50.000


def test_leaves_answers_in_conflict_out(cast: Cast) -> None:
    line = Line.with_plan(cast, measured())
    serial = line.open()
    line.send([line.operation(serial, "size", {"value": "50.0"})])
    line.send([line.operation(serial, "size", {"value": "51.0"})])
    assert texts() == []


def test_names_gauge_fixture_welder_inspector_and_calibrations(cast: Cast) -> None:
    workshop = Workshop.opened(cast)
    workshop.answer_stage(1)
    workshop.sign(1)
    workshop.answer_stage(2)
    angle = series_of("FR-200", "head_angle").readings[0]
    assert (angle.gauge, angle.inspector, angle.revision) == ("AG-01", cast.inspector.name, "D")
    throat = series_of("FR-200", "throat_w7").readings[0]
    assert throat.welder == cast.welder.name


def test_marks_what_is_not_proven(cast: Cast) -> None:
    line = Line.with_plan(cast, measured(gauge_kinds="caliper"), gauges=True)
    line.play("size", ["50.0"], gauge=["CA-02"])  # overdue
    assert series_of("DX-1", "size").readings[0].marks == ("not proven: gauge overdue",)


def test_shows_calibrations_between_the_readings(cast: Cast) -> None:
    line = Line.with_plan(cast, measured(gauge_kinds="caliper"), gauges=True, at=FIXED_NOW.replace(month=1, day=11))
    line.play("size", ["50.0"], gauge=["CA-01"])
    line.at = FIXED_NOW.replace(month=1, day=14)
    line.play("size", ["50.1"], gauge=["CA-01"])
    found = series_of("DX-1", "size").events
    assert [(event.place, event.kind, event.words) for event in found] == [
        (1, "calibration", "CA-01 calibrated, passed")
    ]


def test_reads_a_window_along_the_index(cast: Cast) -> None:
    """However long the history is: no sort, no walk over the table of results."""
    Line.with_plan(cast, measured()).play("size", ["50.0", "50.1"])
    rows = _countable().filter(characteristic=1).order_by("-id").values_list("id", "answer", "item__unit__serial")[:100]
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            for other in ("seqscan", "bitmapscan", "sort"):  # what a planner may prefer in a table of two rows
                cursor.execute(f"SET LOCAL enable_{other} = off")
        explained = rows.explain()
        assert "inspections_result_charact " in explained
        assert "Seq Scan on inspections_result" not in explained
    else:
        explained = rows.explain()
        assert "SEARCH inspections_result USING INDEX inspections_result_charact" in explained
        assert "TEMP B-TREE" not in explained
        assert "SCAN inspections_result" not in explained


def test_takes_the_last_ones_of_many(cast: Cast) -> None:
    line = Line.with_plan(cast, measured())
    line.play("size", [f"50.{place}" for place in range(8)])
    readings = series_of("DX-1", "size", last=5).readings
    assert [reading.text for reading in readings] == ["50.3", "50.4", "50.5", "50.6", "50.7"]
    points = last_points(series_of("DX-1", "size").characteristic_id, 5, before=readings[-1].result_id)
    assert [point.plot for point in points] == [50.2, 50.3, 50.4, 50.5, 50.6]


# ------------------------------------------------------------------------------------------------- distortion


def played_pairs(cast: Cast, pairs: list[tuple[str, str]]) -> Line:
    rows = (FIXTURE_ROW, measured(101, "width_tacked"), measured(102, "width", paired_with="width_tacked"))
    line = Line.with_plan(cast, *rows)
    for place, (before, after) in enumerate(pairs):
        serial = line.open()
        line.send(
            [
                line.operation(serial, "fixture", {"text": f"TF-{place % 2 + 1}"}),
                line.operation(serial, "width_tacked", {"value": before}),
                line.operation(serial, "width", {"value": after}),
            ]
        )
    return line


def test_compares_before_and_after_unit_by_unit(cast: Cast) -> None:
    """Differences -0.3, -0.5, -0.4, -0.6: mean -0.45, s 0.1291, t(0.975; 3) 3.1824, so -0.6554 to -0.2446, by hand."""
    played_pairs(cast, [("50.0", "49.7"), ("50.3", "49.8"), ("49.9", "49.5"), ("50.1", "49.5")])
    page = distortion_page("DX-1", people=False)
    (one,) = page.pairs
    assert [reading.text for reading in one.differences.readings] == ["-0.3", "-0.5", "-0.4", "-0.6"]
    assert one.shift is not None
    assert one.shift.estimate == pytest.approx(-0.45)
    assert (one.shift.lower, one.shift.upper) == pytest.approx((-0.65543, -0.24457), abs=1e-4)
    assert one.spread is not None
    assert one.spread.estimate == pytest.approx(0.129099, abs=1e-6)
    assert one.p_value == pytest.approx(0.006049, abs=1e-5)  # scipy's paired test on the same numbers
    assert one.sentence.startswith("Welding moves it down by about 0.4500 mm (0.2446 to 0.6554), over 4 parts")
    assert [split.factor for split, _ in one.splits] == ["fixture"]


def test_draws_the_pairs_and_links_them(cast: Cast, client_of: ClientOf) -> None:
    played_pairs(cast, [("50.0", "49.7"), ("50.3", "49.8"), ("49.9", "49.5")])
    page = client_of(cast.engineer).get("/trends/distortion/?family=DX-1").content.decode()
    assert "DX-1-00001: 50.0 to 49.7 mm, fixture TF-1" in page
    assert '<a href="/trends/DX-1/width/">Width</a>' in page


def test_gives_the_pairs_as_files(cast: Cast, client_of: ClientOf) -> None:
    played_pairs(cast, [("50.0", "49.7"), ("50.3", "49.8"), ("49.9", "49.5")])
    client, address = client_of(cast.engineer), "/trends/distortion/DX-1/width/"
    page = client.get("/trends/distortion/?family=DX-1").text
    for name in ("pairs.svg", "pairs.png", "pairs.csv"):
        assert f'href="{address}{name}"' in page
    drawn = client.get(f"{address}pairs.svg").text
    assert "before and after welding, 3 parts" in drawn
    assert "class=" not in drawn
    assert client.get(f"{address}pairs.png").content.startswith(b"\x89PNG")
    lines = client.get(f"{address}pairs.csv").content.decode("utf-8-sig").splitlines()
    assert lines[:2] == ["serial,after_minus_before,unit_of_measure,fixture,welder", "DX-1-00001,-0.3,mm,TF-1,"]
    assert client.get(f"{address}moons.svg").status_code == 404
    assert client.get("/trends/distortion/DX-1/nothing/pairs.svg").status_code == 404


def test_says_when_there_is_nothing_to_compare(cast: Cast, client_of: ClientOf) -> None:
    line = played_pairs(cast, [])
    client = client_of(cast.engineer)
    assert "No unit has both readings yet" in client.get("/trends/distortion/?family=DX-1").content.decode()
    line.revise("B", measured(201))
    assert "pairs no dimension" in client.get("/trends/distortion/?family=DX-1").content.decode()


# ------------------------------------------------------------------------------------------------------ yield


def test_counts_what_passed_the_first_time(cast: Cast) -> None:
    """Three frames: one signed clean, one signed after a failure, one held by a failure and never signed."""
    clean = Workshop.opened(cast)
    clean.finish(1)
    failed = clean.another_unit("FR-200-0148")
    failed.send_one("head_angle", "62.90")
    page = yield_page("FR-200", at=FIXED_NOW, weeks=2)
    assert page.found is not None
    stage = page.found.stages[0]
    assert (stage.number, stage.units, stage.right, stage.defects) == (1, 2, 1, 1)
    assert stage.share.estimate == 0.5
    # answers: five on the clean frame (one derived), one on the other
    assert stage.per_million == pytest.approx(1_000_000 / 6)
    assert page.found.rolled is not None
    assert page.found.rolled.estimate == 0.5
    assert page.found.rolled.lower < 0.5 < page.found.rolled.upper


def test_gives_the_weeks_of_a_stage_as_files(cast: Cast, client_of: ClientOf, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("django.utils.timezone.now", lambda: FIXED_NOW)
    Workshop.opened(cast).finish(1)
    client, address = client_of(cast.engineer), "/trends/yield/FR-200/1"
    assert f'href="{address}.csv?weeks=4"' in client.get("/trends/yield/?family=FR-200&weeks=4").text
    assert "First-pass yield of" in client.get(f"{address}.svg?weeks=4").text
    assert client.get(f"{address}.png?weeks=4").content.startswith(b"\x89PNG")
    lines = client.get(f"{address}.csv?weeks=4").content.decode("utf-8-sig").splitlines()
    assert lines[0] == "week,units,right_first_time,share,from,to"
    assert lines[1].split(",")[1:4] == ["1", "1", "1.0000"]
    assert client.get("/trends/yield/FR-200/99.svg").status_code == 404


def test_rolls_the_stages_up(cast: Cast, client_of: ClientOf) -> None:
    workshop = Workshop.opened(cast)
    workshop.finish(2)
    found = client_of(cast.engineer).get("/api/v1/yield/FR-200?weeks=53").json()
    ours: list[dict[str, Any]] = found["stages"]
    if not ours:  # the workshop plays in March 2026: a year later the window has passed it
        assert found["refusal"]
        return
    assert [one["number"] for one in ours] == [1, 2]
    assert found["rolled_throughput"]["value"] == 1.0
    assert found["defects_per_unit"] == 0.0
