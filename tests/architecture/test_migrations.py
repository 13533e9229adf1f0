"""The migrations are complete, have names, can be taken back, and leave every guard in place."""

from __future__ import annotations

import re

import pytest
from django.apps import apps
from django.core.management import call_command
from django.db import connection
from django.db.migrations.loader import MigrationLoader
from django.db.migrations.operations import RunPython, RunSQL

from qcapp.lib import guards

ROOMS = [config.label for config in apps.get_app_configs() if config.name.startswith("qcapp.")]


def migrations() -> list[tuple[str, str, object]]:
    loader = MigrationLoader(None, ignore_no_migrations=True)
    return [(label, name, migration) for (label, name), migration in loader.disk_migrations.items() if label in ROOMS]


@pytest.mark.django_db
def test_has_a_migration_for_every_model() -> None:
    call_command("makemigrations", *ROOMS, check=True, dry_run=True, verbosity=0)


def test_names_every_migration_after_what_it_does() -> None:
    assert migrations()
    for label, name, _ in migrations():
        assert re.fullmatch(r"\d{4}_[a-z][a-z0-9_]+", name), f"{label} {name}"
        assert "auto" not in name.split("_"), f"{label} {name}"


def test_has_one_last_migration_in_each_room() -> None:
    assert MigrationLoader(None, ignore_no_migrations=True).detect_conflicts() == {}


def test_can_take_every_migration_of_data_back() -> None:
    for label, name, migration in migrations():
        for operation in migration.operations:  # type: ignore[attr-defined]
            if isinstance(operation, RunPython | RunSQL):
                assert operation.reversible, f"{label} {name}"


@pytest.mark.django_db
def test_leaves_every_written_table_guarded() -> None:
    wanted = {guard.table for guard in guards.guards_of()}
    assert wanted == set(guards.on_tables(connection))
    assert guards.missing(connection, guards.guards_of()) == {}
