"""Django's migrate, through the role that owns the tables where the settings name one."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from django.core.management.base import CommandParser
from django.core.management.commands import migrate
from django.db import connections

from qcapp.lib.guard_words import quoted

OWNER = "owner"
GRANTS = (
    "GRANT USAGE ON SCHEMA public TO {role}",
    "GRANT SELECT, INSERT, UPDATE, DELETE ON ALL TABLES IN SCHEMA public TO {role}",
    "GRANT USAGE, SELECT ON ALL SEQUENCES IN SCHEMA public TO {role}",
    "REVOKE INSERT, UPDATE, DELETE ON django_migrations FROM {role}",
)


@contextmanager
def _owner_for_all(database: str) -> Iterator[None]:
    """Lets migrations that change rows through the usual connection use the owner's while it migrates.

    A library's migration that did so would wait for ever for the tables that the owner holds locked.
    """
    if database != OWNER:
        yield
        return
    usual = connections["default"]
    connections["default"] = connections[OWNER]
    try:
        yield
    finally:
        connections["default"] = usual


class Command(migrate.Command):
    """Migrates as the owner and then lets the application's role read and write rows, and nothing else."""

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        if OWNER in connections.settings:
            parser.set_defaults(database=OWNER)

    def check(self, *args: Any, **options: Any) -> None:
        """Without the checks of the database: they would ask for the guards that this command puts back."""
        super().check(*args, **options | {"databases": None})

    def handle(self, *args: Any, **options: Any) -> None:
        with _owner_for_all(options["database"]):
            super().handle(*args, **options)
        if options["database"] == OWNER and connections[OWNER].vendor == "postgresql":
            role = quoted(connections.settings["default"]["USER"])
            with connections[OWNER].cursor() as cursor:
                for grant in GRANTS:
                    cursor.execute(grant.format(role=role))
