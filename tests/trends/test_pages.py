"""The pages answer for every shape of data: none, one, few, equal, missing; in few queries; to the right people."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Callable
from datetime import timedelta
from html import unescape
from xml.etree import ElementTree

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from qcapp.people.models import Person
from qcapp.people.roles import ACTS, Act, Role
from qcapp.people.services import end_chart_reader, name_chart_reader
from qcapp.production.services import add_family

from ..cast import FIXED_NOW, Cast
from .line import FIXTURE_ROW, Line, measured, row

ClientOf = Callable[[Person], Client]
PAGE = "/trends/DX-1/size/"
FIVE = ["49.9", "50.1", "50.0", "50.2", "49.8"]


@pytest.fixture
def manager(cast: Cast, client_of: ClientOf) -> Client:
    """The quality manager's browser."""
    return client_of(cast.quality_manager)


def text_of(client: Client, address: str) -> str:
    answer = client.get(address)
    assert answer.status_code == 200, answer.content[:300]
    return answer.content.decode()


@pytest.mark.parametrize(
    ("values", "sentence"),
    [
        ([], "No result has been recorded in this window yet."),
        (["50.0"], "There is one point so far; control limits need at least 5."),
        (["50.0", "50.1"], "There are 2 points so far; control limits need at least 5."),
        (["50.0", "50.1", "49.9"], "There are 3 points so far; control limits need at least 5."),
        (["50.0"] * 6, "All 6 points are equal, so there is no spread to draw control limits from."),
    ],
)
def test_says_why_there_is_no_chart(cast: Cast, manager: Client, values: list[str], sentence: str) -> None:
    Line.with_plan(cast, measured()).play("size", values)
    page = text_of(manager, PAGE)
    assert sentence in page
    assert '<svg class="chart" viewBox="0 0 1120' not in page
    assert sentence.split(";")[0] in str(manager.get("/api/v1/trends/DX-1/size").json()["chart"])


def test_refuses_capability_under_its_minimum(cast: Cast, manager: Client) -> None:
    Line.with_plan(cast, measured()).play("size", FIVE)
    assert "There are 5 readings; fewer than 20 give an interval so wide" in text_of(manager, PAGE)


def test_names_the_units_and_links_to_them(cast: Cast, manager: Client) -> None:
    Line.with_plan(cast, measured()).play("size", FIVE)
    page = text_of(manager, PAGE)
    assert '<a class="c-point c-plain" href="/units/DX-1-00003/" aria-label="DX-1-00003: 50.0 mm, in band"' in page
    assert "First round and first inspection only" in page


def test_goes_on_without_a_gauge_or_a_fixture(cast: Cast, manager: Client) -> None:
    Line.with_plan(cast, measured()).play("size", FIVE)
    page = text_of(manager, PAGE)
    assert "No gauge was recorded with these readings." in page
    assert "No fixture was recorded with these readings." in page


def test_says_that_a_family_without_a_plan_is_not_watched(cast: Cast, manager: Client) -> None:
    add_family(
        by=cast.quality_manager, code="NP-1", name="Unplanned part", serial_pattern="NP-1-{number:4}",
        certificate_prefix="NP", at=FIXED_NOW,
    )  # fmt: skip
    said = "NP-1 has no released inspection plan"
    for address in ("/trends/?family=NP-1", "/trends/distortion/?family=NP-1"):
        assert said in text_of(manager, address)
    assert "No stage of NP-1 was signed" in text_of(manager, "/trends/yield/?family=NP-1")


def test_begins_with_the_family_of_the_largest_plan(cast: Cast, manager: Client) -> None:
    """The first by name is often a small one, over which nobody watches."""
    Line.with_plan(cast, measured())
    add_family(
        by=cast.quality_manager, code="AA-1", name="Unplanned part", serial_pattern="AA-1-{number:4}",
        certificate_prefix="AA", at=FIXED_NOW,
    )  # fmt: skip
    for address in ("/trends/", "/trends/distortion/", "/trends/yield/"):
        assert "of DX-1</h1>" in text_of(manager, address), address


def test_says_that_nothing_is_there_before_the_first_family(manager: Client) -> None:
    for address in ("/trends/", "/trends/distortion/", "/trends/yield/"):
        assert "There is no part family yet" in text_of(manager, address)


