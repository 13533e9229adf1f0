"""Working days and hours of the demonstration, counted back from today."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

FIRST_HOUR, LAST_HOUR = 6, 15  # UTC; the shop works a day shift


def workday(today: datetime, days_ago: int) -> datetime:
    """The morning of the working day that many calendar days before today, moved to Friday from a weekend."""
    day = (today - timedelta(days=days_ago)).astimezone(UTC)
    while day.weekday() > 4:
        day -= timedelta(days=1)
    return day.replace(hour=FIRST_HOUR, minute=5, second=0, microsecond=0)


class Shift:
    """A clock that runs through working hours only and never past now."""

    def __init__(self, start: datetime, now: datetime) -> None:
        self.at = start
        self.now = now

    def after(self, minutes: float) -> datetime:
        """Let time pass, and give the new moment."""
        moved = self.at + timedelta(minutes=minutes)
        if moved.hour >= LAST_HOUR:
            moved = self._next_morning(moved)
        self.at = min(moved, self.now)
        return self.at

    def next_day(self) -> datetime:
        """The next working morning, or now where that has not come yet."""
        self.at = min(self._next_morning(self.at), self.now)
        return self.at

    @staticmethod
    def _next_morning(moment: datetime) -> datetime:
        day = moment + timedelta(days=1)
        while day.weekday() > 4:
            day += timedelta(days=1)
        return day.replace(hour=FIRST_HOUR, minute=10, second=0, microsecond=0)
