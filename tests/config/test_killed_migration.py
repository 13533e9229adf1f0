"""`migrate` dies at any moment, again and again, and the next one goes on: the tables are those of one that did not."""

from __future__ import annotations

import os
import signal
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import psycopg
import pytest
from django.db import connection
from psycopg import sql

from .conftest import Site

SQLITE = "SELECT type, name, tbl_name, sql FROM sqlite_master WHERE name NOT LIKE 'sqlite_%'"
POSTGRESQL = (
    "SELECT table_name, column_name, data_type, is_nullable, column_default, character_maximum_length "
    "FROM information_schema.columns WHERE table_schema = 'public'",
    "SELECT tablename, indexdef FROM pg_indexes WHERE schemaname = 'public'",
    "SELECT conrelid::regclass::text, conname, pg_get_constraintdef(oid) FROM pg_constraint "
    "WHERE connamespace = 'public'::regnamespace",
    "SELECT tgrelid::regclass::text, tgname, tgenabled::text FROM pg_trigger WHERE NOT tgisinternal",
)
OF_TESTS = "guarded"  # tables that only the tests have
KILLED = ("recorded", "9", "170", "400", "3")
"""Where each run dies: at the row of a migration, early, inside of tables and of their indexes, at the guards."""


@pytest.fixture
def place(tmp_path: Path) -> Iterator[Site]:
    """An empty database of the kind that this run is on."""
    folder = tmp_path / "data"
    folder.mkdir()
    url = os.environ.get("QCAPP_TEST_DATABASE_URL", "")
    if not url:
        yield Site(folder)
        return
    name, at = f"qcapp_killed_{os.getpid()}", url.partition("?")[2]
    with psycopg.connect(f"postgresql://postgres@/postgres?{at}", autocommit=True) as admin:
        admin.execute(sql.SQL("CREATE DATABASE {}").format(sql.Identifier(name)))
        yield Site(folder, {"QCAPP_DATABASE_URL": f"postgresql://postgres@/{name}?{at}"})
        admin.execute(sql.SQL("DROP DATABASE {} WITH (FORCE)").format(sql.Identifier(name)))


def run(site: Site, where: str) -> tuple[int, str]:
    done = site.run("-m", "tests.config.killed_migration", where)
    return done.returncode, done.stdout + done.stderr


def looks(site: Site) -> list[Any]:
    """Tables, columns, indexes, constraints and guards of the site's database."""
    if url := site.settings.get("QCAPP_DATABASE_URL"):
        with psycopg.connect(url) as there:
            return in_order([there.execute(each).fetchall() for each in POSTGRESQL])
    import sqlite3

    with sqlite3.connect(site.folder / "qcapp.sqlite3") as there:
        return in_order([there.execute(SQLITE).fetchall()])


def ours() -> list[Any]:
    """The same of the tests' own database, which was migrated in one go."""
    found = []
    with connection.cursor() as cursor:
        for each in POSTGRESQL if connection.vendor == "postgresql" else (SQLITE,):
            cursor.execute(each, None)
            found.append(cursor.fetchall())
    return in_order(found)


def in_order(found: list[list[tuple[Any, ...]]]) -> list[list[tuple[Any, ...]]]:
    return [sorted((row for row in rows if OF_TESTS not in str(row)), key=repr) for rows in found]


@pytest.mark.django_db
def test_goes_on_after_each_kill_and_ends_with_the_same_tables(place: Site) -> None:
    for where in KILLED:
        code, told = run(place, where)
        assert code == -signal.SIGKILL, f"{where}: {told[-2000:]}"
    code, told = run(place, "never")
    assert code == 0, told[-2000:]
    assert looks(place) == ours()
