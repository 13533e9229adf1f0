"""The waits between attempts; the steps are the product's own (common practice, no source)."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from qcapp.people.waits import believable, is_forgotten, wait_after

AT = datetime(2026, 3, 17, 9, 30, tzinfo=UTC)


@pytest.mark.parametrize(
    ("failures", "seconds"),
    [(0, 0), (4, 0), (5, 30), (6, 60), (7, 120), (8, 300), (9, 900), (10, 900), (1000, 900)],
)
def test_grows_with_the_failures_of_a_person(failures: int, seconds: int) -> None:
    assert wait_after("person", failures) == timedelta(seconds=seconds)


@pytest.mark.parametrize(("failures", "seconds"), [(19, 0), (20, 30), (24, 900)])
def test_gives_an_address_more_free_tries(failures: int, seconds: int) -> None:
    assert wait_after("address", failures) == timedelta(seconds=seconds)


def test_forgets_after_a_quiet_day_and_for_an_address_after_an_hour() -> None:
    moment = timedelta(microseconds=1)
    assert not is_forgotten("person", AT, AT + timedelta(hours=24) - moment)
    assert is_forgotten("person", AT, AT + timedelta(hours=24))
    assert not is_forgotten("address", AT, AT + timedelta(hours=1) - moment)
    assert is_forgotten("address", AT, AT + timedelta(hours=1))


def test_takes_a_time_far_ahead_for_that_of_a_wrong_clock() -> None:
    """Two servers may differ by a moment; further ahead than the longest wait only a wrong clock can be."""
    for ahead in (timedelta(0), timedelta(seconds=3), timedelta(minutes=15)):
        assert believable(AT + ahead, AT) == AT + ahead
    told = believable(AT + timedelta(days=366), AT)
    assert told + wait_after("person", 1000) == AT
    assert not is_forgotten("address", told, AT)
