"""The database is gone while tablets send, and comes back: nothing lost, nothing doubled, and nobody restarts a thing.

How long it is gone plays no part: each step ends by what has happened, never by a clock. A real server between tablets
and PostgreSQL, and a line to the database that the test cuts. Collected where the run is on PostgreSQL.
"""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor

import pytest
from django.utils import timezone

from qcapp.audit.queries import check_chain
from qcapp.config.benchmarks.real_server import RealServer, database_url
from qcapp.inspections.models import Result
from qcapp.inspections.services.projection import differences
from qcapp.nonconformance.models import Report

from ..cast import Cast
from ..factories import inspections as factory
from ..factories.inspections import Workshop, gauges_at
from .line_to_database import LineToDatabase
from .sending import Answer, Tablet

pytestmark = pytest.mark.django_db(transaction=True)
OUT = "66.00"


@pytest.fixture(scope="module")
def line(django_db_setup: None) -> Iterator[LineToDatabase]:
    made = LineToDatabase(database_url())
    yield made
    made.close()


@pytest.fixture(scope="module")
def server(line: LineToDatabase) -> Iterator[RealServer]:
    """One for all tests, which it outlives without being restarted."""
    with RealServer(workers=1, threads=4, QCAPP_DATABASE_URL=line.url, QCAPP_SECOND_FACTOR="offered") as running:
        yield running


@pytest.fixture
def workshop(cast: Cast, monkeypatch: pytest.MonkeyPatch) -> Workshop:
    """As of today, with gauges that are in calibration today."""
    now = timezone.now()
    monkeypatch.setattr(factory, "GAUGES", gauges_at(now))
    return Workshop.opened(cast, at=now)


@pytest.fixture
def tablet(server: RealServer, workshop: Workshop) -> Tablet:
    return Tablet(server.address, workshop.cast.inspector)


def refused_for_now(answer: Answer) -> bool:
    """A clear sentence, and a code that tells a program to try again."""
    return (answer.status, answer.body.get("code")) == (503, "database_gone") and "does not answer" in answer.body[
        "message"
    ]


def stored(*operations: dict[str, object]) -> list[int]:
    return [Result.objects.filter(operation=one["id"]).count() for one in operations]


def holds() -> None:
    assert differences() == []
    assert check_chain().broken is None
    numbers = sorted(int(report.number.rpartition("-")[2]) for report in Report.objects.all())
    assert numbers == list(range(1, len(numbers) + 1))


def test_keeps_what_it_acknowledged_and_takes_the_rest_when_the_database_is_back(
    tablet: Tablet, workshop: Workshop, line: LineToDatabase
) -> None:
    before, meanwhile = workshop.operation("left_length"), workshop.operation("head_angle", OUT)
    assert tablet.send(before).outcomes == ["applied"]
    line.gone()
    assert all(refused_for_now(tablet.send(meanwhile)) for _ in range(4))  # each thread of the server
    assert tablet.watched("/health/live/").status == 200
    ready = tablet.watched("/health/ready/")
    assert (ready.status, ready.body["checks"]["database"]) == (503, "failed")
    assert stored(before, meanwhile) == [1, 0]
    line.back()
    back = [tablet.watched("/health/ready/").body["checks"] for _ in range(4)]
    assert [(each["database"], each["migrations"], each["guards"]) for each in back] == [("ok",) * 3] * 4
    assert tablet.send(before, meanwhile).outcomes == ["duplicate", "applied"]
    assert stored(before, meanwhile) == [1, 1]
    assert Report.objects.count() == 1
    holds()


@pytest.mark.parametrize(("when", "then"), [("before", "applied"), ("after", "duplicate")])
def test_stores_once_what_was_cut_at_its_commit(
    tablet: Tablet, workshop: Workshop, line: LineToDatabase, when: str, then: str
) -> None:
    """After it, the server cannot know that it is stored: the tablet sends again and learns it."""
    operation = workshop.operation("head_angle", OUT)
    line.lose(when)
    assert refused_for_now(tablet.send(operation))
    assert stored(operation) == [int(when == "after")]
    assert tablet.send(operation).outcomes == [then]
    assert stored(operation) == [1]
    assert Report.objects.count() == 1
    holds()


def test_goes_on_with_what_hung_and_gives_up_what_was_cut(
    tablet: Tablet, workshop: Workshop, line: LineToDatabase
) -> None:
    first, second, third = (workshop.operation(key) for key in ("left_length", "right_length", "head_angle"))
    with ThreadPoolExecutor(1) as hand:
        line.hang()
        waiting = hand.submit(tablet.send, first)
        assert line.held.wait(60)
        assert not waiting.done()
        line.go_on()
        assert waiting.result(60).outcomes == ["applied"]
        line.hang()
        waiting = hand.submit(tablet.send, second, third)
        assert line.held.wait(60)
        line.gone()
        line.go_on()
        assert refused_for_now(waiting.result(60))
    line.back()
    assert tablet.send(first, second, third).outcomes == ["duplicate", "applied", "applied"]
    assert stored(first, second, third) == [1, 1, 1]
    holds()
