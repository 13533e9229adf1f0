"""What is watched: each fact's states, the keeper's page, and the same in the text format of Prometheus."""

from __future__ import annotations

import shutil
from datetime import UTC, datetime, timedelta
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from django.core.management import call_command
from django.test import Client
from prometheus_client.parser import text_string_to_metric_families
from pytest_django import Settings

from qcapp.audit.services import anchor
from qcapp.config.health import watched
from qcapp.lib.notes import note, notes
from qcapp.people.models import Tablet
from qcapp.production.services import add_family
from tests.cast import Cast

AT = datetime(2026, 3, 17, 9, 30, tzinfo=UTC)
TOKEN = "a token that only the watching program knows"

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def data_folder(settings: Settings, tmp_path: Path) -> Path:
    settings.QCAPP_DATA_DIR = tmp_path
    return tmp_path


def fact(name: str, at: datetime = AT) -> watched.Fact:
    return next(one for one in watched.facts(at) if one.name == name)


@pytest.mark.parametrize(
    ("age", "state"), [(None, "out"), (timedelta(hours=20), "good"), (timedelta(days=3), "near"), (timedelta(8), "out")]
)
def test_says_when_a_backup_is_late(age: timedelta | None, state: str) -> None:
    if age is not None:
        note("backup_made", folder="/backups/x", at=(AT - age).isoformat())
    told = fact("backup")
    assert told.state == state
    assert bool(told.todo) is (state != "good")


@pytest.mark.parametrize(
    ("minutes", "words"),
    [(0, "0 minutes"), (1, "1 minute"), (119, "119 minutes"), (120, "2 hours"), (2879, "47 hours"), (2880, "2 days")],
)
def test_names_an_age_in_its_largest_fitting_unit(minutes: int, words: str) -> None:
    assert watched.in_words(timedelta(minutes=minutes)) == words


def test_remembers_the_checks_that_commands_make(cast: Cast) -> None:
    assert cast.keeper
    call_command("verify_audit")
    call_command("check_evidence")
    assert notes()["audit_checked"]["holds"] is True
    assert notes()["evidence_checked"] == {"at": notes()["evidence_checked"]["at"], "holds": True, "files": 0}
    now = datetime.fromisoformat(notes()["audit_checked"]["at"])
    assert fact("audit_check", now).state == "good"


def test_cries_out_about_a_chain_that_did_not_hold_however_fresh() -> None:
    note("audit_checked", at=AT.isoformat(), holds=False, entries=7)
    told = fact("audit_check")
    assert (told.state, "did not hold" in told.words) == ("out", True)


def _add_family(cast: Cast, code: str, at: datetime) -> None:
    add_family(
        by=cast.quality_manager, code=code, name="part", serial_pattern=code + "-{number:4}", certificate_prefix="QX",
        at=at,
    )  # fmt: skip


def test_asks_for_an_anchor_only_where_there_is_something_to_hold(cast: Cast) -> None:
    """After a quiet week the last anchor is a week old and holds everything."""
    week = timedelta(days=7)
    _add_family(cast, "QX-1", AT)
    anchor(at=AT)
    assert fact("anchors", AT + week).state == "good"
    _add_family(cast, "QX-2", AT + week)
    told = fact("anchors", AT + week)
    assert (told.state, "qcapp-anchors.timer" in told.todo) == ("near", True)


@pytest.mark.parametrize(("days", "state"), [(None, "near"), (1, "good"), (4, "near")])
def test_says_when_no_anchor_has_left_the_house(settings: Settings, days: int | None, state: str) -> None:
    assert fact("anchor_mail").state == "good"  # nobody is named for it
    settings.QCAPP_ANCHOR_MAIL = ["notary@example.com"]
    if days is not None:
        note("anchor_mailed", at=(AT - timedelta(days=days)).isoformat(), line="{}")
    told = fact("anchor_mail")
    assert (told.state, bool(told.todo)) == (state, state == "near")


@pytest.mark.parametrize(("hours", "state"), [(1, "good"), (12, "near"), (80, "out")])
def test_names_the_tablet_that_holds_entries_and_for_how_long(cast: Cast, hours: int, state: str) -> None:
    Tablet.objects.create(
        name="Hall 2", made_by=cast.keeper, enrolled_at=AT, unsent=4, unsent_since=AT - timedelta(hours=hours)
    )
    told = fact("tablets")
    assert (told.state, "Hall 2 4" in told.words) == (state, True)
    assert told.numbers["tablet_unsent_entries"] == 4