@pytest.mark.parametrize(
    ("address", "status", "code"),
    [
        ("/api/v1/trends/XX-9/size", 404, "family_unknown"),
        ("/api/v1/trends/DX-1/nothing", 404, "characteristic_unknown"),
        ("/api/v1/trends/DX-1/fixture", 400, "not_charted"),
        ("/api/v1/trends/DX-1/size?last=3", 400, "window_out_of_range"),
        ("/api/v1/trends/DX-1/size?last=501", 400, "window_out_of_range"),
        ("/api/v1/trends/DX-1/size?last=many", 400, "field_type"),
        ("/api/v1/trends/DX-1/size?base=2", 400, "base_out_of_range"),
        ("/api/v1/trends/DX-1/size?size=1", 400, "size_out_of_range"),
        ("/api/v1/trends/DX-1/size?group=moons", 400, "choice_unknown"),
        ("/api/v1/trends/XX-9", 404, "family_unknown"),
        ("/api/v1/yield/DX-1?weeks=99", 400, "window_out_of_range"),
    ],
)
def test_refuses_what_it_cannot_show(cast: Cast, manager: Client, address: str, status: int, code: str) -> None:
    Line.with_plan(cast, FIXTURE_ROW, measured())
    answer = manager.get(address)
    assert (answer.status_code, answer.json()["code"]) == (status, code)


def test_shows_the_pages_to_four_roles(cast: Cast, client_of: ClientOf) -> None:
    Line.with_plan(cast, measured()).play("size", FIVE)
    for role in Role:
        allowed = role in ACTS[Act.LOOK_AT_TRENDS]
        for address in ("/trends/", PAGE, "/trends/distortion/", "/trends/yield/", f"{PAGE}values.csv"):
            status = client_of(cast.with_role(role)).get(address).status_code
            assert status == (200 if allowed else 403), f"{role} {address}"
    assert ACTS[Act.LOOK_AT_TRENDS] == {
        Role.QUALITY_MANAGER, Role.ENGINEER, Role.WELDING_COORDINATOR, Role.METROLOGY,
    }  # fmt: skip


def test_keeps_splits_by_people_for_those_whom_the_site_names(cast: Cast, client_of: ClientOf) -> None:
    name_chart_reader(by=cast.keeper, person=cast.quality_manager, at=FIXED_NOW)
    name_chart_reader(by=cast.keeper, person=cast.welder, at=FIXED_NOW)  # who may not see trends at all
    Line.with_plan(cast, measured()).play("size", FIVE, person=["inspector", "second_inspector"] * 2 + ["inspector"])
    names = (cast.inspector.name, cast.second_inspector.name)
    addresses = (PAGE, "/api/v1/trends/DX-1/size", f"{PAGE}values.csv")
    for address in addresses:
        shown = client_of(cast.quality_manager).get(address).content.decode()
        hidden = client_of(cast.engineer).get(address).content.decode()
        hidden += client_of(cast.second_quality_manager).get(address).content.decode()
        assert all(name in shown for name in names), address
        assert not any(name in hidden for name in names), address
    assert client_of(cast.engineer).get(f"{PAGE}inspector.svg").status_code == 404
    assert client_of(cast.welder).get(PAGE).status_code == 403
    end_chart_reader(by=cast.keeper, person=cast.quality_manager, at=FIXED_NOW)
    assert names[0] not in client_of(cast.quality_manager).get(PAGE).content.decode()


def test_answers_in_few_queries(cast: Cast, manager: Client) -> None:
    double = row(104, "double", "derived", limits="0 to 200", unit_of_measure="mm", decimals="3", formula="checked * 2")
    line = Line.with_plan(
        cast, FIXTURE_ROW, measured(), measured(102, "size_after", paired_with="size"),
        measured(103, "checked", second_inspection="yes"), double, gauges=True,
    )  # fmt: skip
    line.send([line.operation(line.open(), "checked", {"value": "50.0"})])
    line.play("size", FIVE * 5, fixture=["TF-1", "TF-2"] * 12 + ["TF-1"], gauge=["CA-01"] * 25)
    pages = ("/trends/?family=DX-1", PAGE, "/trends/DX-1/double/", "/trends/distortion/?family=DX-1")
    for address in (*pages, "/trends/yield/?family=DX-1"):
        with CaptureQueriesContext(
            connection,
        ) as asked:
            text_of(manager, address)
        assert len(asked) <= 21, (address, [q["sql"][:120] for q in asked])


def test_costs_no_more_queries_with_more_units(cast: Cast, manager: Client) -> None:
    line = Line.with_plan(cast, FIXTURE_ROW, measured())
    text_of(manager, PAGE)  # a released plan is read once in a process
    counts = []
    for _ in range(2):
        line.play("size", FIVE, fixture=["TF-1"] * 5)
        with CaptureQueriesContext(connection) as asked:
            text_of(manager, PAGE)
        counts.append(len(asked))
    assert counts[0] == counts[1]


