"""The disk of the database is full: an entry is refused in a sentence, nothing is stored, and room mends it."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

import pytest
from django.db import OperationalError, connection
from django.test import Client
from django.utils import timezone

from qcapp.inspections.models import Result
from qcapp.inspections.services.projection import differences
from qcapp.nonconformance.models import Report

from ..cast import Cast
from ..factories.inspections import Workshop
from ..unchanged import unchanged

pytestmark = pytest.mark.django_db(transaction=True)
NO_ROOM = "could not extend file: No space left on device"
PLACES = ("inspections", "nonconformance", "production")


@contextmanager
def full_disk() -> Iterator[None]:
    """What each database's driver says when a row finds no room, at the row of the entry."""
    words = {"sqlite": "database or disk is full", "postgresql": NO_ROOM}[connection.vendor]

    def refuse(execute: Callable[..., Any], sql: str, *call: Any) -> Any:
        if sql.startswith("INSERT INTO inspections_result"):
            raise OperationalError(words)
        return execute(sql, *call)

    with connection.execute_wrapper(refuse):
        yield


def test_refuses_an_entry_and_takes_it_when_there_is_room_again(cast: Cast) -> None:
    workshop = Workshop.opened(cast, at=timezone.now())
    client = Client(raise_request_exception=False)
    client.force_login(cast.inspector)
    entries = [workshop.operation("tack_look", {"conforms": False, "note": "a gap"}), workshop.operation("left_length")]
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
