"""Days of the site's zone: due dates and numbers per year follow the clock on the wall there."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from django.conf import settings
from django.utils import timezone


def site_day(at: datetime | None = None) -> date:
    """The site's day at an instant; today when none is given."""
    return (at or timezone.now()).astimezone(ZoneInfo(settings.QCAPP_SITE_ZONE)).date()


def day_begins(day: date) -> datetime:
    """The instant, in UTC, at which the site's day begins."""
    return datetime.combine(day, time(), ZoneInfo(settings.QCAPP_SITE_ZONE)).astimezone(UTC)


def day_ends(day: date) -> datetime:
    """The instant, in UTC, at which the site's next day begins."""
    return datetime.combine(day + timedelta(days=1), time(), ZoneInfo(settings.QCAPP_SITE_ZONE)).astimezone(UTC)
