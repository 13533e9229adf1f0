"""Migrations that are applied and written down in one transaction, whatever moment the machine dies at.

Django writes many of them down after their own transaction has ended. A process killed in between leaves tables that
are there and a list that does not say so, and the next `migrate` then stops at "already exists".
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from django.core.management.commands import migrate
from django.db import transaction
from django.db.migrations import Migration
from django.db.migrations.executor import MigrationExecutor
from django.db.migrations.state import ProjectState


class WholeExecutor(MigrationExecutor):
    """Applies a migration and its row in the list of those applied together or not at all."""

    def apply_migration(
        self, state: ProjectState, migration: Migration, fake: bool = False, fake_initial: bool = False
    ) -> ProjectState:
        """As Django's, inside one transaction; a migration that asks for none is applied as Django does it."""
        if not migration.atomic:
            return super().apply_migration(state, migration, fake, fake_initial)
        # SQLite lets foreign keys be switched off outside of a transaction only, and its schema editor insists.
        self.connection.disable_constraint_checking()
        try:
            with transaction.atomic(using=self.connection.alias):
                return super().apply_migration(state, migration, fake, fake_initial)
        finally:
            self.connection.enable_constraint_checking()


@contextmanager
def whole_migrations() -> Iterator[None]:
    """Lets Django's `migrate` apply them so."""
    command: Any = migrate
    before = command.MigrationExecutor
    command.MigrationExecutor = WholeExecutor
    try:
        yield
    finally:
        command.MigrationExecutor = before
