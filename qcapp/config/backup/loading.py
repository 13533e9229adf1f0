"""Bringing the rows of a backup into an empty database of either kind, and reading them back."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from contextlib import AbstractContextManager
from itertools import islice
from typing import Any

from django.db import Error as DatabaseError
from django.db import connections, transaction
from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.migrations.executor import MigrationExecutor
from django.db.migrations.recorder import MigrationRecorder

from qcapp.core.errors import Invalid, Refused
from qcapp.lib import guards
from qcapp.lib.guard_words import quoted
from qcapp.lib.owning import OWNER, owner_for_all
from qcapp.lib.whole_migrations import WholeExecutor

from .columns import LEFT_OUT, Kind, Table, content_of, row_for, row_from, select
from .folder import OldFolder
from .manifest import Manifest, Rows
from .verifying import rows_of

MADE_BY_MIGRATE = LEFT_OUT | {"django_content_type", "auth_permission"}
ROWS_AT_ONCE = 5000


def loading_alias() -> str:
    """The database as its owner sees it, where the settings name one: tables are made and guards lifted there."""
    return OWNER if OWNER in connections.settings else "default"


def rows_there(connection: BaseDatabaseWrapper) -> list[str]:
    """The tables that hold something besides what `migrate` itself writes."""
    found = []
    with connection.cursor() as cursor:
        for table in sorted(set(connection.introspection.table_names(cursor)) - MADE_BY_MIGRATE):
            cursor.execute(f"SELECT 1 FROM {quoted(table)} LIMIT 1")  # noqa: S608 - a name that the database gave
            if cursor.fetchone():
                found.append(table)
    return found


def require_fitting_state(connection: BaseDatabaseWrapper, manifest: Manifest, *, begun: bool) -> None:
    """Raises Refused `backup_is_newer` when the backup knows migrations that this version does not, and
    `database_of_other_state` when the database has tables that stand at other migrations than the backup.

    `begun`: an earlier try may have made a part of the tables.
    """
    wanted = set(manifest.migrations)
    if unknown := sorted(wanted - set(MigrationExecutor(connection).loader.graph.nodes)):
        app, name = unknown[0]
        message = f"The backup was made by a later version: this one does not know {app} {name}. Install that version."
        raise Refused("backup_is_newer", message)
    applied = set(MigrationRecorder(connection).applied_migrations())
    if applied - wanted or (applied and applied != wanted and not begun):
        message = "The database has tables of another version than the backup. Name a database without tables."
        raise Refused("database_of_other_state", message)


def make_tables(connection: BaseDatabaseWrapper, manifest: Manifest) -> None:
    """Migrate an empty database to exactly the state of the backup, without guards."""
    executor = WholeExecutor(connection)
    wanted, nodes = set(manifest.migrations), executor.loader.graph.node_map
    leaves = [key for key in wanted if not any(c.key in wanted and c.key[0] == key[0] for c in nodes[key].children)]
    with owner_for_all(connection.alias):
        executor.migrate(sorted(leaves))


def load(connection: BaseDatabaseWrapper, folder: OldFolder, manifest: Manifest) -> None:
    """Every row of the backup, in one transaction that also reads them back and compares.

    Raises Invalid `row_not_taken` when the database refuses one, `rows_differ` when it gives back another; the
    database is as before then.
    """
    by_name = {rows.table.name: rows for rows in manifest.tables}
    parents = _parents(connection, by_name)
    ordered = _parents_first(parents)
    try:
        with _past_the_guards(connection):
            _empty(connection, reversed(ordered))
            done: set[str] = set()
            for name in ordered:
                _load_table(connection, folder, by_name[name], settled=parents[name] <= done)
                done.add(name)
            connection.check_constraints()
            _compare(connection, manifest)
            _reset_sequences(connection, manifest)
    except DatabaseError as error:
        message = f"The database did not take a row of the backup: {error}".strip()
        raise Invalid("row_not_taken", f"{message.rstrip('.')}.") from error


def _past_the_guards(connection: BaseDatabaseWrapper) -> AbstractContextManager[Any]:
    """One transaction; where the tables have guards already, with the guards lifted."""
    standing = sorted(set(guards.on_tables(connection)) & set(guards.installed(connection)))
    if standing:
        return guards.lifted("a backup is restored", standing, using=connection.alias)
    return transaction.atomic(using=connection.alias)


def _parents(connection: BaseDatabaseWrapper, names: dict[str, Rows]) -> dict[str, set[str]]:
    with connection.cursor() as cursor:
        relations = {name: connection.introspection.get_relations(cursor, name).values() for name in names}
    return {name: {relation[1] for relation in found} for name, found in relations.items()}


def _parents_first(parents: dict[str, set[str]]) -> list[str]:
    """The tables so that what a row points at comes before it, as far as they do not point at each other in a ring."""
    ordered: list[str] = []
    waiting = sorted(parents)
    while waiting:
        ready = [name for name in waiting if not (parents[name] - {name}) & set(waiting)] or waiting[:1]
        ordered += ready
        waiting = [name for name in waiting if name not in ready]
    return ordered


def _empty(connection: BaseDatabaseWrapper, names: Iterator[str]) -> None:
    with connection.cursor() as cursor:
        for name in names:
            cursor.execute(f"DELETE FROM {quoted(name)}")  # noqa: S608 - a table of the models


def _load_table(connection: BaseDatabaseWrapper, folder: OldFolder, rows: Rows, *, settled: bool) -> None:
    """One table. `settled`: all that its rows point at is there, so foreign keys are checked portion by portion."""
    coming = (row_for(rows.table, row, connection.vendor) for row in rows_of(folder, rows))
    while portion := list(islice(coming, ROWS_AT_ONCE)):
        with connection.cursor() as cursor:
            _insert(connection, cursor, rows.table, portion)
        if settled and connection.vendor == "postgresql":
            connection.check_constraints()  # else PostgreSQL keeps the checks of millions of rows for the end


def _insert(connection: BaseDatabaseWrapper, cursor: Any, table: Table, portion: list[tuple[Any, ...]]) -> None:
    names = ", ".join(quoted(column.name) for column in table.columns)
    if connection.vendor == "postgresql":
        with cursor.copy(f"COPY {quoted(table.name)} ({names}) FROM STDIN") as copy:
            for row in portion:
                copy.write_row(row)
        return
    marks = ", ".join(["%s"] * len(table.columns))
    cursor.executemany(f"INSERT INTO {quoted(table.name)} ({names}) VALUES ({marks})", portion)  # noqa: S608


def content_of_table(connection: BaseDatabaseWrapper, table: Table) -> str:
    """The digest of what the rows of a table say, as the manifest has it. Needs a transaction on PostgreSQL."""
    found = hashlib.sha256()
    with connection.chunked_cursor() as cursor:
        cursor.execute(select(table, connection.vendor), None)
        for row in cursor:
            found.update(content_of(table, row_from(table, row)))
    return found.hexdigest()


def same_rows(connection: BaseDatabaseWrapper, manifest: Manifest) -> bool:
    """True when every table of the backup is in the database, row for row."""
    present = set(connection.introspection.table_names())
    if not {rows.table.name for rows in manifest.tables} <= present:
        return False
    with transaction.atomic(using=connection.alias):
        return all(content_of_table(connection, rows.table) == rows.content for rows in manifest.tables)


def _compare(connection: BaseDatabaseWrapper, manifest: Manifest) -> None:
    for rows in manifest.tables:
        if content_of_table(connection, rows.table) != rows.content:
            message = f"The database gives back other rows of {rows.table.name} than the backup holds."
            raise Invalid("rows_differ", message, table=rows.table.name)


def _reset_sequences(connection: BaseDatabaseWrapper, manifest: Manifest) -> None:
    """PostgreSQL: the next row gets a number that no restored row has. SQLite sees to it by itself."""
    if connection.vendor != "postgresql":
        return
    with connection.cursor() as cursor:
        for table in (rows.table for rows in manifest.tables if _counted(rows.table)):
            cursor.execute("SELECT pg_get_serial_sequence(%s, %s)", [quoted(table.name), table.key])
            if (sequence := cursor.fetchone()[0]) is not None:
                last = f"SELECT max({quoted(table.key)}) AS n FROM {quoted(table.name)}"  # noqa: S608
                reset = f"SELECT setval(%s, coalesce(n, 1), n IS NOT NULL) FROM ({last}) AS last"  # noqa: S608
                cursor.execute(reset, [sequence])


def _counted(table: Table) -> bool:
    return any(column.name == table.key and column.kind is Kind.INTEGER for column in table.columns)
