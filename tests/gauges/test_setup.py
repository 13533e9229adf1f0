"""Set-up checks on a setting master: asked by metrology, judged exactly, and what a reading without one is worth."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from typing import Any
from uuid import UUID

import pytest
from django.test import Client

from qcapp.gauges.models import SetupCheck
from qcapp.gauges.setup import ask_setup, record_setup, setup_of, setups_of
from qcapp.inspections.models import Result
from qcapp.lib.fields import uuid7
from qcapp.people.models import Person

from ..cast import Cast
from ..factories.inspections import Workshop
from ..unchanged import refused

pytestmark = pytest.mark.django_db


@pytest.fixture
def workshop(cast: Cast) -> Workshop:
    for name in ("metrology", "inspector", "welder", "stranger_to_all_roles"):
        getattr(cast, name)
    return Workshop.opened(cast)


@pytest.fixture
def asked(workshop: Workshop) -> Workshop:
    """CA-01 is read on a ring of 25.000 mm, ± 0.004, every ten hours."""
    given = {"master": "setting ring SR-25", "reference": "25.000", "limit": "0.004", "hours": 10}
    ask_setup(by=workshop.cast.metrology, number="CA-01", at=workshop.at, **given)  # type: ignore[arg-type]
    return workshop


def read(workshop: Workshop, reading: str, *, hours_ago: float = 1, operation: UUID | None = None) -> tuple[bool, bool]:
    done = workshop.at - timedelta(hours=hours_ago)
    return record_setup(
        by=workshop.cast.inspector, operation=operation or uuid7(), number="CA-01", reading=reading, device="tablet 7",
        done_at=done, at=workshop.at,
    )  # fmt: skip


def flags(workshop: Workshop) -> list[str]:
    workshop.send_one("left_length")
    return list(Result.objects.get(checkpoint__characteristic__key="left_length").flags)


@pytest.mark.parametrize(
    ("reading", "passed"), [("25.004", True), ("24.996", True), ("25.0041", False), ("24,995", False), ("25", True)]
)
def test_passes_up_to_the_limit_and_not_beyond(asked: Workshop, reading: str, passed: bool) -> None:
    assert read(asked, reading) == (passed, True)


class TestReadings:
    def test_are_not_flagged_after_a_passed_check(self, asked: Workshop) -> None:
        read(asked, "25.001")
        assert flags(asked) == []

    def test_are_kept_and_flagged_without_one(self, asked: Workshop) -> None:
        assert flags(asked) == ["setup_check_missing"]

    def test_are_flagged_when_it_was_too_long_ago(self, asked: Workshop) -> None:
        read(asked, "25.001", hours_ago=10.1)
        assert flags(asked) == ["setup_check_missing"]

    def test_are_flagged_when_the_last_one_before_had_failed(self, asked: Workshop) -> None:
        read(asked, "25.001", hours_ago=3)
        read(asked, "25.010", hours_ago=1)
        assert flags(asked) == ["setup_check_failed"]

    def test_count_by_when_they_were_taken_not_by_when_the_check_came(self, asked: Workshop) -> None:
        read(asked, "25.001", hours_ago=-1)  # done an hour after the reading
        assert flags(asked) == ["setup_check_missing"]

    def test_need_none_where_metrology_asks_for_none(self, workshop: Workshop) -> None:
        assert flags(workshop) == []

    def test_need_none_any_more_after_it_was_ended(self, asked: Workshop) -> None:
        given = {"master": "ring", "reference": "25", "limit": "1", "hours": 0}
        assert ask_setup(by=asked.cast.metrology, number="CA-01", at=asked.at, **given) is None  # type: ignore[arg-type]
        assert setups_of() == {}
        assert flags(asked) == []


class TestWriting:
    def test_is_recorded_once_however_often_it_is_sent(self, asked: Workshop) -> None:
        operation = uuid7()
        assert [read(asked, "25.001", operation=operation) for _ in range(2)] == [(True, True), (True, False)]
        with refused("key_reused", "gauges"):
            read(asked, "25.002", operation=operation)
        (check,) = setup_of(SetupCheck.objects.get().gauge_id).checks  # type: ignore[union-attr]
        assert (str(check.reading), check.passed) == ("25.001", True)

    def test_is_refused_where_it_is_not_asked_or_cannot_be_read(self, asked: Workshop) -> None:
        with refused("value_empty", "gauges"):
            read(asked, " ")
        known = {"operation": uuid7(), "reading": "1", "device": "t", "done_at": asked.at, "at": asked.at}
        with refused("setup_not_asked", "gauges"):
            record_setup(by=asked.cast.inspector, number="AG-01", **known)
        with refused("gauge_unknown", "gauges"):
            record_setup(by=asked.cast.inspector, number="ZZ-9", **known)
        with refused("not_permitted", "gauges"):
            record_setup(by=asked.cast.stranger_to_all_roles, number="CA-01", **known)

    @pytest.mark.parametrize(
        ("code", "wrong"),
        [("setup_hours", {"hours": 169}), ("setup_limit", {"limit": "0"}), ("text_missing", {"master": " "})],
    )
    def test_is_asked_by_metrology_alone_and_with_a_limit(
        self, workshop: Workshop, code: str, wrong: dict[str, Any]
    ) -> None:
        given = {"number": "CA-01", "master": "ring", "reference": "25", "limit": "0.01", "hours": 8, "at": workshop.at}
        with refused(code, "gauges"):
            ask_setup(by=workshop.cast.metrology, **given | wrong)
        with refused("not_permitted", "gauges"):
            ask_setup(by=workshop.cast.inspector, **given)


def test_goes_over_the_tablet_and_shows_on_bench_and_gauge_page(
    cast: Cast, client_of: Callable[[Person], Client]
) -> None:
    from django.utils import timezone

    workshop = Workshop.opened(cast, timezone.now())
    metrology, client = client_of(cast.metrology), client_of(cast.inspector)
    told = {"master": "setting ring SR-25", "reference": "25.000", "limit": "0.004", "hours": "10"}
    assert metrology.post("/gauges/CA-01/setup/", told).status_code == 302
    bench = f"/api/v1/units/{workshop.serial}/bench"
    gauge = next(one for one in client.get(bench).json()["gauges"] if one["number"] == "CA-01")
    assert gauge["setup"] == "due"
    assert "CA-01" in client.get("/floor/").content.decode()
    body = {"id": str(uuid7()), "gauge": "CA-01", "reading": "25.002", "device": "tablet 7"}
    body |= {"recorded_at": timezone.now().isoformat()}
    answer = client.post("/api/v1/setup-checks", body, content_type="application/json")
    assert answer.json() == {"id": body["id"], "outcome": "applied", "passed": True}
    gauge = next(one for one in client.get(bench).json()["gauges"] if one["number"] == "CA-01")
    assert gauge["setup"] > timezone.now().isoformat()
    (card,) = client.get("/api/v1/setup-checks").json()["gauges"]
    assert (card["reason"], card["reading"], card["checked_by"]) == ("", "25.002", cast.inspector.name)
    assert "25.002" in metrology.get("/gauges/CA-01/setup/").content.decode()
    assert metrology.post("/gauges/CA-01/setup/", told | {"limit": "0"}).status_code == 400
