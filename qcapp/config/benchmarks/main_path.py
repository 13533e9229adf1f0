"""Speed of the main path against the bare work below it: `manage.py benchmark --main`.

Each pair is measured in the same run, in turn, on a database of its own with thousands of frames: a submission
against `executemany` of the same rows, pages against the bare SELECT of their rows, the certificate against the layout
library alone. A request goes through the whole stack by Django's test client; only the socket is missing.
"""

from __future__ import annotations

import base64
import gc
import json
import random
import statistics
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from datetime import timedelta
from typing import TYPE_CHECKING, Any

from django.conf import settings
from django.core.management.base import CommandError
from django.db import connection, transaction
from django.test import Client
from django.utils import timezone

from qcapp.certificates.queries import CertificateCard, certificates_of, content_of
from qcapp.certificates.services.issuing import issue_certificate
from qcapp.certificates.services.keys import make_key
from qcapp.certificates.services.rendering import attachments, html_of
from qcapp.config.demonstration.player import UnitPlayer
from qcapp.config.demonstration.stories import PARALLEL, Story
from qcapp.inspections.services.drafts import COLUMNS, plain_json
from qcapp.lib import pdf
from qcapp.lib.fields import uuid7
from qcapp.people.roles import Role
from qcapp.production.queries import UnitCard, unit_by_serial

from .dataset import DEVICE, FAMILY, RESULTS, SEED, Shop
from .own_house import own_house
from .registry import Effort, Measurement, benchmark

if TYPE_CHECKING:
    from qcapp.people.models import Person

FRAMES = 2000
SUBMISSIONS, WARM_UP, PAGES = 25, 3, 200
PLAYED, FREE = 8999, 9000  # running numbers of the frames that are measured, above those that are loaded
MOST_FRAMES = PLAYED - 1
SMALL = 10  # pages are measured first with a tenth of the frames
MOST_TIMES_EXECUTEMANY, MOST_MILLISECONDS, MOST_GROWTH, MOST_TIMES_LAYOUT = 5, 60, 1.3, 1.25
HISTORY = "history page, p95"
SIGNATURE = 24 * 1024  # bytes that it may add, and the objects that it writes anew

Work = Callable[[str], object]


# --------------------------------------------------------------------------------------------------- the measures


