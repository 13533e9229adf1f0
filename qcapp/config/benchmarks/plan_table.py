"""Speed of a plan's table against the bare loop and the bare row below it: `manage.py benchmark --plans`.

A draft of 300 checkpoints in a database of the benchmark's own. Opening its table and one edit of a cell go through the
whole stack by Django's test client; beside them the bare SELECT of the draft's rows with the bare loop that writes so
many cells, and the bare UPDATE of that row.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterator
from html import escape
from itertools import count
from typing import TYPE_CHECKING, Any

from django.db import connection, transaction
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from qcapp.config.demonstration import cast as invented
from qcapp.people.roles import Role
from qcapp.plans.services.beginning import import_plan
from qcapp.production.services import add_family

from .own_house import own_house
from .registry import Effort, Measurement, alternate, benchmark

if TYPE_CHECKING:
    from qcapp.people.models import Person
    from qcapp.plans.cards import RevisionCard

CHECKPOINTS, STAGES = 300, 9
FAMILY = "PL-300"
MOST_MS, MOST_QUERIES = 300, 20
LOOP = "the bare SELECT of the draft and a bare loop over its cells"
ROW = "the bare SELECT and UPDATE of the draft's row"


@benchmark("plans", name="table")
def table(effort: Effort) -> Iterator[Measurement]:
    """The table opened, one cell edited, and how many queries each asks."""
    with own_house():
        card, author = draft(effort.of(CHECKPOINTS, least=STAGES))
        client = Client()
        client.force_login(author)
        address = f"/plans/{card.uuid}/"
        opened = alternate(lambda: _get(client, address), lambda: _bare_open(card.id), effort.repeats)
        yield _time("draft's table opened", *opened, LOOP)
        yield _queries("queries of the table", lambda: _get(client, address))
        turn = count()
        edited = alternate(lambda: _edit(client, address, next(turn)), lambda: _bare_edit(card.id), effort.repeats)
        yield _time("one cell edited", *edited, ROW)
        yield _queries("queries of an edit", lambda: _edit(client, address, next(turn)))


def draft(checkpoints: int) -> tuple[RevisionCard, Person]:
    """A draft of so many checkpoints in STAGES stages, and its author."""
    now = timezone.now()
    cast = invented.make_people(now)
    invented.make_gauges(cast, now, now)
    author = cast.with_role(Role.QUALITY_MANAGER)
    add_family(
        by=author,
        code=FAMILY,
        name="invented part",
        serial_pattern="PL-300-{number:4}",
        certificate_prefix="PL",
        at=now,
    )
    card = import_plan(
        by=author, family_code=FAMILY, letter="A", text_or_bytes=_text(checkpoints), filename="plan.csv", at=now
    )
    return card, author


def _text(checkpoints: int) -> str:
    target = io.StringIO(newline="")
    rows = [_row(place, place * STAGES // checkpoints + 1) for place in range(checkpoints)]
    writer = csv.DictWriter(target, list(rows[0]))
    writer.writeheader()
    writer.writerows(rows)
    return target.getvalue()


def _row(place: int, stage: int) -> dict[str, object]:
    return {
        "stage_number": stage, "stage_name": f"Stage {stage}", "number": 1001 + place, "key": f"length_{place}",
        "title": f"Length {place}", "kind": "measured", "nominal": "250.0", "limits": "±0.3", "unit_of_measure": "mm",
        "decimals": 1, "criticality": "major", "gauge_kinds": "caliper", "frequency": "every",
    }  # fmt: skip


def _get(client: Client, address: str) -> bytes:
    response = client.get(address, {"stage": "all"})
    if response.status_code != 200:
        raise RuntimeError(f"{address} answered {response.status_code}")
    return bytes(response.content)


def _edit(client: Client, address: str, turn: int) -> None:
    before, after = ("±0.3", "±0.2") if turn % 2 == 0 else ("±0.2", "±0.3")
    sent = {"row": 7, "column": "limits", "text": after, "was": before}
    response = client.post(f"{address}draft/cell/", sent)
    if response.status_code != 200:
        raise RuntimeError(f"The edit was answered {response.status_code}: {response.content[:200]!r}")


def _bare_open(revision_id: int) -> str:
    rows: list[Any] = json.loads(_select(revision_id))["rows"]
    return "".join(f"<td>{escape(text)}</td>" for _, cells in rows for text in cells.values())


def _bare_edit(revision_id: int) -> None:
    with transaction.atomic():
        rows = _select(revision_id)
        with connection.cursor() as cursor:
            cursor.execute("UPDATE plans_draft SET rows = %s WHERE revision_id = %s", [rows, revision_id])


def _select(revision_id: int) -> str:
    with connection.cursor() as cursor:
        cursor.execute("SELECT rows FROM plans_draft WHERE revision_id = %s", [revision_id])
        return str(cursor.fetchone()[0])


def _time(name: str, ours: float, bare: float, against: str) -> Measurement:
    value = ours * 1000
    return Measurement(name, value, "ms", bare * 1000, ours / bare, f"below {MOST_MS} ms", value < MOST_MS, against)


def _queries(name: str, run: Any) -> Measurement:
    with CaptureQueriesContext(connection) as asked:
        run()
    return Measurement(name, len(asked), "queries", goal=f"at most {MOST_QUERIES}", met=len(asked) <= MOST_QUERIES)
