"""Things with a date on which they fall due, kept by several rooms and shown in one list."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime
from uuid import UUID


@dataclass(frozen=True)
class Falling:
    """Something that falls due; negative days are overdue, None was never done."""

    kind: str
    number: str
    name: str
    due_on: date | None
    days: int | None
    address: str
    uuid: UUID
    what: str = ""  # where one person or thing has several dates


Source = Callable[[datetime], list[Falling]]
_sources: list[Source] = []


def add_source(source: Source) -> None:
    """A room tells what of its own falls due; asking again changes nothing."""
    if source not in _sources:
        _sources.append(source)


def falling_due(at: datetime) -> list[Falling]:
    """Everything that the rooms told, what was never done and the overdue first."""
    found = [one for source in _sources for one in source(at)]
    return sorted(found, key=lambda one: (one.days is not None, one.days or 0, one.number))
