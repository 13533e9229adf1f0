"""Days of the site's zone: due dates and numbers per year follow the clock on the wall there."""

from __future__ import annotations

import calendar
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


def months_later(day: date, months: int) -> date:
    """The same day of the month that many months on; the month's last day where there is no such day."""
    year, month = divmod(day.year * 12 + day.month - 1 + months, 12)
    return date(year, month + 1, min(day.day, calendar.monthrange(year, month + 1)[1]))


SHIFTS = ((6, 14, "early"), (14, 22, "late"))  # hours at the site; the rest is the night shift


def shift_at(at: datetime) -> str:
    """The shift by the hour at the site: early from 6, late from 14, night from 22."""
    hour = at.astimezone(ZoneInfo(settings.QCAPP_SITE_ZONE)).hour
    return next((name for start, end, name in SHIFTS if start <= hour < end), "night")
