"""`migrate` where the database is not as it should be: told in words, with what to do, and nothing left half done."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable

import psycopg
import pytest

from .conftest import Site

EmptySite = Callable[..., Site]


def test_says_what_the_database_refused_and_goes_on_when_that_is_put_right(empty_site: EmptySite) -> None:
    site = empty_site()
    with sqlite3.connect(site.folder / "qcapp.sqlite3") as database:
        database.execute("CREATE TABLE audit_entry (id INTEGER)")
    done = site.run("manage.py", "migrate")
    assert done.returncode == 1
    assert "Traceback" not in done.stderr
    assert 'refused: table "audit_entry" already exists' in done.stderr
    assert "run migrate again" in done.stderr
    with sqlite3.connect(site.folder / "qcapp.sqlite3") as database:
        database.execute("DROP TABLE audit_entry")
    site.manage(["migrate", "--verbosity", "0"], ["check", "--database", "default"])


def test_passes_over_what_somebody_else_made_in_the_same_database(
    empty_site: EmptySite, two_roles: dict[str, str]
) -> None:
    """An extension's view for example, which the owner of the tables may not hand on."""
    site, url = empty_site(**two_roles), two_roles["QCAPP_DATABASE_URL"]
    role = url.partition("://")[2].partition("@")[0]
    with psycopg.connect(url.replace(role, "postgres"), autocommit=True) as admin:
        admin.execute("CREATE TABLE of_somebody_else (id integer)")
        admin.execute("CREATE VIEW seen_by_somebody_else AS SELECT 1 AS id")
    site.manage(["migrate", "--verbosity", "0"], ["check", "--database", "default"])
    with psycopg.connect(url, autocommit=True) as application:
        application.execute("SELECT count(*) FROM audit_entry")
        with pytest.raises(psycopg.errors.InsufficientPrivilege):
            application.execute("SELECT * FROM of_somebody_else")
        with pytest.raises(psycopg.errors.InsufficientPrivilege):
            application.execute("DELETE FROM django_migrations")
