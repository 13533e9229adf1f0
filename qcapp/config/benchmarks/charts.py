"""Speed of the pages of trends against the bare work below them: `manage.py benchmark --charts`.

Invented frames in a database of the benchmark's own, as many as hold the results asked for by `--results N` (the goals
are meant for 16 million, with PostgreSQL's COPY). A characteristic's page over its last 500 values and the watch page
over the last 100 units go through the whole stack by Django's test client; beside them the bare SELECT of the same
rows, and the passes over a clean array that limits and capability cannot do without. Both pages are measured with a
part of the frames first: the ratio says whether the cost grows with the history outside the window.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import Any

import numpy
from django.db import connection
from django.test import Client
from django.utils import timezone

from qcapp.core.statistics.bare_passes import capability_passes, individuals_passes
from qcapp.core.statistics.readings import FloatArray
from qcapp.people.roles import Role
from qcapp.trends.queries.watching import forget

from .dataset import FAMILY, RESULTS, VARIANTS
from .own_house import own_house
from .registry import Effort, Measurement, alternate, benchmark
from .traceability import grow
from .traceability_records import Fleet

FRAMES = 1500
SMALL, FEW = 3, 1000  # the page is measured first with a third of the frames, at most so many
VALUES, UNITS = 500, 100
FEWEST = 5  # the shortest window that a page takes
KEY = "head_angle"
PAGE, COLD, WARM = "characteristic page, last 500 values", "watch page, computed anew", "watch page, kept"
MOST = {PAGE: 200, COLD: 1500, WARM: 150}  # milliseconds
MOST_GROWTH = 1.3
ROWS = "the bare SELECT of its rows and bare numpy over them"
LAST = """SELECT r.id, r.plot, r.outcome, r.recorded_at FROM inspections_result r
          JOIN plans_characteristic c ON c.id = r.characteristic_id
          WHERE c.key = %s AND r.round = 1 AND r.inspection = 1 ORDER BY r.id DESC LIMIT %s"""
WINDOW = """SELECT r.characteristic_id, r.plot, r.outcome, r.recorded_at FROM inspections_result r
            WHERE r.round = 1 AND r.inspection = 1
            AND r.item_id IN (
                SELECT u.item_id FROM production_unit u JOIN production_item i ON i.id = u.item_id
                JOIN production_partfamily f ON f.id = i.family_id
                WHERE f.code = %s ORDER BY u.item_id DESC LIMIT %s)
            ORDER BY r.characteristic_id, r.id"""


@benchmark("charts", name="pages")
def pages(effort: Effort) -> Iterator[Measurement]:
    """The pages of trends over all frames, and over a part of them as well."""
    frames = max(VARIANTS + 1, effort.results // RESULTS) if effort.results else effort.of(FRAMES, VARIANTS + 1)
    few = max(VARIANTS, min(FEW, frames // SMALL))
    with own_house() as kind:
        fleet = Fleet.begun(timezone.now(), with_heat=0, bad=0)
        client = Client()
        client.force_login(fleet.shop.person(Role.QUALITY_MANAGER))
        last = max(FEWEST, min(VALUES, few))
        grow(fleet, few)
        before = _at_size(client, effort, last, kind, few)
        yield from before
        grow(fleet, frames)
        after = _at_size(client, effort, last, kind, frames)
        yield from after
        yield _growth(before[0], after[0], few, frames)
        if few >= UNITS:  # else the window itself holds more units now
            yield _growth(before[1], after[1], few, frames)


def _at_size(client: Client, effort: Effort, last: int, kind: str, frames: int) -> list[Measurement]:
    """The three pages with so many frames: the same values, the same units, more behind them."""
    page = _page(client, effort, last, f"{_results()} results on {kind}")
    watched = (_watch(client, COLD, effort, forget), _watch(client, WARM, effort, lambda: None))
    return [replace(one, frames=frames) for one in (page, *watched)]


def _results() -> int:
    return int(_select("SELECT count(*) FROM inspections_result", [])[0][0])


def _page(client: Client, effort: Effort, last: int, where: str) -> Measurement:
    """The same number of values with few and with many frames, so that only the history behind them grows."""
    address = f"/trends/{FAMILY}/{KEY}/?last={last}"
    found = alternate(lambda: _get(client, address), lambda: _bare_page(last), effort.repeats)
    return _measured(PAGE, *found, where=where)


def _growth(before: Measurement, after: Measurement, few: int, many: int) -> Measurement:
    ratio = after.value / before.value
    goal = f"at most {MOST_GROWTH}×"
    against = f"the same with {few} frames"
    name = f"growth with history, {before.name}, {many} frames"
    return Measurement(name, after.value, "ms", before.value, ratio, goal, ratio <= MOST_GROWTH, against)


def _watch(client: Client, name: str, effort: Effort, first: Callable[[], None]) -> Measurement:
    def ours() -> None:
        first()
        _get(client, f"/trends/?family={FAMILY}")

    return _measured(name, *alternate(ours, lambda: _bare_watch(UNITS), effort.repeats))


def _measured(name: str, ours: float, bare: float, *, where: str = "") -> Measurement:
    value, against = ours * 1000, f"{ROWS}; {where}" if where else ROWS
    goal = f"below {MOST[name]} ms"
    return Measurement(name, value, "ms", bare * 1000, ours / bare, goal, value < MOST[name], against)


def _get(client: Client, address: str) -> bytes:
    response = client.get(address)
    if response.status_code != 200:
        raise RuntimeError(f"{address} answered {response.status_code}")
    return bytes(response.content)


def _bare_page(count: int) -> None:
    rows = _select(LAST, [KEY, count])
    _passes(numpy.array([row[1] for row in reversed(rows)], dtype=numpy.float64))


def _bare_watch(units: int) -> None:
    values: dict[int, list[float]] = {}
    for characteristic, plot, _, _ in _select(WINDOW, [FAMILY, units]):
        if plot is not None:
            values.setdefault(characteristic, []).append(plot)
    for row in values.values():
        _passes(numpy.array(row, dtype=numpy.float64))


def _passes(x: FloatArray) -> None:
    if x.size > 1 and x.min() < x.max():
        individuals_passes(x)
        capability_passes(x)


def _select(sql: str, parameters: list[Any]) -> list[Any]:
    with connection.cursor() as cursor:
        cursor.execute(sql, parameters)
        return cursor.fetchall()