@benchmark("main", name="main_path")
def main_path(effort: Effort) -> Iterator[Measurement]:
    """Submission, pages and certificate with FRAMES frames; pages with a tenth of them as well."""
    frames = effort.of(FRAMES)
    if frames > MOST_FRAMES:
        raise CommandError(f"At most {MOST_FRAMES} frames fit the running numbers of the serials.")
    with own_house() as kind:
        shop = Shop.made(timezone.now())
        make_key(at=shop.now - timedelta(days=90), years=10)
        few = max(1, frames // SMALL)
        serials = _load(shop, 1, few)
        before = pages(shop, serials, effort)
        serials += _load(shop, few + 1, frames - few)
        yield submission(shop, effort, kind)
        after = pages(shop, serials, effort)
        yield from after.values()
        yield _growth(before[HISTORY].value, after[HISTORY].value, few, frames)
        yield certificate(shop, effort)


def _load(shop: Shop, first: int, count: int) -> list[str]:
    serials = shop.load_frames(first, count, lambda done: _tell(f"\r{first + done - 1} frames of {RESULTS} results "))
    _tell("\n")
    with connection.cursor() as cursor:  # what autovacuum and the checkpoints would have done by now
        cursor.execute("VACUUM (ANALYZE)" if connection.vendor == "postgresql" else "PRAGMA wal_checkpoint(TRUNCATE)")
    return serials


def _tell(words: str) -> None:
    sys.stderr.write(words)
    sys.stderr.flush()


def _ratio(name: str, value: float, baseline: float, most: float, against: str) -> Measurement:
    """A measure whose goal is a ratio, in milliseconds."""
    ratio = value / baseline
    return Measurement(name, value, "ms", baseline, ratio, f"at most {most}×", ratio <= most, against)


def _growth(before: float, after: float, few: int, many: int) -> Measurement:
    against = f"the same with {few} frames"
    return _ratio(f"{HISTORY} with {many} frames", after, before, MOST_GROWTH, against)


# ----------------------------------------------------------------------------------------------------- submitting


def submission(shop: Shop, effort: Effort, kind: str) -> Measurement:
    """One request with RESULTS operations against `executemany` of the rows that it stored; commits and all."""
    inspector = shop.person(Role.INSPECTOR)
    client = _client(inspector)
    count = effort.of(SUBMISSIONS) + WARM_UP
    frames = shop.open_frames(FREE, 2 * count)
    ours, bare = [], []
    for unit, other in zip(frames[:count], frames[count:], strict=True):
        body = json.dumps(submission_body(shop, unit, inspector))
        ours.append(_timed(_submit, client, body))
        rows = _same_rows(unit, other)
        bare.append(_timed(_executemany, rows))
    value, baseline = (statistics.median(times[WARM_UP:]) for times in (ours, bare))
    against = f"executemany of the same {len(rows)} rows, commit and all, on {kind}"
    return _ratio(f"submit {RESULTS} results in one request", value, baseline, MOST_TIMES_EXECUTEMANY, against)


def submission_body(shop: Shop, unit: UnitCard, by: Person) -> dict[str, Any]:
    """A frame's results as a tablet sends them, RESULTS operations."""
    at = timezone.now()
    operations = [
        {
            "id": str(uuid7()), "v": 1, "kind": "result", "serial": unit.serial,
            "revision": str(shop.plan.revision.uuid), "checkpoint": one.card.key, "round": 1, "inspection": 1,
            "purpose": "reading", "answer": one.given(unit), "raw": "", "gauge": one.gauge and one.gauge.number,
            "recorded_at": (at - timedelta(seconds=RESULTS - place)).isoformat(), "recorded_by": by.badge,
            "base": None, "reason": "",
        }
        for place, one in enumerate(shop.first_answers(unit))
    ]  # fmt: skip
    return {"device": DEVICE, "sent_at": at.isoformat(), "operations": operations}


def _submit(client: Client, body: str) -> None:
    response = client.post("/api/v1/operations", body, content_type="application/json")
    outcomes = {one["outcome"] for one in response.json().get("operations", [response.content])}
    if outcomes != {"applied"}:
        raise RuntimeError(f"The submission was not applied: {outcomes}")


def _same_rows(unit: UnitCard, other: UnitCard) -> list[list[Any]]:
    """What the submission stored, as rows of another frame under new identifiers."""
    names = ", ".join(COLUMNS)
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT {names} FROM inspections_result WHERE item_id = %s", [unit.item_id])  # noqa: S608
        rows = [[_plain(cell) for cell in row] for row in cursor.fetchall()]
    native = connection.features.has_native_uuid_field
    for row in rows:
        row[COLUMNS.index("operation")] = uuid7() if native else uuid7().hex
        row[COLUMNS.index("item_id")] = other.item_id
    return rows


def _plain(cell: Any) -> Any:
    return plain_json(cell) if isinstance(cell, list) else cell


_BARE = f"INSERT INTO inspections_result ({', '.join(COLUMNS)}) VALUES ({', '.join(['%s'] * len(COLUMNS))})"  # noqa: S608


def _executemany(rows: list[list[Any]]) -> None:
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.executemany(_BARE, rows)


# ---------------------------------------------------------------------------------------------------------- pages


def pages(shop: Shop, serials: Sequence[str], effort: Effort) -> dict[str, Measurement]:
    """The p95 of each page over frames picked at random, beside the bare SELECT's."""
    pick = random.Random(SEED)  # noqa: S311 - which frames are looked at
    chosen = [pick.choice(serials) for _ in range(effort.of(PAGES))]
    service, inspector = _client(shop.person(Role.CUSTOMER_SERVICE)), _client(shop.person(Role.INSPECTOR))
    asked: dict[str, tuple[Work, Work]] = {
        HISTORY: (lambda serial: _get(service, f"/units/{serial}/"), _select_results),
        "search by fragment, p95": (lambda serial: _get(service, f"/units/?q={serial[-3:]}"), _select_units),
        "bench of a tablet, p95": (lambda serial: _get(inspector, f"/api/v1/units/{serial}/bench"), _select_results),
    }
    return {name: _page(name, *_p95s(chosen, *works)) for name, works in asked.items()}


def _page(name: str, value: float, baseline: float) -> Measurement:
    goal, met = (f"below {MOST_MILLISECONDS} ms", value < MOST_MILLISECONDS) if name == HISTORY else ("", None)
    return Measurement(name, value, "ms", baseline, value / baseline, goal, met, "the bare SELECT of its rows, p95")


def _p95s(serials: Sequence[str], ours: Work, bare: Work) -> tuple[float, float]:
    for serial in serials[:WARM_UP]:
        ours(serial)
        bare(serial)
    gc.collect()
    gc.freeze()  # as a server does before its first request: a round over all that was loaded empties the caches
    pairs = [(_timed(ours, serial), _timed(bare, serial)) for serial in serials]
    gc.unfreeze()
    first, second = (sorted(times) for times in zip(*pairs, strict=True))
    place = round(0.95 * (len(first) - 1))
    return first[place], second[place]


def _get(client: Client, path: str) -> bytes:
    response = client.get(path)
    if response.status_code not in (200, 302):
        raise RuntimeError(f"{path} answered {response.status_code}")
    return response.content


def _select_results(serial: str) -> list[Any]:
    sql = """SELECT r.* FROM inspections_result r JOIN production_unit u ON u.item_id = r.item_id
             WHERE u.serial = %s ORDER BY r.id"""
    return _select(sql, [serial])


def _select_units(fragment: str) -> list[Any]:
    return _select(
        "SELECT * FROM production_unit WHERE lookup LIKE %s ORDER BY opened_at DESC LIMIT 40", [f"%{fragment}%"]
    )


def _select(sql: str, parameters: list[Any]) -> list[Any]:
    with connection.cursor() as cursor:
        cursor.execute(sql, parameters)
        return cursor.fetchall()


# ---------------------------------------------------------------------------------------------------- certificates


def certificate(shop: Shop, effort: Effort) -> Measurement:
    """The PDF's first asking (frozen record, page, layout, kept file) against the layout library on the same page."""
    manager = shop.person(Role.QUALITY_MANAGER)
    story = Story(FAMILY, PLAYED, 40, order="S-1", incidents=(PARALLEL,), issues=1)
    UnitPlayer(story, shop.cast, shop.now, shop.now).play()
    client = _client(manager)
    ours, bare = [], []
    with bare_layout() as lay_out:
        for turn in range(effort.repeats + 1):
            card = _issue(manager, story.serial, turn)
            job, path = layout_job(card), f"/certificates/{card.number}/{card.issue}.pdf"
            if turn == 0:
                check_same_paper(_get(client, path), lay_out(job))
                continue
            ours.append(_timed(_get, client, path))
            bare.append(_timed(lay_out, job))
    value, baseline = (statistics.median(times) for times in (ours, bare))
    against = "the layout library on the same page with the same options, in a process of its own"
    return _ratio("certificate, asked for the first time", value, baseline, MOST_TIMES_LAYOUT, against)


def check_same_paper(ours: bytes, bare: bytes) -> None:
    """A page that lost its style sheet or its fonts is another page, and quicker or slower for that."""
    if abs(len(ours) - len(bare)) > len(ours) / 50 + SIGNATURE:
        raise RuntimeError(f"The library alone made another document: {len(bare)} bytes against {len(ours)}.")


def _issue(by: Person, serial: str, turn: int) -> CertificateCard:
    if turn == 0:
        return certificates_of(unit_by_serial(serial).item_id)[0]
    return issue_certificate(by=by, serial=serial, at=timezone.now(), change_note=f"Asked for again, {turn}.")


def layout_job(card: CertificateCard) -> dict[str, Any]:
    """What the bare layout is given: the same page, with the same options and attached files."""
    return {
        "html": html_of(card), "identifier": card.uuid.hex, "variant": "pdf/a-3a",
        "attached": [[one.name, base64.b64encode(one.data).decode()] for one in attachments(content_of(card.id))],
        "folders": [str(settings.STATIC_ROOT), *map(str, settings.STATICFILES_DIRS)],
    }  # fmt: skip


@contextmanager
def bare_layout() -> Iterator[Callable[[dict[str, Any]], bytes]]:
    """A process like the product's own that lays out pages and does nothing else."""
    process = pdf.start("qcapp.config.benchmarks.bare_layout")
    sent, received = process.stdin, process.stdout
    if sent is None or received is None:
        raise RuntimeError("The process that lays out pages has no pipes.")

    def lay_out(job: dict[str, Any]) -> bytes:
        sent.write(json.dumps(job).encode() + b"\n")
        sent.flush()
        return received.read(int(received.readline()))

    try:
        yield lay_out
    finally:
        sent.close()
        process.wait(10)
        received.close()


# ---------------------------------------------------------------------------------------------------------- timing


def _client(person: Person) -> Client:
    client = Client()
    client.force_login(person)
    return client


def _timed(work: Callable[..., object], *arguments: Any) -> float:
    """How long it took, in milliseconds, with the collector of garbage held still."""
    gc.collect()
    gc.disable()
    try:
        begin = time.perf_counter()
        work(*arguments)
        return (time.perf_counter() - begin) * 1000
    finally:
        gc.enable()
