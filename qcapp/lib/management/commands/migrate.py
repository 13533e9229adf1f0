"""Django's migrate, through the role that owns the tables where the settings name one."""

from __future__ import annotations

from typing import Any

from django.core.management.base import CommandParser
from django.core.management.commands import migrate
from django.db import connections

from qcapp.lib.guard_words import quoted
from qcapp.lib.owning import OWNER, owner_for_all
from qcapp.lib.whole_migrations import whole_migrations

GRANTS = (
    "GRANT USAGE ON SCHEMA public TO {role}",
    "GRANT SELECT, INSERT, UPDATE, DELETE ON ALL TABLES IN SCHEMA public TO {role}",
    "GRANT USAGE, SELECT ON ALL SEQUENCES IN SCHEMA public TO {role}",
    "REVOKE INSERT, UPDATE, DELETE ON django_migrations FROM {role}",
)


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
        with owner_for_all(options["database"]), whole_migrations():
            super().handle(*args, **options)
        if options["database"] == OWNER and connections[OWNER].vendor == "postgresql":
            role = quoted(connections.settings["default"]["USER"])
            with connections[OWNER].cursor() as cursor:
                for grant in GRANTS:
                    cursor.execute(grant.format(role=role))
