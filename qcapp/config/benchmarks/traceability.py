"""Speed of look-up, history, affected units and recall: `manage.py benchmark --traceability --units N`.

On a database of its own; the bare SQL stands beside each measure, in the same run. The goals are meant for 100,000
frames on PostgreSQL, with 160 typed results and 12 components each; loading them takes half an hour, so `--kept NAME`
keeps them for the next time.
"""

from __future__ import annotations

import random
import statistics
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from typing import Any

from django.core.management.base import CommandError
from django.db import connection
from django.test import Client
from django.utils import timezone

from qcapp.affected.answering import Answer
from qcapp.affected.services import ask
from qcapp.config.demonstration.cast import BADGES_BY_ROLE
from qcapp.gauges.queries import calibrations_of, gauge_by_number
from qcapp.people.queries import person_by_badge
from qcapp.people.roles import Role
from qcapp.recall.queries import recall_of

from .main_path import _client, _get, _p95s, _select, _select_results, _tell, _timed
from .own_house import own_house
from .registry import Effort, Measurement, benchmark
from .traceability_records import BAD_GAUGE, HEAT, Fleet, frames_loaded

UNITS = 300
FEW = 1000  # the history's time is held against that with so many frames
WITH_HEAT, BAD_READINGS = 5000, 50_000
PAGES = 100
SEED = 7
LOOK_UP_MS, HISTORY_MS, AFFECTED_MS, RECALL_MS, MOST_GROWTH = 50, 100, 300, 2000, 1.3


