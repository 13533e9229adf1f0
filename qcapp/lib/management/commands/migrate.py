"""Django's migrate, through the role that owns the tables where the settings name one."""

from __future__ import annotations

from typing import Any

from django.core.management.base import CommandError, CommandParser
from django.core.management.commands import migrate
from django.db import Error as DatabaseError
from django.db import connections

from qcapp.lib.guard_words import quoted
from qcapp.lib.owning import OWNER, owner_for_all
from qcapp.lib.quick_states import quick_states
from qcapp.lib.whole_migrations import whole_migrations

# What somebody else made in the same schema, an extension's view for example, is not the owner's to hand on.
OWN = (
    "SELECT c.relkind, c.oid::regclass::text FROM pg_class c WHERE c.relnamespace = 'public'::regnamespace "
    "AND c.relkind IN ('r', 'p', 'S') AND pg_has_role(c.relowner, 'USAGE')"
)
SEQUENCE = "S"
REFUSED = (
    "The database refused: {reason}\n"
    "Nothing of the migration that was under way is kept; those before it stand. Put right what is named and run "
    "migrate again: it goes on there. Otherwise go back to the version before (docs/deploy.md, Upgrade)."
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
        """Raises CommandError with what the database said; with `--traceback` the error as it was."""
        try:
            with owner_for_all(options["database"]), whole_migrations(), quick_states():
                super().handle(*args, **options)
            if options["database"] == OWNER and connections[OWNER].vendor == "postgresql" and not _only_looks(options):
                grant_rows()
        except DatabaseError as error:
            if options.get("traceback"):
                raise
            raise CommandError(REFUSED.format(reason=str(error).strip())) from error


def _only_looks(options: dict[str, Any]) -> bool:
    return bool(options.get("plan") or options.get("check_unapplied"))


def grant_rows() -> None:
    """The rows of the owner's tables to the application's role, those of the list of migrations to read only."""
    role = quoted(connections.settings["default"]["USER"])
    with connections[OWNER].cursor() as cursor:
        cursor.execute(OWN)
        kinds = cursor.fetchall()
        tables = ", ".join(name for kind, name in kinds if kind != SEQUENCE)
        sequences = ", ".join(name for kind, name in kinds if kind == SEQUENCE)
        cursor.execute(f"GRANT USAGE ON SCHEMA public TO {role}")
        cursor.execute(f"GRANT SELECT, INSERT, UPDATE, DELETE ON {tables} TO {role}")
        cursor.execute(f"GRANT USAGE, SELECT ON {sequences} TO {role}")
        cursor.execute(f"REVOKE INSERT, UPDATE, DELETE ON django_migrations FROM {role}")
