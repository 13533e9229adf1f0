"""Times that PostgreSQL sends, read as Django reads them."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from typing import Any
from urllib.parse import parse_qs, urlsplit

import pytest
from django.db import DataError
from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.utils import ConnectionHandler
from hypothesis import given, settings
from hypothesis import strategies as st

MOMENTS = st.datetimes(min_value=datetime(1, 1, 2), max_value=datetime(9999, 12, 30))  # noqa: DTZ001 - put into UTC below
Read = Callable[[object], Any]


@pytest.fixture(scope="module")
def connection(postgresql_url: str, django_db_blocker: Any) -> Iterator[BaseDatabaseWrapper]:
    """One to the tests' server, whatever database the run itself is on; no table is needed."""
    url = urlsplit(postgresql_url)
    to = {"USER": url.username or "", "HOST": parse_qs(url.query)["host"][0], "NAME": "postgres"}
    with django_db_blocker.unblock():
        one = ConnectionHandler({"default": {"ENGINE": "django.db.backends.postgresql", **to}})["default"]
        yield one
        one.close()


@pytest.fixture(scope="module")
def read(connection: BaseDatabaseWrapper) -> Read:
    def read(value: Any) -> Any:
        with connection.cursor() as cursor:
            cursor.execute("SELECT %s::timestamptz", [value])
            return cursor.fetchone()[0]

    return read


def test_the_quick_reader_is_in_use(connection: BaseDatabaseWrapper) -> None:
    connection.ensure_connection()
    reader = connection.connection.adapters.get_loader(1184, 0)  # timestamptz as text
    assert reader.__name__ == "IsoLoader"


@settings(max_examples=200)
@given(moment=MOMENTS)
def test_reads_what_was_written(read: Read, moment: datetime) -> None:
    written = moment.replace(tzinfo=UTC)
    found = read(written)
    assert (found, found.utcoffset()) == (written, timedelta(0))


@pytest.mark.parametrize(
    ("sent", "at"),
    [
        ("2026-11-24 14:10:05.25+01", datetime(2026, 11, 24, 13, 10, 5, 250000, tzinfo=UTC)),
        ("0099-03-01 00:00:00.000001+00", datetime(99, 3, 1, 0, 0, 0, 1, tzinfo=UTC)),
        (None, None),
    ],
)
def test_reads_other_writings_and_nothing(read: Read, sent: str | None, at: datetime | None) -> None:
    assert read(sent) == at


@pytest.mark.parametrize("sent", ["infinity", "0044-03-15 12:00:00+00 BC"])
def test_what_python_has_no_time_for_is_refused_as_before(read: Read, sent: str) -> None:
    with pytest.raises(DataError):
        read(sent)


def test_another_zone_of_the_session_is_read_rightly(connection: BaseDatabaseWrapper) -> None:
    with connection.cursor() as cursor:
        cursor.execute("SET TIME ZONE 'Asia/Kathmandu'")
        cursor.execute("SELECT '2026-11-24 14:10:05+00'::timestamptz")
        (found,) = cursor.fetchone()
        cursor.execute("RESET TIME ZONE")
    assert found == datetime(2026, 11, 24, 14, 10, 5, tzinfo=UTC)
