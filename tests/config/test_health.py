"""What watches the server is told whether it may be used, and nothing else."""

from __future__ import annotations

from pathlib import Path

import pytest
from django.core.management import call_command
from django.db import OperationalError, connection
from django.test import Client
from pytest_django import Settings

from qcapp.config.backup.notes import begin_restore
from qcapp.config.health import checks
from qcapp.lib import guards

READY = dict.fromkeys(("database", "migrations", "data_folder", "guards", "restored", "page_files"), "ok")


@pytest.fixture(autouse=True)
def data_folder(settings: Settings, tmp_path: Path) -> Path:
    settings.QCAPP_DATA_DIR = tmp_path
    return tmp_path


def failing(client: Client) -> list[str]:
    """The checks that fail; the site says so by its status."""
    answer = client.get("/health/ready/")
    assert answer.status_code == 503
    assert answer.json()["status"] == "not ready"
    return [name for name, word in answer.json()["checks"].items() if word == "failed"]


def test_lives_without_a_database(client: Client) -> None:
    """This test may not touch one."""
    answer = client.get("/health/live/")
    assert (answer.status_code, answer.json()) == (200, {"status": "live"})
    assert answer["Cache-Control"] == "max-age=0, no-cache, no-store, must-revalidate, private"


@pytest.mark.django_db
def test_is_ready_when_everything_holds(client: Client, data_folder: Path) -> None:
    answer = client.get("/health/ready/")
    assert (answer.status_code, answer.json()) == (200, {"status": "ready", "checks": READY})
    assert client.head("/health/ready/").status_code == 200
    assert list(data_folder.iterdir()) == []


@pytest.mark.django_db
def test_is_not_ready_without_its_database(client: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*args: object, **options: object) -> None:
        raise OperationalError("connection to server at 10.0.0.9, user qcapp failed: the password is wrong")

    monkeypatch.setattr(connection, "cursor", refuse)
    answer = client.get("/health/ready/")
    assert answer.status_code == 503
    assert "10.0.0.9" not in answer.content.decode()
    assert set(failing(client)) == {"database", "migrations", "guards"}


@pytest.mark.django_db
def test_is_not_ready_before_its_migrations(client: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    known = checks._known_migrations() | {("audit", "0999_of_the_next_version")}
    monkeypatch.setattr(checks, "_known_migrations", lambda: known)
    assert failing(client) == ["migrations"]


@pytest.mark.django_db
def test_is_not_ready_when_it_cannot_write(client: Client, settings: Settings, data_folder: Path) -> None:
    settings.QCAPP_DATA_DIR = data_folder / "gone"
    assert failing(client) == ["data_folder"]


@pytest.mark.django_db
def test_is_not_ready_without_a_guard(client: Client) -> None:
    guard = next(guard for guard in guards.guards_of() if guard.table == "audit_entry")
    guards.remove(connection, [guard])
    assert failing(client) == ["guards"]
    guards.install(connection, [guard])
    assert client.get("/health/ready/").status_code == 200


@pytest.mark.django_db
def test_is_ready_again_after_migrate_put_the_guard_back(client: Client) -> None:
    """With its checks on, as on the command line: they may not stop it for the very thing it mends."""
    guards.remove(connection, [guard for guard in guards.guards_of() if guard.table == "audit_entry"])
    call_command("migrate", verbosity=0, skip_checks=False)
    assert client.get("/health/ready/").status_code == 200


@pytest.mark.django_db
def test_is_not_ready_in_the_middle_of_a_restore(client: Client) -> None:
    begin_restore(backup="/backups/monday", manifest="0" * 64, phase="begun")
    assert failing(client) == ["restored"]


@pytest.mark.django_db
def test_is_not_ready_while_no_page_can_be_drawn(client: Client, settings: Settings, tmp_path: Path) -> None:
    """As after a restore into an empty data folder, until the style sheets and scripts are collected there."""
    settings.STATIC_ROOT = tmp_path / "static"
    hashed = {"staticfiles": {"BACKEND": "qcapp.config.static_storage.HashedStaticStorage"}}
    settings.STORAGES = settings.STORAGES | hashed
    assert failing(client) == ["page_files"]
    call_command("collectstatic", interactive=False, verbosity=0)
    settings.STORAGES = dict(settings.STORAGES)  # as a new process reads what was collected
    assert client.get("/health/ready/").status_code == 200


def test_answers_questions_only(client: Client) -> None:
    assert client.post("/health/live/").status_code == 405


def test_answers_on_the_machine_itself_without_tls(client: Client, settings: Settings) -> None:
    """A watchdog there speaks plain HTTP; every other address goes to https."""
    settings.SECURE_SSL_REDIRECT = True
    assert client.get("/health/live/").status_code == 200
    assert client.get("/sign-in/").status_code == 301
