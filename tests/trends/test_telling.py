"""Signals come into the quality manager's inbox once, with the way to the chart, and no submission waits for it."""

from __future__ import annotations

import io
import random
from collections.abc import Callable

import pytest
from django.core.management import call_command
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from qcapp.messages.models import Message
from qcapp.production.queries import family_by_code
from qcapp.trends.management.commands.watch_signals import look
from qcapp.trends.models import SignalTold
from qcapp.trends.queries import signals_of
from qcapp.trends.queries.watching import forget
from qcapp.trends.services import acknowledge_signal
from qcapp.trends.services.telling import MOST_AT_ONCE, tell_signals
from tests.cast import Cast

from .line import FAMILY, Line, measured


@pytest.fixture(autouse=True)
def nothing_kept() -> None:
    forget()


def values(count: int, seed: int, mean: float = 50.0) -> list[str]:
    source = random.Random(seed)
    return [f"{source.gauss(mean, 1.0):.3f}" for _ in range(count)]


@pytest.fixture
def line(cast: Cast) -> Line:
    made = Line.with_plan(cast, measured())
    made.play("size", values(30, 1))
    return made


def told() -> list[tuple[str, str]]:
    return list(Message.objects.order_by("id").values_list("to__badge", "subject"))


def test_tells_a_signal_once_to_each_quality_manager(line: Line, cast: Cast) -> None:
    family = family_by_code(FAMILY)
    assert tell_signals(family, at=line.at) == 0
    line.play("size", ["59.500"])
    assert tell_signals(family, at=line.at) >= 1
    after = told()
    assert {badge for badge, _ in after} == {cast.quality_manager.badge, cast.second_quality_manager.badge}
    assert all(subject == "DX-1: signal on Size" for _, subject in after)
    line.play("size", values(1, 4))
    assert tell_signals(family, at=line.at) == 0
    assert told() == after


def test_leads_to_the_chart(line: Line, cast: Cast, client_of: Callable[..., Client]) -> None:
    line.play("size", ["59.500"])
    tell_signals(family_by_code(FAMILY), at=line.at)
    message = Message.objects.first()
    assert line.serials[-1] in message.text
    page = client_of(cast.quality_manager).get(message.link).content.decode()
    assert line.serials[-1] in page
    assert "<svg" in page


def test_does_not_tell_what_was_acknowledged_before(line: Line, cast: Cast) -> None:
    line.play("size", ["59.500"])
    for one in signals_of(FAMILY, "size").waiting:
        acknowledge_signal(
            by=cast.engineer, family_code=FAMILY, key="size", rule=one.rule, fixture=one.fixture,
            first_serial=one.first_serial, reason="seen on the floor", at=line.at,
        )  # fmt: skip
    assert tell_signals(family_by_code(FAMILY), at=line.at) == 0
    assert told() == []


def test_tells_many_signals_together(cast: Cast) -> None:
    keys = [f"size_{number}" for number in range(MOST_AT_ONCE + 2)]
    line = Line.with_plan(cast, *[measured(101 + place, key) for place, key in enumerate(keys)])
    source = random.Random(5)
    for _ in range(30):
        serial = line.open()
        line.send([line.operation(serial, key, {"value": f"{source.gauss(50, 1):.3f}"}) for key in keys])
    serial = line.open()
    line.send([line.operation(serial, key, {"value": "59.000"}) for key in keys])
    count = tell_signals(family_by_code(FAMILY), at=line.at)
    assert count >= len(keys)
    assert {subject for _, subject in told()} == {f"DX-1: {count} signals"}
    assert SignalTold.objects.count() == count


def test_looks_only_at_families_with_newer_results(line: Line) -> None:
    line.play("size", ["59.500"])
    seen: dict[int, int] = {}
    assert look(seen) >= 1
    with CaptureQueriesContext(connection) as asked:
        assert look(seen) == 0
    assert len(asked) <= 3
    answer = io.StringIO()
    call_command("watch_signals", stdout=answer)
    assert answer.getvalue() == "0 signals told.\n"


def test_costs_a_submission_nothing(line: Line) -> None:
    with CaptureQueriesContext(connection) as asked:
        line.play("size", ["59.500"])
    assert not [query for query in asked if "trends_" in query["sql"]]
    assert told() == [] or all("signal" not in subject for _, subject in told())
