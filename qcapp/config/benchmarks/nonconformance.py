"""Speed of nonconformances against the bare work below them: `manage.py benchmark --nonconformance`.

One result that is out of band against the same result in band: the difference is what raising the report adds. Then
the queue and the Pareto chart with REPORTS invented reports, through the whole stack by Django's test client, beside
the bare SQL of the same rows.
"""

from __future__ import annotations

import statistics
import sys
import time
from collections.abc import Iterator
from datetime import datetime, timedelta
from typing import Any

from django.apps import apps
from django.db import connection
from django.test import Client
from django.utils import timezone

from qcapp.core.sealing import canonical
from qcapp.inspections.services import record_operations
from qcapp.lib.fields import uuid7
from qcapp.people.roles import Role
from qcapp.production.queries import UnitCard

from .dataset import DEVICE, Shop
from .own_house import own_house
from .registry import Effort, Measurement, alternate, benchmark

REPORTS, ACTIVE_IN = 50_000, 25  # every so many has not ended
UNITS = 400
RAISED, WARM_UP = 40, 4
FREE = 9000
KEY, IN_BAND, OUT_OF_BAND = "axle_distance", "196.2", "199.9"
MOST_RAISING, MOST_PAGE = 5.0, 150.0
CHUNK = 2000
STATES = ("open", "contained", "decided", "in_correction", "to_be_verified")
CAUSES = ("material", "method", "machine", "measurement", "person", "environment")
PAGES = {
    "queue, what waits for the quality manager": "/nonconformances/?waiting=quality_manager&order=longest",
    "queue, everything, page 2": "/nonconformances/?state=all&after={middle}",
    "queue, filtered by checkpoint and cause": "/nonconformances/?state=all&checkpoint={number}&cause=method",
    "Pareto by checkpoint, with weeks": "/improvement/seeing/?since=2000-01-01",
    "Pareto by cause, with weeks": "/improvement/seeing/?by=cause&since=2000-01-01",
}
BARE_QUEUE = """SELECT r.id, r.number, r.title, s.state FROM nonconformance_report r
                JOIN nonconformance_reportstatus s ON s.report_id = r.id ORDER BY r.id DESC LIMIT 51"""
BARE_COUNTS = "SELECT state, count(*) FROM nonconformance_reportstatus GROUP BY state"
BARE_PARETO = """SELECT p.characteristic_id, count(*) FROM improvement_reportplace p
                 JOIN nonconformance_reportstatus s ON s.report_id = p.report_id
                 WHERE s.state <> 'withdrawn' GROUP BY p.characteristic_id ORDER BY 2 DESC"""


@benchmark("nonconformance", name="reports")
def reports(effort: Effort) -> Iterator[Measurement]:
    """Raising, then the pages with REPORTS reports."""
    with own_house() as kind:
        shop = Shop.made(timezone.now())
        yield raising(shop, effort, kind)
        count = effort.of(REPORTS, least=100)
        _load(shop, count)
        client = Client()
        client.force_login(shop.person(Role.QUALITY_MANAGER))
        for name, address in PAGES.items():
            yield page(client, name, _filled(address), effort, count)


# ------------------------------------------------------------------------------------------------------- raising


def raising(shop: Shop, effort: Effort, kind: str) -> Measurement:
    """What a report adds to one result: out of band against in band, in turn, commit and all."""
    count = effort.of(RAISED) + WARM_UP
    frames = shop.open_frames(FREE, 2 * count)
    taken: tuple[list[float], list[float]] = ([], [])
    for good, bad in zip(frames[:count], frames[count:], strict=True):
        taken[0].append(_record(shop, good, IN_BAND, raises=False))
        taken[1].append(_record(shop, bad, OUT_OF_BAND, raises=True))
    bare, whole = (statistics.median(times[WARM_UP:]) for times in taken)
    adds = whole - bare
    against = f"the same result in band, on {kind}; raising adds {adds:.2f} ms"
    name = "raising a report adds"
    return Measurement(
        name, adds, "ms", bare, whole / bare, f"at most {MOST_RAISING:g} ms", adds <= MOST_RAISING, against
    )


def _record(shop: Shop, unit: UnitCard, value: str, *, raises: bool) -> float:
    inspector = shop.person(Role.INSPECTOR)
    card = next(one for one in shop.plan.checkpoints if one.key == KEY)
    gauge = shop.gauge_for(card)
    at = timezone.now()
    operation = {
        "id": str(uuid7()), "v": 1, "kind": "result", "serial": unit.serial,
        "revision": str(shop.plan.revision.uuid), "checkpoint": KEY, "round": 1, "inspection": 1,
        "purpose": "reading", "answer": {"value": value}, "raw": "", "gauge": gauge and gauge.number,
        "recorded_at": at.isoformat(), "recorded_by": inspector.badge, "base": None, "reason": "",
    }  # fmt: skip
    begin = time.perf_counter()
    (answer,) = record_operations(sent_by=inspector, device=DEVICE, sent_at=at, operations=[operation], at=at)
    taken = (time.perf_counter() - begin) * 1000
    if bool(answer.report) != raises:
        raise RuntimeError(f"{value} was judged otherwise: {answer.code} {answer.message}")
    return taken