@benchmark("traceability", name="traceability")
def traceability(effort: Effort) -> Iterator[Measurement]:
    """Look-up, history, affected by heat and a bad gauge's readings over `effort.units` frames."""
    units = effort.units or effort.of(UNITS, 30)
    few = min(FEW, max(25, units // 10))
    with own_house() as kind:
        before = at_size(filled(few, units), effort, kind)
    yield from before
    with own_house(effort.kept) as kind:
        after = at_size(filled(units, units), effort, kind)
        yield from after
        yield _growth(before[1].value, after[1].value, few, units)
        yield affected(effort)
        yield recalled(effort)


def filled(count: int, units: int) -> list[str]:
    """The serials of so many frames, loaded where there are none; amounts go by the `units` that are to come.

    Raises CommandError where a database that was kept holds another number.
    """
    stand = frames_loaded()
    if not stand:
        fleet = Fleet.begun(timezone.now(), min(WITH_HEAT, units // 2), min(BAD_READINGS, units * 5))
        grow(fleet, count)
        return fleet.serials
    if len(stand) != count:
        raise CommandError(f"What is kept holds {len(stand)} frames: ask for --units {len(stand)}, or keep another.")
    return stand


def at_size(serials: Sequence[str], effort: Effort, kind: str) -> list[Measurement]:
    """What is the same work at every size: look-up, history, and the room on the disk."""
    service = _client(person_by_badge(BADGES_BY_ROLE[Role.CUSTOMER_SERVICE][0]))
    looked, seen = look_up(service, serials, effort, kind), history(service, serials, effort)
    return [replace(one, frames=len(serials)) for one in (looked, seen, on_disk(kind))]


def on_disk(kind: str) -> Measurement:
    """What the database takes, indexes included."""
    pages = "SELECT page_count * page_size FROM pragma_page_count(), pragma_page_size()"
    whole = "SELECT pg_database_size(current_database())"
    size = _select(whole if connection.vendor == "postgresql" else pages, [])[0][0]
    return Measurement("database on the disk", float(size) / 1e9, "GB", against=f"tables and indexes, {kind}")


def grow(fleet: Fleet, count: int) -> None:
    """Frames up to this number altogether, and a planner that knows of them."""
    fleet.grow(count, lambda done: _tell(f"\r{done} frames "))
    _tell("\n")
    with connection.cursor() as cursor:
        cursor.execute("VACUUM (ANALYZE)" if connection.vendor == "postgresql" else "ANALYZE")


def _goal(name: str, value: float, baseline: float, most: float, against: str) -> Measurement:
    return Measurement(name, value, "ms", baseline, value / baseline, f"below {most} ms", value < most, against)


def _growth(before: float, after: float, few: int, many: int) -> Measurement:
    ratio = after / before
    return Measurement(
        f"history screen with {many} frames", after, "ms", before, ratio, f"at most {MOST_GROWTH}×",
        ratio <= MOST_GROWTH, f"the same with {few} frames",
    )  # fmt: skip


def look_up(service: Client, serials: Sequence[str], effort: Effort, where: str) -> Measurement:
    """The page that finds a unit by the last four digits, customers and all, against a bare LIKE."""
    chosen = _chosen(serials, effort)
    value, bare = _p95s(chosen, lambda serial: _get(service, f"/units/?q={serial[-4:]}"), _like)
    return _goal("look-up by four digits, p95", value, bare, LOOK_UP_MS, f"the bare LIKE on serials; {where}")


def _like(serial: str) -> list[Any]:
    sql = "SELECT * FROM production_unit WHERE lookup LIKE %s ORDER BY opened_at DESC LIMIT 40"
    return _select(sql, [f"%{serial[-4:]}%"])


def history(service: Client, serials: Sequence[str], effort: Effort) -> Measurement:
    """The history screen against the bare SELECT of the frame's results."""
    chosen = _chosen(serials, effort)
    value, bare = _p95s(chosen, lambda serial: _get(service, f"/units/{serial}/"), _select_results)
    return _goal("history screen, p95", value, bare, HISTORY_MS, "the bare SELECT of the frame's results, p95")


def _chosen(serials: Sequence[str], effort: Effort) -> list[str]:
    pick = random.Random(SEED)  # noqa: S311 - which frames are looked at
    return [pick.choice(serials) for _ in range(effort.of(PAGES, 5))]


def affected(effort: Effort) -> Measurement:
    """Everybody who holds a heat, with state and whereabouts, recorded as asked, against one join of the same units."""

    def asked() -> Answer:
        return ask(by=None, question=f"heat {HEAT}", at=timezone.now(), through="benchmark")

    found = asked()
    value, bare = _medians(asked, _join, effort)
    against = "one SELECT of the same units with their holds, joined"
    return _goal(f"affected by heat, {len(found.rows)} units", value, bare, AFFECTED_MS, against)


def _join() -> list[Any]:
    sql = """SELECT u.item_id, u.serial, u.state, u.order_number, f.code, h.id FROM production_consumption c
             JOIN production_heat m ON m.id = c.heat_id JOIN production_unit u ON u.item_id = c.item_id
             JOIN production_item i ON i.id = u.item_id JOIN production_partfamily f ON f.id = i.family_id
             LEFT JOIN production_hold h ON h.item_id = u.item_id WHERE m.number = %s ORDER BY u.serial"""
    return _select(sql, [HEAT])


def recalled(effort: Effort) -> Measurement:
    """Every reading of a gauge judged again with the error that was found, against the SELECT of those readings."""
    gauge, now = gauge_by_number(BAD_GAUGE), timezone.now()
    calibration = calibrations_of(gauge.id)[0].id
    found = recall_of(BAD_GAUGE, calibration, at=now)
    sql = "SELECT * FROM inspections_result WHERE gauge_id = %s ORDER BY recorded_at"
    value, bare = _medians(lambda: recall_of(BAD_GAUGE, calibration, at=now), lambda: _select(sql, [gauge.id]), effort)
    name = f"{found.readings} readings of a bad gauge judged again"
    return _goal(name, value, bare, RECALL_MS, "the bare SELECT of the same readings")


def _medians(ours: Callable[[], object], bare: Callable[[], object], effort: Effort) -> tuple[float, float]:
    pairs = [(_timed(ours), _timed(bare)) for _ in range(effort.repeats)]
    first, second = zip(*pairs, strict=True)
    return statistics.median(first), statistics.median(second)
