"""Recording acts and giving numbers."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable
from datetime import UTC, datetime
from threading import Barrier, Thread

import pytest
from django.db import connection, transaction
from django.db.utils import IntegrityError

from qcapp.audit.models import ChainHead, Counter, Entry, Payload
from qcapp.audit.queries import check_chain, entries_about, entries_page, head
from qcapp.audit.services import next_number, record
from qcapp.audit.verbs import Verb
from qcapp.core.errors import Invalid, Refused

from .conftest import ACTOR

AT = datetime(2026, 3, 17, 9, 30, 15, 250000, tzinfo=UTC)


def opened(payload: dict[str, object] | None = None) -> int:
    with transaction.atomic():
        return record(
            verb=Verb.UNIT_OPENED,
            actor=ACTOR,
            subject="unit FR-200-0147",
            at=AT,
            payload={"family": "FR-200"} if payload is None else payload,
        )


def sha256(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()


@pytest.mark.django_db
def test_numbers_acts_from_one_without_a_gap() -> None:
    assert [opened(), opened(), opened()] == [1, 2, 3]
    assert head().number == 3


@pytest.mark.django_db
def test_seals_the_header_and_the_entry_before() -> None:
    """Recomputed with the standard library alone: SHA-256 (FIPS 180-4) over JSON in RFC 8785 form."""
    opened()
    opened({"value": "12.50", "name": "Größe"})
    first, second = Entry.objects.order_by("number")
    plain = {"separators": (",", ":"), "sort_keys": True, "ensure_ascii": False}
    assert second.payload.body == json.dumps({"name": "Größe", "value": "12.50"}, **plain)
    header = {
        "actor": str(ACTOR),
        "at": "2026-03-17T09:30:15.250000+00:00",
        "number": 2,
        "payload": sha256(second.payload.body),
        "subject": "unit FR-200-0147",
        "verb": "unit.opened",
    }
    assert second.header == json.dumps(header, **plain)
    assert first.previous_digest == "0" * 64
    assert second.previous_digest == first.digest
    assert second.digest == sha256(json.dumps([first.digest, 2, second.header], **plain))
    assert head().digest == second.digest


@pytest.mark.django_db
def test_takes_the_entry_back_with_the_act() -> None:
    def failing() -> None:
        with transaction.atomic():
            opened()
            raise ZeroDivisionError

    opened()
    with pytest.raises(ZeroDivisionError):
        failing()
    assert head().number == Entry.objects.count() == Payload.objects.count() == 1
    assert opened() == 2


@pytest.mark.django_db
@pytest.mark.parametrize("payload", [{"value": 12.5}, {"value": "a\0b"}, {1: "x"}, {"big": 2**60}])
def test_refuses_a_payload_without_one_exact_text(payload: dict[str, object]) -> None:
    with pytest.raises(Invalid):
        opened(payload)
    assert not Entry.objects.exists()
    assert not ChainHead.objects.exists()


@pytest.mark.django_db
def test_refuses_a_time_without_a_zone() -> None:
    with pytest.raises(Invalid, match="zone") as caught, transaction.atomic():
        record(verb=Verb.SITE_SET_UP, actor=None, subject="site", at=AT.replace(tzinfo=None), payload={})
    assert caught.value.code == "time_without_zone"
    assert not Entry.objects.exists()


@pytest.mark.django_db(transaction=True)
def test_refuses_to_write_outside_a_transaction() -> None:
    with pytest.raises(RuntimeError):
        record(verb=Verb.SITE_SET_UP, actor=None, subject="site", at=AT, payload={})
    with pytest.raises(RuntimeError):
        next_number(series="NCR-2026")
    assert not Entry.objects.exists()
    assert not Counter.objects.exists()


@pytest.mark.django_db
def test_refuses_a_verb_that_is_not_listed() -> None:
    with pytest.raises(ValueError, match=r"unit\.painted"), transaction.atomic():
        record(verb="unit.painted", actor=None, subject="unit FR-200-0147", at=AT, payload={})
    assert not Entry.objects.exists()


@pytest.mark.django_db
def test_keeps_entries_as_written() -> None:
    opened()
    entry = Entry.objects.get()
    entry.subject = "unit FR-200-0148"
    with pytest.raises(Refused):
        entry.save()
    with pytest.raises(IntegrityError), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("UPDATE audit_entry SET subject = 'unit FR-200-0148'")
    with pytest.raises(IntegrityError), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("DELETE FROM audit_payload")
    assert check_chain().holds


@pytest.mark.django_db
def test_gives_numbers_of_a_series_without_gaps() -> None:
    def taken(series: str) -> int:
        with transaction.atomic():
            return next_number(series=series)

    def failing() -> None:
        with transaction.atomic():
            assert next_number(series="NCR-2026") == 3
            raise ZeroDivisionError

    assert [taken("NCR-2026"), taken("NCR-2026"), taken("NCR-2027")] == [1, 2, 1]
    with pytest.raises(ZeroDivisionError):
        failing()
    assert taken("NCR-2026") == 3


@pytest.mark.django_db
def test_finds_the_acts_on_one_thing_newest_first(write_acts: Callable[[int], list[int]]) -> None:
    opened()
    write_acts(2)
    opened({"family": "AX-200"})
    assert [row.number for row in entries_about("unit FR-200-0147")] == [4, 1]
    newest = entries_about("unit FR-200-0147")[0]
    assert (newest.verb, newest.actor, newest.payload) == ("unit.opened", str(ACTOR), {"family": "AX-200"})
    assert entries_about("unit FR-200-014") == []


@pytest.mark.django_db
def test_pages_through_acts_and_filters_them(write_acts: Callable[[int], list[int]]) -> None:
    write_acts(5)
    opened()
    assert [row.number for row in entries_page(size=2)] == [6, 5]
    assert [row.number for row in entries_page(size=2, before=5)] == [4, 3]
    assert [row.number for row in entries_page(fragment="fr-200-0147")] == [6]
    assert [row.number for row in entries_page(fragment="unit.opened")] == [6, 5, 4, 3, 2, 1]
    assert entries_page(fragment="%") == []


@pytest.mark.django_db(transaction=True)
def test_gives_two_writers_at_once_consecutive_numbers() -> None:
    numbers: list[int] = []
    series: list[int] = []
    start = Barrier(2)

    def write() -> None:
        try:
            start.wait(timeout=10)
            for _ in range(10):
                with transaction.atomic():
                    series.append(next_number(series="NCR-2026"))
                    numbers.append(record(verb=Verb.UNIT_OPENED, actor=None, subject="unit X", at=AT, payload={}))
        finally:
            connection.close()

    threads = [Thread(target=write) for _ in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=30)
    assert sorted(numbers) == sorted(series) == list(range(1, 21))
    assert check_chain().holds
    assert check_chain().entries == 20
