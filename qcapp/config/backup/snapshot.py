"""One moment of the database, read while others go on writing."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from typing import Any, ClassVar, Protocol

from django.db import connections
from psycopg import IsolationLevel

from .columns import Table, Value, row_from, select

ROWS_AT_ONCE = 2000


class Snapshot(Protocol):
    """Everything read through it is of the moment at which it was opened."""

    @property
    def vendor(self) -> str:
        """The kind of database, as Django names it."""

    def rows(self, table: Table) -> Iterator[list[Value]]:
        """The rows of the table in the order of its key."""

    def migrations(self) -> list[tuple[str, str]]:
        """The applied migrations, by app and name."""

    def table_names(self) -> list[str]:
        """Every table that the database has."""


MIGRATIONS = "SELECT app, name FROM django_migrations ORDER BY app, name"
SQLITE_TABLES = "SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite!_%' ESCAPE '!'"
POSTGRESQL_TABLES = "SELECT tablename FROM pg_tables WHERE schemaname = current_schema()"


@dataclass(frozen=True)
class SqliteSnapshot:
    """A read transaction on a connection of its own. In write-ahead mode it sees one moment and stops nobody."""

    connection: sqlite3.Connection
    vendor: ClassVar[str] = "sqlite"

    def rows(self, table: Table) -> Iterator[list[Value]]:
        cursor = self.connection.execute(select(table, self.vendor))
        while stored := cursor.fetchmany(ROWS_AT_ONCE):
            yield from (row_from(table, row) for row in stored)

    def migrations(self) -> list[tuple[str, str]]:
        return [(app, name) for app, name in self.connection.execute(MIGRATIONS)]

    def table_names(self) -> list[str]:
        return sorted(name for (name,) in self.connection.execute(SQLITE_TABLES))


@dataclass(frozen=True)
class PostgresqlSnapshot:
    """A read-only transaction of the level REPEATABLE READ; rows come through a cursor of the server."""

    wrapper: Any
    vendor: ClassVar[str] = "postgresql"

    def rows(self, table: Table) -> Iterator[list[Value]]:
        with self.wrapper.create_cursor(name="qcapp_backup") as cursor:
            cursor.itersize = ROWS_AT_ONCE
            cursor.execute(select(table, self.vendor))
            for row in cursor:
                yield row_from(table, row)

    def migrations(self) -> list[tuple[str, str]]:
        return [(app, name) for app, name in self._all(MIGRATIONS)]

    def table_names(self) -> list[str]:
        return sorted(name for (name,) in self._all(POSTGRESQL_TABLES))

    def _all(self, statement: str) -> list[tuple[Any, ...]]:
        return list(self.wrapper.connection.execute(statement).fetchall())


@contextmanager
def snapshot(alias: str = "default") -> Iterator[Snapshot]:
    """The committed state of the database at this moment; other connections go on writing."""
    if connections[alias].vendor == "sqlite":
        with _of_sqlite(str(connections[alias].settings_dict["NAME"])) as connection:
            yield SqliteSnapshot(connection)
    else:
        with _of_postgresql(alias) as wrapper:
            yield PostgresqlSnapshot(wrapper)


@contextmanager
def _of_sqlite(name: str) -> Iterator[sqlite3.Connection]:
    with closing(sqlite3.connect(name, isolation_level=None, timeout=20)) as connection:
        connection.execute("PRAGMA query_only=ON")
        connection.execute("BEGIN")
        connection.execute("SELECT count(*) FROM sqlite_master").fetchone()  # the first read fixes the moment
        yield connection
        connection.execute("ROLLBACK")


@contextmanager
def _of_postgresql(alias: str) -> Iterator[Any]:
    wrapper: Any = connections.create_connection(alias)
    wrapper.connect()
    try:
        wrapper.connection.isolation_level = IsolationLevel.REPEATABLE_READ
        wrapper.connection.read_only = True
        wrapper.connection.autocommit = False
        wrapper.connection.execute("SELECT 1")  # the first statement fixes the moment
        yield wrapper
    finally:
        wrapper.connection.close()
