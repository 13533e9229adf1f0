"""How long the next attempt to prove an identity has to wait. Plain Python: counts in, a time out."""

from __future__ import annotations

from datetime import datetime, timedelta

# A person has five free tries. An address gets more: a whole shift types at one tablet, or behind one router.
FREE_TRIES = {"person": 5, "address": 20}
WAITS = tuple(timedelta(seconds=seconds) for seconds in (30, 60, 120, 300, 900))
FORGOTTEN_AFTER = {"person": timedelta(hours=24), "address": timedelta(hours=1)}


def wait_after(kind: str, failures: int) -> timedelta:
    """The wait that follows so many failures in a row; zero while tries are free."""
    beyond = failures - FREE_TRIES[kind]
    return timedelta(0) if beyond < 0 else WAITS[min(beyond, len(WAITS) - 1)]


def is_forgotten(kind: str, last_at: datetime, at: datetime) -> bool:
    """True when nothing has failed for so long that counting begins anew."""
    return at - last_at >= FORGOTTEN_AFTER[kind]


def believable(last_at: datetime, at: datetime) -> datetime:
    """When the last try failed. A clock that was far ahead then would make people wait until that day: what it said
    counts as long enough ago for the next try, whose failure is counted with the others.
    """
    return at - WAITS[-1] if last_at - at > WAITS[-1] else last_at
