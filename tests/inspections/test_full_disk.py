"""The disk of the database is full: an entry is refused in a sentence, nothing is stored, and room mends it."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.utils import timezone
from psycopg import errors

from qcapp.inspections.models import Result
from qcapp.inspections.services.projection import differences
from qcapp.nonconformance.models import Report

from ..cast import Cast
from ..factories.inspections import Workshop
from ..unchanged import unchanged

pytestmark = pytest.mark.django_db(transaction=True)
PLACES = ("inspections", "nonconformance", "production")


@contextmanager
def full_disk() -> Iterator[None]:
    """SQLite gets no page more than it has; PostgreSQL says what it says when it cannot extend a table."""
    if connection.vendor == "sqlite":
        with connection.cursor() as cursor:
            cursor.execute("VACUUM")  # no page is left free
            (pages,) = cursor.execute("PRAGMA page_count").fetchone()
            cursor.execute(f"PRAGMA max_page_count = {pages}")
            try:
                yield
            finally:
                cursor.execute("PRAGMA max_page_count = 1073741823")
        return

    def refuse(execute: Callable[..., Any], sql: str, *call: Any) -> Any:
        if sql.startswith("INSERT INTO inspections_result"):
            raise errors.DiskFull("could not extend file: No space left on device")
        return execute(sql, *call)

    with connection.execute_wrapper(refuse):
        yield


def test_refuses_an_entry_and_takes_it_when_there_is_room_again(cast: Cast) -> None:
    workshop = Workshop.opened(cast, at=timezone.now())
    client = Client(raise_request_exception=False)
    client.force_login(cast.inspector)
    note = "x" * 900  # several pages of it, so that no free one takes them all
    entries = [workshop.operation("tack_look", {"conforms": False, "note": note}) for _ in range(20)]
    body = {"device": "tablet 7", "operations": entries}
    with full_disk(), unchanged(*PLACES):
        answer = client.post("/api/v1/operations", body, content_type="application/json")
    assert (answer.status_code, answer.json()["code"]) == (503, "database_gone")
    assert "does not answer" in answer.json()["message"]
    answer = client.post("/api/v1/operations", body, content_type="application/json")
    assert answer.status_code == 200
    assert {one["outcome"] for one in answer.json()["operations"]} == {"applied"}
    assert Result.objects.exclude(purpose="computed").count() == len(entries)
    assert Report.objects.count() == 1
    assert differences() == []