# --------------------------------------------------------------------------------------------------------- pages


def page(client: Client, name: str, address: str, effort: Effort, count: int) -> Measurement:
    """A page beside the bare SQL of its rows and counts."""
    bare = [BARE_PARETO] if "Pareto" in name else [BARE_QUEUE, BARE_COUNTS]
    ours, theirs = alternate(lambda: _get(client, address), lambda: [_select(sql) for sql in bare], effort.repeats)
    value = ours * 1000
    against = f"the bare SQL of its rows and counts over {count} reports"
    goal = f"below {MOST_PAGE:g} ms"
    return Measurement(name, value, "ms", theirs * 1000, ours / theirs, goal, value < MOST_PAGE, against)


def _filled(address: str) -> str:
    report_of = apps.get_model("nonconformance.Report")
    middle = report_of.objects.order_by("-id").values_list("id", flat=True)[50]
    number = report_of.objects.filter(checkpoint__isnull=False).values_list(
        "checkpoint__characteristic__number", flat=True
    )[0]
    return address.format(middle=middle, number=number)


def _get(client: Client, address: str) -> bytes:
    response = client.get(address)
    if response.status_code != 200:
        raise RuntimeError(f"{address} answered {response.status_code}")
    return bytes(response.content)


def _select(sql: str) -> list[Any]:
    with connection.cursor() as cursor:
        cursor.execute(sql)
        return cursor.fetchall()


# ------------------------------------------------------------------------------------------------------- loading


def _load(shop: Shop, count: int) -> None:
    """Reports in bulk, past the services: rows alike to those that raising writes, over two years."""
    units = shop.open_frames(1, min(UNITS, max(2, count // 50)))
    cards = [card for card in shop.plan.checkpoints if card.kind != "record"]
    begin = shop.now - timedelta(days=730)
    for first in range(0, count, CHUNK):
        numbers = range(first, min(count, first + CHUNK))
        _load_chunk(shop, [_row(shop, n, count, units, cards, begin) for n in numbers])
        sys.stderr.write(f"\r{numbers[-1] + 1} reports ")
        sys.stderr.flush()
    with connection.cursor() as cursor:
        cursor.execute("VACUUM (ANALYZE)" if connection.vendor == "postgresql" else "ANALYZE")


def _row(
    shop: Shop, n: int, count: int, units: list[UnitCard], cards: list[Any], begin: datetime
) -> tuple[dict[str, Any], dict[str, Any], dict[str, Any]]:
    """Report, status and place. Checkpoints follow a falling share, as they do in a shop."""
    card = cards[int((n * 7919 % 1000 / 1000) ** 3 * len(cards))]
    unit, at = units[n % len(units)], begin + timedelta(days=730) * (n + 1) / count
    active = n % ACTIVE_IN == 0
    state = STATES[n // ACTIVE_IN % len(STATES)] if active else "withdrawn" if n % 97 == 0 else "closed"
    facts = {"serial": unit.serial, "number": card.number, "title": card.title, "joint": card.joint}
    report = {
        "number": f"NCR-1999-{n + 1:05}", "item_id": unit.item_id, "checkpoint_id": card.id,
        "title": f"{card.number} {card.title}: does not conform", "severity": card.criticality,
        "facts": canonical(facts), "raised_by": shop.person(Role.INSPECTOR), "raised_at": at,
    }  # fmt: skip
    status = {"state": state, "cause": CAUSES[n * 31 % len(CAUSES)], "changed_at": at + timedelta(hours=2)}
    place = {
        "family_id": shop.plan.revision.family_id, "characteristic_id": card.characteristic_id, "raised_at": at,
        "joint": card.joint, "fixture": f"TF-{n % 4:02}", "supplier": "",
    }  # fmt: skip
    return report, status, place


def _load_chunk(shop: Shop, rows: list[tuple[dict[str, Any], dict[str, Any], dict[str, Any]]]) -> None:
    report_of = apps.get_model("nonconformance.Report")
    status_of = apps.get_model("nonconformance.ReportStatus")
    place_of = apps.get_model("improvement.ReportPlace")
    made = report_of.objects.bulk_create(report_of(**report) for report, _, _ in rows)
    pairs = list(zip(made, rows, strict=True))
    status_of.objects.bulk_create(status_of(report=report, **status) for report, (_, status, _) in pairs)
    place_of.objects.bulk_create(place_of(report=report, **place) for report, (_, _, place) in pairs)
