"""The database's own guards: triggers that stand behind `WriteOnceModel` and `frozen_when`.

They are installed after every migrate, because SQLite drops a table's triggers when a migration remakes it.
Their SQL goes to the cursor without parameters: a percent sign in it would otherwise be read as a
placeholder.
"""

from __future__ import annotations

import logging
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

from django.apps import AppConfig, apps
from django.core import checks
from django.db import DEFAULT_DB_ALIAS, connections, models, router, transaction
from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.models.signals import post_migrate, pre_migrate

from . import guards_postgresql, guards_sqlite
from .write_once import FrozenWhen, WriteOnceModel

log = logging.getLogger("qcapp.guards")


@dataclass(frozen=True)
class Guard:
    """What protects one table: never changed at all, frozen by an event, or both."""

    table: str
    write_once: bool
    frozen_when: FrozenWhen | None

    @property
    def tables_named(self) -> frozenset[str]:
        """Every table that the triggers read, which all have to exist before they can be made."""
        when = self.frozen_when
        return frozenset({self.table, when.parent_table, when.event_table} if when else {self.table})


def guard_of(model: type[models.Model]) -> Guard | None:
    """The guard that a model asks for, or None."""
    frozen_when = getattr(model, "frozen_when", None)
    write_once = issubclass(model, WriteOnceModel)
    if model._meta.proxy or not model._meta.managed or not (write_once or frozen_when):
        return None
    return Guard(model._meta.db_table, write_once, frozen_when)


def guards_of(candidates: Iterable[type[models.Model]] | None = None) -> list[Guard]:
    """The guards that the given models ask for, by table name; all installed models when none are given."""
    chosen = apps.get_models(include_auto_created=True) if candidates is None else candidates
    return sorted(filter(None, map(guard_of, chosen)), key=lambda guard: guard.table)


def _dialect(connection: BaseDatabaseWrapper) -> Any:
    return {"sqlite": guards_sqlite, "postgresql": guards_postgresql}[connection.vendor]


def run(connection: BaseDatabaseWrapper, statements: Sequence[str]) -> None:
    """Execute statements as they stand, percent signs included."""
    with connection.cursor() as cursor:
        for statement in statements:
            cursor.execute(statement, None)


def install(connection: BaseDatabaseWrapper, guards: Iterable[Guard]) -> None:
    """Make the triggers of each guard whose tables are there, in place of those it had."""
    present = frozenset(connection.introspection.table_names())
    dialect = _dialect(connection)
    for guard in guards:
        if guard.tables_named <= present:
            remove(connection, [guard])
            run(connection, dialect.create(guard))


def remove(connection: BaseDatabaseWrapper, guards: Iterable[Guard]) -> None:
    """Drop every guarding trigger of the tables, those too that somebody has disabled."""
    dialect = _dialect(connection)
    for guard in guards:
        names = {*installed(connection).get(guard.table, ()), *dialect.names(guard)}
        run(connection, [dialect.drop(guard.table, name) for name in sorted(names)])


def installed(connection: BaseDatabaseWrapper) -> dict[str, list[str]]:
    """The names of the active guarding triggers in the database, by table."""
    found: dict[str, list[str]] = {}
    with connection.cursor() as cursor:
        cursor.execute(_dialect(connection).LIST, None)
        for table, name in cursor.fetchall():
            found.setdefault(table, []).append(name)
    return found


def missing(connection: BaseDatabaseWrapper, guards: Iterable[Guard]) -> dict[str, list[str]]:
    """The triggers that should be active and are not, by table; a table that is not made yet is left out."""
    present = frozenset(connection.introspection.table_names())
    active = installed(connection)
    lacking = {
        guard.table: sorted(set(_dialect(connection).names(guard)) - set(active.get(guard.table, ())))
        for guard in guards
        if guard.table in present
    }
    return {table: names for table, names in lacking.items() if names}


def on_tables(connection: BaseDatabaseWrapper) -> list[str]:
    """The guarded tables that the database has."""
    present = frozenset(connection.introspection.table_names())
    return [guard.table for guard in guards_of() if guard.table in present]


