"""The queue: what waits for whom, narrowed by the address, page by page, and as a file read back."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import openpyxl
import pytest
from django.test import Client

from qcapp.core.errors import Invalid
from qcapp.customers.services import add_customer, add_order, set_due
from qcapp.nonconformance.cards import SECRET
from qcapp.nonconformance.queries.queue import EXPORTED, QueueFilter, QueuePage, queue_page, queue_table, waiting_for
from qcapp.people.models import Person
from qcapp.people.roles import Role

from ..cast import FIXED_NOW
from ..factories.nonconformance import LATER, Case

pytestmark = pytest.mark.django_db
Browser = Callable[[Person], Client]
Count = Callable[[int], Any]
NOW = LATER + timedelta(hours=1)


def page(**wanted: Any) -> QueuePage:
    return queue_page(QueueFilter(**wanted), viewer=None, at=NOW)


def numbers(**wanted: Any) -> list[str]:
    return [row.card.number for row in page(**wanted).rows]


@pytest.fixture
def several(case: Case) -> dict[str, Case]:
    """A report in each state, the last ones raised by hand."""
    other = case.workshop.another_unit("FR-200-0148")
    return {
        "decided": case.decide("use_as_is"),
        "open": Case.by_hand(case.workshop),
        "contained": Case.by_hand(other, "minor").contain(),
        "proposed": Case.by_hand(other, "critical").contain().propose("repair", reinspect=["twist"]).sign("engineer"),
        "to correct": Case.by_hand(other).decide("rework", reinspect=["twist"]),
        "in correction": Case.by_hand(other).decide("rework", reinspect=["twist"]).start(),
        "withdrawn": Case.by_hand(other).withdraw(),
    }


def test_says_what_is_next_and_who_does_it(several: dict[str, Case]) -> None:
    rows = {row.card.number: (row.step, row.roles) for row in page(state="all").rows}
    assert {name: rows[case.number] for name, case in several.items()} == {
        "decided": ("close", ("quality manager",)),
        "open": ("contain", ("inspector", "quality manager")),
        "contained": ("propose a disposition", ("quality manager",)),
        "proposed": ("sign the disposition", ("quality manager", "welding coordinator")),
        "to correct": ("start the correction", ("welder", "assembler")),
        "in correction": ("finish the correction", ("welder", "assembler")),
        "withdrawn": ("", ()),
    }


@pytest.mark.parametrize("role", list(Role))
def test_gives_each_role_exactly_what_waits_for_it(several: dict[str, Case], role: Role) -> None:
    expected = [row.card.number for row in page().rows if role.label in row.roles]
    assert numbers(waiting=role.value) == expected
    assert waiting_for(role) == len(expected)


def test_waits_for_the_quality_manager_again_once_a_correction_failed(case: Case) -> None:
    case.decide("rework").start().finish().fail()
    (row,) = page().rows
    assert (row.step, row.roles) == ("propose a disposition", ("quality manager",))
    assert numbers(waiting="quality_manager") == [case.number]


@pytest.mark.parametrize(
    ("wanted", "found"),
    [
        ({"severity": "minor"}, {"contained"}),
        ({"disposition": "use_as_is"}, {"decided"}),
        ({"checkpoint": "101"}, {"decided"}),
        ({"checkpoint": "head_angle"}, {"decided"}),
        ({"checkpoint": "999"}, set()),
        ({"joint": "W7"}, set()),
        ({"family": "fr-200", "state": "withdrawn"}, {"withdrawn"}),
        ({"family": "AX-200"}, set()),
        ({"cause": "method", "state": "decided"}, {"decided", "to correct"}),
        ({"since": FIXED_NOW.date(), "until": FIXED_NOW.date(), "state": "open"}, {"open"}),
        ({"since": FIXED_NOW.date() + timedelta(days=1)}, set()),
        ({"until": FIXED_NOW.date() - timedelta(days=1)}, set()),
        ({"waiting": "nobody of that name"}, set()),
    ],
)
def test_narrows_the_queue(several: dict[str, Case], wanted: dict[str, Any], found: set[str]) -> None:
    assert set(numbers(**wanted)) == {several[name].number for name in found}


def test_counts_states_and_ages_under_the_same_filter(several: dict[str, Case]) -> None:
    found = page(severity="major")
    assert (found.total, found.active) == (4, 3)
    assert found.counts["withdrawn"] == 1
    assert dict(page().ages)["up to a day"] == 6
    later = queue_page(QueueFilter(), viewer=None, at=NOW + timedelta(days=9))
    assert [count for _, count in later.ages] == [0, 0, 0, 6, 0]
    assert sum(count for _, count in queue_page(QueueFilter(), viewer=None, at=NOW + timedelta(days=99)).ages) == 6
    assert later.rows[0].late


@pytest.mark.parametrize("order", ["latest", "longest"])
def test_pages_without_leaving_one_out_or_giving_one_twice(several: dict[str, Case], order: str) -> None:
    wanted = QueueFilter(state="all", order=order)
    whole = [row.card.number for row in queue_page(wanted, viewer=None, at=NOW).rows]
    found, after = [], None
    for _ in range(9):
        part = queue_page(wanted, viewer=None, at=NOW, after=after, limit=2)
        found += [row.card.number for row in part.rows]
        after = part.more
        if after is None:
            break
    assert found == whole
    assert len(set(whole)) == len(several)


def test_asks_no_more_for_a_longer_queue(several: dict[str, Case], django_assert_max_num_queries: Count) -> None:
    viewer = several["open"].cast.quality_manager
    with django_assert_max_num_queries(12):
        queue_page(QueueFilter(waiting="quality_manager"), viewer=viewer, at=NOW)


def test_keeps_the_filter_in_the_address() -> None:
    asked = {"severity": "minor", "since": "2026-03-01", "order": "longest", "unknown": "x"}
    wanted = QueueFilter.read(asked)
    assert QueueFilter.read(wanted.words()) == wanted
    assert wanted.words() == {name: asked[name] for name in ("severity", "since", "order")}
    for wrong, code in (({"since": "tomorrow"}, "date_unreadable"), ({"joint": "W\0"}, "text_not_plain")):
        with pytest.raises(Invalid) as caught:
            QueueFilter.read(wrong)
        assert caught.value.code == code


def test_writes_a_table_that_reads_back_the_same(several: dict[str, Case], client_of: Browser) -> None:
    nasty = '=HYPERLINK("http://elsewhere","click")'
    Case.by_hand(several["open"].workshop, title=nasty, description="Typed so.")
    expected = [[*row] for row in queue_table(QueueFilter(state="all"), viewer=None, at=NOW)]
    assert len(expected) == len(several) + 1
    client = client_of(several["open"].cast.customer_service)
    data = client.get("/nonconformances/export.csv?state=all").content
    head, *lines = csv.reader(io.StringIO(data.decode("utf-8-sig")))
    assert tuple(head) == EXPORTED
    assert [line[0] for line in lines] == [row[0] for row in expected]
    assert lines[0][3] == f"'{nasty}"
    book = openpyxl.load_workbook(io.BytesIO(client.get("/nonconformances/export.xlsx?state=all").content))
    rows = list(book.active.iter_rows(min_row=2))  # type: ignore[union-attr]
    assert [cell.value for cell in rows[0]][3] == nasty
    assert all(cell.data_type in ("s", "n") for row in rows for cell in row)
    assert [cell.value for cell in rows[-1]][11] == 101  # a number stays one


def test_says_until_when_what_it_holds_up_is_wanted(case: Case, client_of: Browser) -> None:
    by, day = case.cast.customer_service, NOW.date() + timedelta(days=9)
    add_customer(by=by, number="C-104", name="Orchard Rise Growers", at=NOW)
    add_order(by=by, number="A-1", customer_number="C-104", due_on=day, at=NOW)
    (row,) = queue_page(QueueFilter(), viewer=None, at=NOW).rows
    assert (row.order_number, row.due_on) == ("A-1", day)
    client = client_of(case.cast.quality_manager)
    assert f"A-1, due {day:%-d %b %Y}" in client.get("/nonconformances/").text
    assert client.get("/api/v1/queue").json()["reports"][0]["due_on"] == day.isoformat()
    (line,) = csv.DictReader(io.StringIO(client.get("/nonconformances/export.csv").content.decode("utf-8-sig")))
    assert line["due"] == day.isoformat()
    set_due(by=by, order_number="A-1", due_on=None, at=NOW)
    assert queue_page(QueueFilter(), viewer=None, at=NOW).rows[0].due_on is None


def test_tells_no_secret_in_a_file(case: Case, client_of: Browser) -> None:
    case.workshop.answer_stage(1)
    found = Case.out_of_band(case.workshop, "throat_w7", "2.1")
    client = client_of(case.cast.second_inspector)
    text = client.get("/nonconformances/export.csv").content.decode("utf-8-sig")
    assert SECRET in next(line for line in text.splitlines() if line.startswith(found.number))
    assert "2.1 mm" not in text


def test_shows_the_queue_with_what_waits_for_me(several: dict[str, Case], client_of: Browser) -> None:
    cast = several["open"].cast
    text = client_of(cast.quality_manager).get("/nonconformances/").text
    assert "Waiting for you: " in text
    assert "4 as quality manager" in text
    assert "Propose a disposition" in text
    assert "No report fits this filter." in client_of(cast.welder).get("/nonconformances/?joint=W99").text
    assert "Waiting for you" not in client_of(cast.customer_service).get("/nonconformances/").text
    assert client_of(cast.welder).get("/nonconformances/?after=x").status_code == 400
    assert client_of(cast.welder).get("/nonconformances/?since=x").status_code == 400
