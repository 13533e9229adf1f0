"""Times of day as PostgreSQL sends them, read by Python's own reader of ISO 8601.

The connection speaks UTC and ISO, so what comes is `2026-11-24 14:10:05.25+00`. Django's reader takes such a text apart
by an expression, 6 µs each; a page with a frame's history reads five hundred, a recall a hundred thousand.
"""

from __future__ import annotations

from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

from django.db.backends.signals import connection_created

if TYPE_CHECKING:
    from django.db.backends.base.base import BaseDatabaseWrapper


def connect() -> None:
    """Let every connection to PostgreSQL that is opened from now on read times so."""
    connection_created.connect(_read_quickly, dispatch_uid="qcapp.postgres_times")


def _read_quickly(connection: BaseDatabaseWrapper, **_: Any) -> None:
    if connection.vendor == "postgresql" and connection.timezone is UTC:
        connection.connection.adapters.register_loader("timestamptz", _reader())


def _reader() -> type:
    from django.db.backends.postgresql.psycopg_any import BaseTzLoader  # imports the driver: only where it is used

    class IsoLoader(BaseTzLoader):
        """Read as ISO 8601 where it is that; what is not (a year before Christ, infinity) is left to Django's."""

        timezone = UTC

        def load(self, data: Any) -> datetime | None:
            try:
                found = datetime.fromisoformat(bytes(data).decode())
            except ValueError:
                return super().load(data)
            return found if found.tzinfo is UTC else found.astimezone(UTC)

    return IsoLoader
