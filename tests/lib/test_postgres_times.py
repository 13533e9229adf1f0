"""Times that PostgreSQL sends, read as Django reads them."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from django.db import DataError, connection
from hypothesis import given, settings
from hypothesis import strategies as st

pytestmark = [
    pytest.mark.django_db,
    pytest.mark.skipif(connection.vendor != "postgresql", reason="is about the driver of PostgreSQL"),
]

MOMENTS = st.datetimes(min_value=datetime(1, 1, 2), max_value=datetime(9999, 12, 30))  # noqa: DTZ001 - put into UTC below


def read(value: object) -> object:
    with connection.cursor() as cursor:
        cursor.execute("SELECT %s::timestamptz", [value])
        return cursor.fetchone()[0]


def test_the_quick_reader_is_in_use() -> None:
    connection.ensure_connection()
    reader = connection.connection.adapters.get_loader(1184, 0)  # timestamptz as text
    assert reader.__name__ == "IsoLoader"


@settings(max_examples=200)
@given(MOMENTS)
def test_reads_what_was_written(moment: datetime) -> None:
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
def test_reads_other_writings_and_nothing(sent: str | None, at: datetime | None) -> None:
    assert read(sent) == at


@pytest.mark.parametrize("sent", ["infinity", "0044-03-15 12:00:00+00 BC"])
def test_what_python_has_no_time_for_is_refused_as_before(sent: str) -> None:
    with pytest.raises(DataError):
        read(sent)


def test_another_zone_of_the_session_is_read_rightly() -> None:
    with connection.cursor() as cursor:
        cursor.execute("SET LOCAL TIME ZONE 'Asia/Kathmandu'")
        cursor.execute("SELECT '2026-11-24 14:10:05+00'::timestamptz")
        (found,) = cursor.fetchone()
    assert found == datetime(2026, 11, 24, 14, 10, 5, tzinfo=UTC)
