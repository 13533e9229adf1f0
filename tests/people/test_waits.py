"""The waits between attempts; the steps are the product's own (common practice, no source)."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from qcapp.people.waits import is_forgotten, wait_after

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
