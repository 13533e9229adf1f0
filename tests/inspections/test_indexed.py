"""Ten years of results cost a page no more than one: every page that reads results finds them by an index.

The database is asked how it would find the rows of each statement. What the growth costs in milliseconds is measured by
`manage.py benchmark` and drawn in docs/deploy.md.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from qcapp.gauges.models import Calibration
from qcapp.people.models import Person

from ..cast import Cast
from ..factories.inspections import SERIAL, Workshop

pytestmark = pytest.mark.django_db
RESULTS = "inspections_result"
PAGES = {
    "a unit's history": "/units/{serial}/",
    "a unit's bench": "/api/v1/units/{serial}/bench",
    "a unit's release": "/units/{serial}/release/",
    "a look-up": "/api/v1/look-up?q=0147",
    "a characteristic": "/trends/FR-200/head_angle/",
    "a characteristic by the API": "/api/v1/trends/FR-200/head_angle",
    "who shares a gauge": "/affected/?ask=gauge+CA-01",
    "who shares a heat": "/affected/?ask=heat+H4711",
    "what a gauge measured": "/gauges/CA-03/recall/{calibration}/",
}


@pytest.fixture
def asked(cast: Cast, client_of: Callable[[Person], Client]) -> Callable[[str], tuple[int, list[str]]]:
    """The statements about results that a page needs, and its status."""
    for name in ("inspector", "second_inspector", "quality_manager", "second_quality_manager", "engineer", "welder"):
        getattr(cast, name)
    Workshop.opened(cast).finish()
    calibration = Calibration.objects.filter(gauge__number="CA-03").values_list("pk", flat=True).get()
    client = client_of(cast.quality_manager)

    def ask(path: str) -> tuple[int, list[str]]:
        with CaptureQueriesContext(connection) as seen:
            status = client.get(path.format(serial=SERIAL, calibration=calibration)).status_code
        found = [one["sql"] for one in seen if one["sql"].lstrip("( ").upper().startswith(("SELECT", "WITH"))]
        return status, [sql for sql in found if f'"{RESULTS}"' in sql or f" {RESULTS} " in sql]

    return ask


def scans(sql: str) -> bool:
    """Whether the database would read the whole table of results for it, with an index for every other way at hand."""
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute(
                "SET LOCAL enable_seqscan = off"
            )  # the table is small here: only what has no other way stays
            cursor.execute("EXPLAIN (FORMAT JSON) " + sql.replace("%", "%%"))
            plan = cursor.fetchone()[0]
            return _scanned(json.loads(plan) if isinstance(plan, str) else plan)
        cursor.execute("EXPLAIN QUERY PLAN " + sql)
        steps = [str(row[-1]) for row in cursor.fetchall()]
    names = {RESULTS, *re.findall(rf'"?{RESULTS}"? (?:AS )?"?([A-Z]\d+)"?', sql)}
    return any(step.startswith("SCAN ") and step.split()[1] in names for step in steps)


def _scanned(found: Any) -> bool:
    if isinstance(found, list):
        return any(_scanned(part) for part in found)
    if not isinstance(found, dict):
        return False
    here = found.get("Node Type") == "Seq Scan" and found.get("Relation Name") == RESULTS
    return here or any(_scanned(part) for part in found.values())


@pytest.mark.parametrize("page", list(PAGES))
def test_finds_the_results_of_a_page_by_an_index(asked: Callable[[str], tuple[int, list[str]]], page: str) -> None:
    status, statements = asked(PAGES[page])
    assert status == 200
    assert [sql[:2000] for sql in statements if scans(sql)] == []


def test_reads_results_on_these_pages(asked: Callable[[str], tuple[int, list[str]]]) -> None:
    """Else the others would show nothing."""
    assert sum(len(asked(path)[1]) for path in PAGES.values()) > len(PAGES)


def test_would_notice_a_statement_without_an_index(asked: Callable[[str], tuple[int, list[str]]]) -> None:
    assert scans(f"SELECT count(*) FROM {RESULTS} WHERE reason = 'none'")  # no page asks for it
    assert not scans(f"SELECT count(*) FROM {RESULTS} WHERE item_id = 1 AND checkpoint_id = 1 AND round = 1")