def test_gives_the_values_as_csv(cast: Cast, manager: Client) -> None:
    Line.with_plan(cast, measured(limits="-60 to 60")).play("size", ["-0.250", "1.5"])
    answer = manager.get(f"{PAGE}values.csv")
    rows = list(csv.DictReader(io.StringIO(answer.content.decode("utf-8-sig"))))
    assert [(one["serial"], one["value"], one["lower"]) for one in rows] == [
        ("DX-1-00001", "-0.250", "-60"), ("DX-1-00002", "1.5", "-60"),
    ]  # fmt: skip
    assert answer["Content-Disposition"] == 'attachment; filename="DX-1-size.csv"'


def test_gives_pictures_that_stand_alone(cast: Cast, manager: Client) -> None:
    Line.with_plan(cast, measured()).play("size", [*FIVE, "50.3"])
    svg = manager.get(f"{PAGE}chart.svg")
    assert svg["Content-Type"] == "image/svg+xml"
    drawn = svg.content.decode()
    assert 'xmlns="http://www.w3.org/2000/svg"' in drawn
    assert "class=" not in drawn
    assert "style=" not in drawn
    assert "First round and first inspection only" in drawn
    assert ElementTree.fromstring(drawn).tag == "{http://www.w3.org/2000/svg}svg"  # noqa: S314 - a picture of our own
    png = manager.get(f"{PAGE}histogram.png").content
    assert png.startswith(b"\x89PNG")
    assert len(png) > 2000
    assert manager.get(f"{PAGE}nothing.svg").status_code == 404


def test_keeps_every_chart_of_a_page_as_picture_and_as_numbers(cast: Cast, manager: Client) -> None:
    """Each `downloads` of the pages offers SVG, PNG and CSV, and each of them is given."""
    line = Line.with_plan(cast, FIXTURE_ROW, measured(), measured(102, "size_before"))
    line.play("size", FIVE * 5, fixture=["TF-1", "TF-2"] * 12 + ["TF-1"])
    both = [line.operation(serial, "size_before", {"value": "49.5"}) for serial in line.serials]
    line.send(both)
    kinds = {"svg": "image/svg+xml", "png": "image/png", "csv": "text/csv; charset=utf-8"}
    pages = ("/trends/?family=DX-1", PAGE, f"{PAGE}decisions/", "/trends/distortion/?family=DX-1")
    seen = 0
    for page in pages:
        for block in re.findall(r'<p class="downloads".*?</p>', text_of(manager, page)):
            addresses = [unescape(one) for one in re.findall(r'href="([^"]+\.(?:svg|png|csv)[^"]*)"', block)]
            if len(addresses) < 3:  # a month's report, a table's file
                assert "svg" not in block
                continue
            assert re.findall(r">(SVG|PNG|CSV)<", block) == ["SVG", "PNG", "CSV"], block
            for address in addresses:
                answer = manager.get(address)
                ending = address.split("?")[0].rsplit(".", 1)[1]
                assert (answer.status_code, answer["Content-Type"]) == (200, kinds[ending]), address
                assert len(answer.content) > 60
                seen += 1
    # two small charts, the chart four times with its spread, histogram and two splits, pairs and their split
    assert seen >= 3 * 9


def test_gives_the_numbers_behind_each_picture(cast: Cast, manager: Client) -> None:
    line = Line.with_plan(cast, FIXTURE_ROW, measured())
    line.play("size", [*FIVE * 5, "58"], fixture=["TF-1", "TF-2"] * 13)

    def rows(address: str) -> list[dict[str, str]]:
        return list(csv.DictReader(io.StringIO(manager.get(address).content.decode("utf-8-sig"))))

    points = rows(f"{PAGE}chart.csv?base=25")
    chart = manager.get("/api/v1/trends/DX-1/size?base=25").json()["chart"]
    assert [float(one["upper_control_limit"]) for one in points] == chart["upper"]
    assert points[-1]["signals"] == chart["signals"][0]["sentence"] == "One above the upper control limit: DX-1-00026."
    assert sum(int(one["values"]) for one in rows(f"{PAGE}histogram.csv")) == 26
    assert [(one["level"], one["values"]) for one in rows(f"{PAGE}fixture.csv")] == [("TF-1", "13"), ("TF-2", "13")]
    assert len(rows(f"{PAGE}spread.csv")) == 25
    watched = rows("/trends/watch/DX-1.csv")
    assert [(one["number"], one["last"], one["values"]) for one in watched] == [("101", "58.0", "26")]
    assert rows("/trends/watch/DX-1/size.csv")[-1]["point"] == "DX-1-00026"
    for missing in (f"{PAGE}nothing.csv", f"{PAGE}inspector.csv", "/trends/watch/DX-1/nothing.svg"):
        assert manager.get(missing).status_code == 404