@contextmanager
def lifted(reason: str, tables: Iterable[str], using: str = DEFAULT_DB_ALIAS) -> Iterator[None]:
    """Lift the guards of `tables` for one back-fill, in one transaction, and put them back at its end.

    Auditing the act is the caller's. Raises `ValueError` without a reason or for a table that has no guard.
    Needs the owner of the tables on PostgreSQL. An error inside rolls everything back, the lifting too.
    """
    wanted = frozenset(tables)
    guards = [guard for guard in guards_of() if guard.table in wanted]
    if not reason.strip():
        raise ValueError("Say why the guards are lifted.")
    if unknown := wanted - {guard.table for guard in guards}:
        raise ValueError(f"No guard stands on {', '.join(sorted(unknown))}.")
    connection = connections[using]
    log.warning("guards lifted on %s: %s", ", ".join(sorted(wanted)), reason)
    with transaction.atomic(using=using):
        run(connection, _dialect(connection).lift(guards))
        yield
        run(connection, _dialect(connection).lower(guards))


def reinstall(sender: AppConfig, using: str, **signal: Any) -> None:
    """After a migrate: every guard of the app, as its models ask for them now."""
    guards = guards_of(m for m in sender.get_models(include_auto_created=True) if router.allow_migrate_model(using, m))
    install(connections[using], guards)


def make_way(sender: AppConfig, using: str, plan: Sequence[Any] = (), **signal: Any) -> None:
    """Before a migrate that does something, on SQLite: drop the triggers that read another table.

    SQLite refuses to rename a table while a trigger elsewhere names one that is gone for the moment, and
    Django remakes tables by renaming.
    """
    connection = connections[using]
    if plan and connection.vendor == "sqlite":
        own = guards_of(sender.get_models(include_auto_created=True))
        remove(connection, [guard for guard in own if guard.frozen_when])


def check_installed(databases: Sequence[str] | None, **options: Any) -> list[checks.CheckMessage]:
    """E101 for each guarded table that lacks triggers, in each of the databases asked about."""
    return [
        checks.Error(
            f"Table {table} in database {alias!r} is not protected: {', '.join(names)} missing.",
            hint="Run `manage.py migrate`: it puts every guard back.",
            id="qcapp.E101",
        )
        for alias in databases or ()
        for table, names in missing(connections[alias], guards_of()).items()
    ]


def check_declared(app_configs: Sequence[AppConfig] | None, **options: Any) -> list[checks.CheckMessage]:
    """E102 for a write-once model whose default manager can update, E103 for a guard that names unknown
    tables.
    """
    tables = {model._meta.db_table for model in apps.get_models(include_auto_created=True)}
    found: list[checks.CheckMessage] = []
    for model in apps.get_models(include_auto_created=True):
        guard = guard_of(model)
        if guard and guard.write_once and not _refuses_updates(model):
            hint = "Derive its queryset from WriteOnceQuerySet."
            found.append(checks.Error(f"{model.__name__}.objects can update.", hint=hint, obj=model, id="qcapp.E102"))
        if guard and not guard.tables_named <= tables:
            unknown = ", ".join(sorted(guard.tables_named - tables))
            hint = "Name tables of installed models in frozen_when."
            found.append(checks.Error(f"No model has the table {unknown}.", hint=hint, obj=model, id="qcapp.E103"))
    return found


def _refuses_updates(model: type[models.Model]) -> bool:
    from .write_once import WriteOnceQuerySet

    return isinstance(model._default_manager.get_queryset(), WriteOnceQuerySet)


def connect() -> None:
    """Hook the guards into migrate and into the system checks."""
    pre_migrate.connect(make_way, dispatch_uid="qcapp.guards.make_way")
    post_migrate.connect(reinstall, dispatch_uid="qcapp.guards.reinstall")
    checks.register(check_installed, checks.Tags.database)
    checks.register(check_declared, checks.Tags.models)
