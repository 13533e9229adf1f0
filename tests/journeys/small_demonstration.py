"""The demonstration on a handful of its units: one certified after a rework, one on hold, one just begun."""

from __future__ import annotations

from datetime import timedelta

from django.utils import timezone

from qcapp.config.demonstration import cast as people
from qcapp.config.demonstration.player import make_plans, play_units
from qcapp.config.demonstration.stories import UNITS, Story

CERTIFIED, HELD, BEGUN, TANK = "FR-200-0131", "FR-200-0147", "FR-200-0149", "FT-14-0090"


def stories(*serials: str) -> tuple[Story, ...]:
    """These units of the demonstration, in its order."""
    found = tuple(story for story in UNITS if story.serial in serials)
    assert {story.serial for story in found} == set(serials)
    return found


def play(*serials: str) -> people.Cast:
    """People, gauges, plans and these units, as `manage.py demo` makes them."""
    now = timezone.now()
    begin = now - timedelta(days=90)
    cast = people.make_people(begin)
    people.make_gauges(cast, begin, now)
    make_plans(cast, begin + timedelta(days=1))
    play_units(stories(*serials), cast, now, now, lambda: None)
    return cast