def test_describes_small_charts_for_screen_readers_and_beside_them(cast: Cast, manager: Client) -> None:
    Line.with_plan(cast, measured()).play("size", [*FIVE, "50.3"])
    page = text_of(manager, "/trends/?family=DX-1")
    assert 'role="img" aria-labelledby="small-101-t small-101-d"' in page
    assert "Size, DX-1: the last 6 values</title>" in page
    assert "Table of all characteristics" in page


def test_draws_points_by_order_or_by_date(cast: Cast, manager: Client) -> None:
    """Two units an hour apart and one ten days later: evenly spaced by order, far apart by date."""
    line = Line.with_plan(cast, measured())
    line.play("size", [*FIVE, "50.3"])
    line.at += timedelta(days=10)
    line.play("size", ["50.4"])

    def across(axis: str) -> list[float]:
        svg = manager.get(f"{PAGE}chart.svg", {"axis": axis}).text
        assert f"by {axis}" in svg
        return [float(x) for x in re.findall(r'<circle fill="none" stroke="none" cx="([0-9.]+)"', svg)]

    ordered, dated = across("order"), across("date")
    assert len(ordered) == len(dated) == 7
    assert ordered[6] - ordered[5] == pytest.approx(ordered[1] - ordered[0], abs=0.02)
    # 246 hours from the first to the last of them, one of which lies between the first two
    assert (dated[1] - dated[0]) / (dated[6] - dated[0]) == pytest.approx(1 / 246, abs=1e-3)
    assert "Points by" in text_of(manager, f"{PAGE}?axis=date")
    assert manager.get(f"{PAGE}?axis=moons").status_code == 400


def test_carries_no_style_and_no_script_in_its_pictures(cast: Cast, manager: Client) -> None:
    Line.with_plan(cast, measured()).play("size", FIVE)
    main = text_of(manager, PAGE).split("<main", 1)[1]
    assert "style=" not in main
    assert "<script" not in main.split("</main>")[0]


def test_charts_attributes_in_samples_and_weeks(cast: Cast, manager: Client) -> None:
    line = Line.with_plan(cast, row(101, "look", "attribute"))
    line.play("look", [{"conforms": place % 4 != 0} for place in range(60)])
    found = manager.get("/api/v1/trends/DX-1/look?size=10").json()
    # 15 of 60 do not conform: np-bar 2.5, sigma sqrt(10·0.25·0.75), by hand
    assert found["chart"]["center"][0] == pytest.approx(2.5)
    assert found["chart"]["upper"][0] == pytest.approx(2.5 + 3 * (10 * 0.25 * 0.75) ** 0.5)
    assert found["chart"]["lower"][0] == 0.0
    assert found["capability"] is None
    assert (
        "control limits need at least 5"
        in manager.get("/api/v1/trends/DX-1/look?group=weeks").json()["chart"]["refusal"]
    )
    assert "Units that do not conform, of 10 in a row" in text_of(manager, "/trends/DX-1/look/")


def test_converts_an_earlier_revision_exactly(cast: Cast, manager: Client) -> None:
    line = Line.with_plan(cast, measured(limits="1.9 to 2.1", unit_of_measure="in"))
    line.play("size", ["2.005", "1.995"])
    line.revise("B", measured(limits="50 to 51"))
    line.play("size", ["50.4"])
    found = manager.get("/api/v1/trends/DX-1/size").json()
    assert [one["text"] for one in found["values"]] == ["50.927", "50.673", "50.4"]  # an inch is 25.4 mm
    assert [one["revision"] for one in found["values"]] == ["A", "A", "B"]
    assert found["unit_of_measure"] == "mm"
    assert found["events"] == [{"before": 2, "kind": "revision", "words": "plan revision B"}]


def test_shows_a_characteristic_that_the_plan_no_longer_asks_for(cast: Cast, manager: Client) -> None:
    line = Line.with_plan(cast, measured())
    line.play("size", FIVE)
    line.revise("B", measured(102, "other"))
    assert len(manager.get("/api/v1/trends/DX-1/size").json()["values"]) == 5
