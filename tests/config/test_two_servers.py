"""Two servers, each with processes of its own, on one database: as if each were alone, and as if both were one."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack
from datetime import timedelta
from threading import Barrier

import pytest
from django.conf import settings
from django.utils import timezone

from qcapp.audit.queries import check_chain
from qcapp.certificates.models import Certificate
from qcapp.config.benchmarks.real_server import RealServer
from qcapp.inspections.models import Result
from qcapp.inspections.services.projection import differences
from qcapp.nonconformance.models import Report

from ..cast import Cast
from ..factories import inspections as factory
from ..factories.certificates import release_unit
from ..factories.inspections import EVERY_UNIT, STAGES, Workshop, gauges_at
from .sending import Answer, Tablet

pytestmark = pytest.mark.django_db(transaction=True)
EACH = 3  # units at each server


@pytest.fixture
def servers() -> Iterator[list[RealServer]]:
    told = {"QCAPP_SECOND_FACTOR": "offered", "QCAPP_SIGNING_PASSPHRASE": settings.QCAPP_SIGNING_PASSPHRASE}
    with ExitStack() as running:
        yield [running.enter_context(RealServer(workers=1, threads=4, **told)) for _ in range(2)]


@pytest.fixture
def units(cast: Cast, monkeypatch: pytest.MonkeyPatch) -> list[Workshop]:
    """Units on their benches, as of today, with gauges that are in calibration today."""
    now = timezone.now()
    monkeypatch.setattr(factory, "GAUGES", gauges_at(now))
    first = Workshop.opened(cast, at=now, serial="FR-200-0001", plan=EVERY_UNIT)
    return [first, *(first.another_unit(f"FR-200-{number:04}") for number in range(2, 2 * EACH + 1))]


def at_once(*acts: Callable[[], Answer]) -> list[Answer]:
    """What each gets, all begun at the same moment."""
    start = Barrier(len(acts))

    def run(act: Callable[[], Answer]) -> Answer:
        start.wait(timeout=60)
        return act()

    with ThreadPoolExecutor(len(acts)) as hands:
        return list(hands.map(run, acts))


def numbers(found: list[str]) -> list[int]:
    return sorted(int(one.rpartition("-")[2]) for one in found)


def test_take_the_same_and_different_entries_number_reports_and_issue_certificates_at_once(
    servers: list[RealServer], units: list[Workshop]
) -> None:
    """One walk, because starting two servers takes seconds."""
    tablets = [Tablet(server.address, units[0].cast.inspector, f"tablet {n}") for n, server in enumerate(servers)]
    the_same_entries_are_stored_once(tablets, units[0])
    different_entries_are_all_stored_and_reports_numbered_without_a_gap(tablets, units)
    certificates_are_numbered_without_a_gap_and_issued_once(servers, units)
    assert differences() == []
    assert check_chain().broken is None


def the_same_entries_are_stored_once(tablets: list[Tablet], unit: Workshop) -> None:
    entries = [unit.operation(key) for key in STAGES[1]]
    both = at_once(*(lambda tablet=tablet: tablet.send(*entries) for tablet in tablets))
    assert [answer.status for answer in both] == [200, 200]
    pairs = zip(*(answer.outcomes for answer in both), strict=True)
    assert [sorted(pair) for pair in pairs] == [["applied", "duplicate"]] * len(entries)
    assert Result.objects.exclude(purpose="computed").count() == len(entries)


def different_entries_are_all_stored_and_reports_numbered_without_a_gap(
    tablets: list[Tablet], units: list[Workshop]
) -> None:
    entries = [unit.operation("twist", "0.99") for unit in units]
    answers = at_once(
        *(lambda tablet=tablets[place % 2], entry=entry: tablet.send(entry) for place, entry in enumerate(entries))
    )
    assert [answer.outcomes for answer in answers] == [["applied"]] * len(units)
    told = [answer.body["operations"][0]["report"] for answer in answers]
    assert numbers(told) == list(range(1, len(units) + 1))
    assert set(told) == set(Report.objects.values_list("number", flat=True))


def certificates_are_numbered_without_a_gap_and_issued_once(servers: list[RealServer], units: list[Workshop]) -> None:
    done = [units[0].another_unit(f"FR-200-{number:04}").finish() for number in (21, 22, 23)]
    for unit in done:
        release_unit(unit, at=unit.at + timedelta(seconds=1))
    manager = Tablet(servers[0].address, units[0].cast.quality_manager)
    desks = [manager, manager.at(servers[1].address)]
    asked = [(desks[0], done[0]), (desks[1], done[0]), (desks[0], done[1]), (desks[1], done[2])]
    answers = at_once(
        *(
            lambda desk=desk, unit=unit: desk.post("/api/v1/certificates", {"serial": unit.serial})
            for desk, unit in asked
        )
    )
    first, second, *others = answers
    assert sorted([first.status, second.status]) == [201, 409]
    assert [answer.status for answer in others] == [201, 201]
    issued = Certificate.objects.values_list("number", flat=True)
    assert numbers(list(issued)) == [1, 2, 3]
