"""A written row stays as it is: past the model, past the queryset, and past both with plain SQL."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.db import IntegrityError, connection, transaction

from qcapp.core.errors import Refused

from .guarded.models import Reading

pytestmark = pytest.mark.django_db


@pytest.fixture
def reading() -> Reading:
    return Reading.objects.create(value="12.50", note="first")


def rows() -> list[tuple[str, str]]:
    return [(str(value), note) for value, note in Reading.objects.order_by("pk").values_list("value", "note")]


def refused_by_database(sql: str, *parameters: object) -> str:
    with pytest.raises(IntegrityError) as caught, transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(sql, parameters)
    return str(caught.value)


def test_takes_a_new_row(reading: Reading) -> None:
    assert rows() == [("12.50", "first")]


def test_refuses_a_second_save(reading: Reading) -> None:
    reading.note = "second"
    with pytest.raises(Refused) as caught:
        reading.save()
    assert caught.value.code == "write_once"
    assert rows() == [("12.50", "first")]


def test_refuses_a_save_under_the_key_of_a_written_row(reading: Reading) -> None:
    with pytest.raises(IntegrityError), transaction.atomic():
        Reading(pk=reading.pk, note="other").save()
    assert rows() == [("12.50", "first")]


@pytest.mark.parametrize(
    "act",
    [
        lambda reading: reading.delete(),
        lambda reading: Reading.objects.all().delete(),
        lambda reading: Reading.objects.update(note="x"),
        lambda reading: Reading.objects.bulk_update([reading], ["note"]),
        lambda reading: Reading.objects.update_or_create(pk=reading.pk, defaults={"note": "x"}),
        lambda reading: Reading.objects.bulk_create([Reading(note="x")], ignore_conflicts=True),
        lambda reading: Reading.objects.bulk_create(
            [Reading(uuid=reading.uuid)],
            update_conflicts=True,
            update_fields=["note"],
            unique_fields=["uuid"],
        ),
    ],
    ids=["delete", "delete many", "update", "bulk update", "update or create", "ignore conflicts", "upsert"],
)
def test_refuses_every_other_way_through_the_model(reading: Reading, act: Callable[[Reading], object]) -> None:
    with pytest.raises(Refused) as caught:
        act(reading)
    assert caught.value.code == "write_once"
    assert caught.value.details == {"table": "guarded_reading"}
    assert rows() == [("12.50", "first")]


def test_takes_many_rows_at_once() -> None:
    Reading.objects.bulk_create([Reading(note="a"), Reading(note="b")])
    assert [note for _, note in rows()] == ["a", "b"]


@pytest.mark.parametrize(
    "sql",
    [
        "UPDATE guarded_reading SET note = 'x'",
        "DELETE FROM guarded_reading",
        "UPDATE guarded_reading SET id = id + 1",
    ],
)
def test_refuses_plain_sql(reading: Reading, sql: str) -> None:
    assert "guarded_reading is write-once" in refused_by_database(sql)
    assert rows() == [("12.50", "first")]


def test_refuses_a_base_manager_that_goes_past_the_queryset(reading: Reading) -> None:
    with pytest.raises(IntegrityError, match="write-once"), transaction.atomic():
        Reading._base_manager.filter(pk=reading.pk).update(note="x")
    assert rows() == [("12.50", "first")]


def test_refuses_the_database_s_own_replacing_insert(reading: Reading) -> None:
    columns = "INTO guarded_reading (id, uuid, value, note) VALUES (%s, %s, '9', 'x')"
    if connection.vendor == "sqlite":
        sql = f"INSERT OR REPLACE {columns}"
    else:
        sql = f"INSERT {columns} ON CONFLICT (id) DO UPDATE SET note = 'x'"
    uuid = reading.uuid.hex if connection.vendor == "sqlite" else reading.uuid
    assert "write-once" in refused_by_database(sql, reading.pk, uuid)
    assert rows() == [("12.50", "first")]


def test_refuses_to_truncate(reading: Reading) -> None:
    if connection.vendor == "sqlite":
        assert "write-once" in refused_by_database("DELETE FROM guarded_reading WHERE 1")
    else:
        assert "write-once" in refused_by_database("TRUNCATE guarded_reading")
        assert "write-once" in refused_by_database("TRUNCATE guarded_line")
    assert rows() == [("12.50", "first")]


@pytest.mark.django_db(transaction=True)
def test_lets_a_test_with_its_own_transactions_be_emptied() -> None:
    Reading.objects.create(note="left behind")
    assert rows() == [("None", "left behind")]


@pytest.mark.django_db(transaction=True)
def test_has_its_guards_again_after_such_a_test() -> None:
    assert rows() == []
    Reading.objects.create(note="kept")
    assert "write-once" in refused_by_database("DELETE FROM guarded_reading")
