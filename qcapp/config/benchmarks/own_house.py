"""A database and a data folder of the benchmark's own: the configured ones are never written to."""

from __future__ import annotations

import logging
import os
import secrets
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import CommandError
from django.db import connection
from django.test.utils import override_settings

# What a database that stays is called begins so: never the name of a site's own.
KEPT = "qcapp_benchmark_"


@contextmanager
def own_house(kept: str = "") -> Iterator[str]:
    """An empty migrated database of the configured kind, with the configured options, and an empty data folder.

    Gives the kind's name and version. Both are gone afterwards, but for a database `kept` on PostgreSQL: it stays, and
    the next house of that name finds it as it was left, migrated. Raises CommandError where the configured role may
    not create databases, where tables have an owner of their own, or where something shall be kept elsewhere.
    """
    if kept and connection.vendor != "postgresql":
        raise CommandError("Only a database on PostgreSQL can be kept: leave --kept out, or set QCAPP_DATABASE_URL.")
    if "owner" in settings.DATABASES:
        raise CommandError("Give the benchmark one role that may create databases: leave QCAPP_DATABASE_OWNER_URL out.")
    with tempfile.TemporaryDirectory(prefix="qcapp-benchmark-") as name:
        folder = Path(name)
        options = {
            "QCAPP_DATA_DIR": folder,
            "QCAPP_DEMO": True,
            "QCAPP_SECOND_FACTOR": "offered",
            "SECRET_KEY": secrets.token_urlsafe(50),
            "QCAPP_PIN_PEPPER": secrets.token_urlsafe(50).encode(),
            "QCAPP_SIGNING_FOLDER": folder / "keys",
            "QCAPP_SIGNING_PASSPHRASE": secrets.token_urlsafe(32),
            "STATIC_ROOT": folder / "static",
            "ALLOWED_HOSTS": ["testserver"],
            "SECURE_SSL_REDIRECT": False,
            "DEBUG": False,  # as a server has it: Django keeps every statement otherwise, on SQLite by asking twice
        }
        with override_settings(**options), _quiet(), _own_database(folder, kept):
            call_command("collectstatic", interactive=False, verbosity=0)
            yield _kind()


@contextmanager
def _own_database(folder: Path, kept: str) -> Iterator[None]:
    """By the means that Django's tests have: made beside the configured one, dropped at the end unless kept."""
    configured = str(connection.settings_dict["NAME"])
    own = f"{KEPT}{kept}" if kept else f"{Path(configured).stem}_benchmark_{os.getpid()}"
    is_file = connection.vendor == "sqlite"
    connection.settings_dict["TEST"]["NAME"] = str(folder / f"{own}.sqlite3") if is_file else own[-63:]
    connection.close()
    try:
        connection.creation.create_test_db(verbosity=0, autoclobber=True, serialize=False, keepdb=bool(kept))
    except SystemExit as stop:  # Django leaves the process where the server refuses
        raise CommandError("The database for the benchmark could not be made; see above.") from stop
    try:
        yield
    finally:
        _end_other_sessions()
        connection.creation.destroy_test_db(configured, verbosity=0, keepdb=bool(kept))


def _end_other_sessions() -> None:
    """A server that was just stopped may still hold a session, and PostgreSQL drops no database that is in use."""
    if connection.vendor != "postgresql":
        return
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT pg_terminate_backend(pid) FROM pg_stat_activity"
            " WHERE datname = current_database() AND pid <> pg_backend_pid()"
        )


@contextmanager
def _quiet() -> Iterator[None]:
    """Without the lines that the log would get for each request and each anchor."""
    before = logging.root.manager.disable
    logging.disable(logging.WARNING)
    try:
        yield
    finally:
        logging.disable(before)


def _kind() -> str:
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute("SHOW server_version")
            version = str(cursor.fetchone()[0]).split()[0]
            cursor.execute("SELECT current_setting('fsync'), current_setting('synchronous_commit')")
            fsync, commit = cursor.fetchone()
            return f"PostgreSQL {version}, fsync {fsync}, synchronous_commit {commit}"
        cursor.execute("SELECT sqlite_version()")
        version = str(cursor.fetchone()[0])
        cursor.execute("PRAGMA synchronous")
        level = {0: "OFF", 1: "NORMAL", 2: "FULL", 3: "EXTRA"}[cursor.fetchone()[0]]
        return f"SQLite {version}, WAL, synchronous {level}"