@pytest.mark.parametrize(("free", "state"), [(0.5, "out"), (3, "near"), (50, "good")])
def test_measures_the_room_on_the_disk(monkeypatch: pytest.MonkeyPatch, free: float, state: str) -> None:
    usage = SimpleNamespace(total=100 * watched.GIGABYTE, free=free * watched.GIGABYTE)
    monkeypatch.setattr(shutil, "disk_usage", lambda folder: usage)
    assert fact("disk").state == state


def test_shows_the_keeper_every_fact_and_nobody_else(cast: Cast, client_of: Any) -> None:
    page = client_of(cast.keeper).get("/system/")
    assert page.status_code == 200
    for told in watched.facts(AT):
        assert told.title in page.text
    assert "Never on this machine." in page.text
    assert client_of(cast.inspector).get("/system/").status_code == 403


def ask(client: Client, token: str) -> Any:
    return client.get("/health/metrics/", HTTP_AUTHORIZATION=f"Bearer {token}")


def test_gives_metrics_to_whoever_has_the_token_alone(cast: Cast, client: Client, settings: Settings) -> None:
    assert cast.keeper
    assert ask(client, "").status_code == 404
    settings.QCAPP_METRICS_TOKEN = TOKEN
    assert client.get("/health/metrics/").status_code == 404
    assert ask(client, TOKEN + "x").status_code == 404
    client.get("/health/live/")
    answer = ask(client, TOKEN)
    assert answer.status_code == 200
    families = {family.name: family for family in text_string_to_metric_families(answer.text)}
    states = {sample.labels["fact"]: sample.value for sample in families["qcapp_watched_state"].samples}
    assert states["backup"] == 2
    assert states.keys() == {one.name for one in watched.facts(AT)}
    views = {sample.labels.get("view") for sample in families["qcapp_request_seconds"].samples}
    assert "health:live" in views


def test_counts_requests_by_the_name_of_the_view_and_never_by_a_serial(
    cast: Cast, client_of: Any, client: Client, settings: Settings
) -> None:
    settings.QCAPP_METRICS_TOKEN = TOKEN
    client_of(cast.keeper).get("/units/SECRET-SERIAL-1/")
    text = ask(client, TOKEN).text
    assert "SECRET-SERIAL-1" not in text


def test_tells_metrics_of_what_the_issue_of_trust_names(cast: Cast, client: Client, settings: Settings) -> None:
    """Latency, submissions, unsent of each tablet, queue, mail, database, disk, the age of the audit's check."""
    settings.QCAPP_METRICS_TOKEN = TOKEN
    for name, unsent in (("Hall 2", 4), ("Hall 3", 0)):
        Tablet.objects.create(name=name, made_by=cast.keeper, enrolled_at=AT, unsent=unsent, unsent_since=AT)
    note("audit_checked", at=AT.isoformat(), holds=True, entries=1)
    client.get("/health/live/")
    families = {family.name: family for family in text_string_to_metric_families(ask(client, TOKEN).text)}
    unsent_of = {sample.labels["tablet"]: sample.value for sample in families["qcapp_tablet_unsent"].samples}
    assert unsent_of == {"Hall 2": 4, "Hall 3": 0}
    for name in (
        "request_seconds", "submitted_entries", "tasks_waiting", "mail_waiting", "mail_undelivered", "database_bytes",
        "database_answer_seconds", "disk_free_bytes", "audit_check_age_seconds", "ready",
    ):  # fmt: skip
        assert f"qcapp_{name}" in families
    assert families["qcapp_database_bytes"].samples[0].value > 100_000


def test_says_what_to_do_wherever_something_is_not_good(cast: Cast) -> None:
    """On a machine where nothing was ever done, and on one where everything is overdue."""
    assert cast.keeper
    for told in (watched.facts(AT), watched.facts(AT + timedelta(days=9000))):
        bad = [one for one in told if one.state != watched.GOOD]
        assert bad
        assert [one.name for one in bad if not one.todo.endswith(".")] == []
