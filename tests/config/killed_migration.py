"""`migrate`, killed: `python -m tests.config.killed_migration WHERE`, in a process of its own.

WHERE is the number of a statement of this run, before which the process ends as by a power cut; or `recorded`, which
ends it between what a migration does and the row that says so, the first time that these are apart; or `never`. Prints
the migration that it died in.
"""

from __future__ import annotations

import os
import signal
import sys
from collections.abc import Callable
from typing import Any

import django


def main(where: str) -> None:
    django.setup()
    from django.core.management import call_command
    from django.db import connection
    from django.db.migrations.executor import MigrationExecutor

    at = [0]

    def die() -> None:
        sys.stdout.flush()
        os.kill(os.getpid(), signal.SIGKILL)

    def counted(execute: Callable[..., Any], *call: Any) -> Any:
        at[0] += 1
        if where.isdigit() and at[0] == int(where):
            die()
        return execute(*call)

    record = MigrationExecutor.record_migration

    def recorded(self: MigrationExecutor, migration: Any) -> None:
        # Django's own executor is outside of every transaction here when it has put statements off.
        if where == "recorded" and (migration.app_label, migration.name) == ("gauges", "0001_gauges"):
            die()
        record(self, migration)

    MigrationExecutor.record_migration = recorded  # type: ignore[method-assign]
    with connection.execute_wrapper(counted):
        call_command("migrate", verbosity=1, no_color=True)


if __name__ == "__main__":
    main(sys.argv[1])
