"""On PostgreSQL the application's role writes rows and cannot touch the guards; only the owner migrates."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import psycopg
import pytest
from psycopg import errors, sql

REPOSITORY = Path(__file__).resolve().parent.parent.parent
ENTRY = """
INSERT INTO audit_entry (number, at, verb, actor, subject, header, payload_digest, previous_digest, digest)
VALUES (1, now(), 'v', '', 's', '{}', 'a', 'b', 'c')
"""


@pytest.fixture(scope="module")
def address(postgresql_url: str) -> Iterator[dict[str, str]]:
    """The addresses of one migrated database, for its owner and for the application."""
    name = f"qcapp_roles_{os.getpid()}"
    owner, application = f"{name}_owner", f"{name}_app"
    folder = postgresql_url.partition("?")[2]
    admin = psycopg.connect(f"postgresql://postgres@/postgres?{folder}", autocommit=True)
    with admin:
        for role in (owner, application):
            admin.execute(sql.SQL("CREATE ROLE {} LOGIN").format(sql.Identifier(role)))
        admin.execute(sql.SQL("CREATE DATABASE {} OWNER {}").format(sql.Identifier(name), sql.Identifier(owner)))
        yield {role: f"postgresql://{user}@/{name}?{folder}" for role, user in [("owner", owner), ("app", application)]}
        admin.execute(sql.SQL("DROP DATABASE {} WITH (FORCE)").format(sql.Identifier(name)))
        for role in (owner, application):
            admin.execute(sql.SQL("DROP ROLE {}").format(sql.Identifier(role)))


def manage(address: dict[str, str], folder: Path, *arguments: str) -> str:
    environment = {name: value for name, value in os.environ.items() if not name.startswith(("QCAPP_", "DJANGO_"))} | {
        "DJANGO_SETTINGS_MODULE": "qcapp.config.settings",
        "QCAPP_SECRET_KEY": "one that only this test uses, " * 3,
        "QCAPP_DATA_DIR": str(folder),
        "QCAPP_DATABASE_URL": address["app"],
        "QCAPP_DATABASE_OWNER_URL": address["owner"],
    }
    done = subprocess.run(
        [sys.executable, "manage.py", *arguments],
        cwd=REPOSITORY,
        env=environment,
        capture_output=True,
        text=True,
    )
    assert done.returncode == 0, done.stderr
    return done.stdout + done.stderr


@pytest.fixture(scope="module")
def migrated(address: dict[str, str], tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    folder = tmp_path_factory.mktemp("data")
    manage(address, folder, "migrate", "--verbosity", "0")
    assert "no issues" in manage(address, folder, "check", "--database", "default", "--fail-level", "WARNING")
    return address


@pytest.fixture
def application(migrated: dict[str, str]) -> Iterator[psycopg.Connection]:
    with psycopg.connect(migrated["app"]) as connection:
        yield connection
        connection.rollback()


def test_lets_the_application_write_rows(application: psycopg.Connection) -> None:
    application.execute(ENTRY)
    assert application.execute("SELECT count(*) FROM audit_entry").fetchone() == (1,)
    application.execute("SELECT 1 FROM audit_chainhead FOR UPDATE")


def test_guards_rows_against_the_application_and_the_owner(migrated: dict[str, str]) -> None:
    for role in ("app", "owner"):
        with psycopg.connect(migrated[role]) as connection:
            connection.execute(ENTRY)
            with pytest.raises(errors.IntegrityConstraintViolation, match="audit_entry is write-once"):
                connection.execute("UPDATE audit_entry SET subject = 'x'")
            connection.rollback()


@pytest.mark.parametrize(
    "statement",
    [
        "ALTER TABLE audit_entry DISABLE TRIGGER ALL",
        "DROP TRIGGER qcguard_once ON audit_entry",
        "DROP TABLE audit_entry",
        "TRUNCATE audit_entry",
        "CREATE OR REPLACE FUNCTION qcguard_refuse() RETURNS trigger LANGUAGE sql AS 'SELECT 1'",
        "CREATE TRIGGER own BEFORE UPDATE ON audit_entry EXECUTE FUNCTION qcguard_refuse()",
        "SET session_replication_role = replica",
        "DELETE FROM django_migrations",
    ],
)
def test_refuses_the_application_the_guards_themselves(application: psycopg.Connection, statement: str) -> None:
    with pytest.raises(errors.InsufficientPrivilege):
        application.execute(statement)


def test_warns_when_the_application_is_the_owner(migrated: dict[str, str], tmp_path: Path) -> None:
    one_role = {"app": migrated["owner"], "owner": ""}
    assert "qcapp.W110" in manage(one_role, tmp_path, "check", "--database", "default")
