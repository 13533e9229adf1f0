"""Days follow the clock on the workshop's wall."""

from __future__ import annotations

from datetime import UTC, date, datetime

import pytest

from qcapp.lib.site_days import day_ends, shift_at, site_day


@pytest.fixture(autouse=True)
def _in_berlin(settings):
    settings.QCAPP_SITE_ZONE = "Europe/Berlin"


@pytest.mark.parametrize(
    ("at", "day"),
    [
        (datetime(2026, 3, 17, 22, 59, tzinfo=UTC), date(2026, 3, 17)),
        (datetime(2026, 3, 17, 23, 0, tzinfo=UTC), date(2026, 3, 18)),
        (datetime(2026, 7, 17, 21, 59, tzinfo=UTC), date(2026, 7, 17)),
        (datetime(2026, 7, 17, 22, 0, tzinfo=UTC), date(2026, 7, 18)),
    ],
)
def test_a_day_begins_at_midnight_of_the_site(at, day):
    assert site_day(at) == day


def test_a_day_ends_where_the_next_begins_also_when_the_clocks_change():
    assert day_ends(date(2026, 3, 28)) == datetime(2026, 3, 28, 23, tzinfo=UTC)
    assert day_ends(date(2026, 3, 29)) == datetime(2026, 3, 29, 22, tzinfo=UTC)  # summer time since two o'clock


def test_today_is_a_day_of_the_site():
    assert abs((site_day() - datetime.now(UTC).date()).days) <= 1


@pytest.mark.parametrize(
    ("hour", "minute", "shift"),
    [(4, 59, "night"), (5, 0, "early"), (12, 59, "early"), (13, 0, "late"), (20, 59, "late"), (21, 0, "night")],
)
def test_the_shift_follows_the_hour_at_the_site(hour, minute, shift):
    # 17 March 2026 is winter time at the site: one hour ahead of UTC
    assert shift_at(datetime(2026, 3, 17, hour, minute, tzinfo=UTC)) == shift
