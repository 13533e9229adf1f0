"""What the bench costs on the wire, compressed as the server sends it: 40 kB of own JavaScript, 150 kB in all."""

from __future__ import annotations

import gzip
import json
from pathlib import Path

import pytest
from django.test import Client
from django.urls import reverse

from qcapp.capture import shell
from qcapp.config.static_storage import lean

STATIC = Path(__file__).resolve().parents[2] / "static"
SCRIPTS = [name for name in shell.FILES if name.endswith(".js")]


def weight(data: bytes) -> int:
    return len(gzip.compress(data, 6))


def sent(name: str) -> bytes:
    """A kept file as the server sends it before it is compressed."""
    content = (STATIC / name).read_bytes()
    return lean(content) if name.endswith(".js") else content


def test_keeps_the_own_javascript_under_forty_kilobytes() -> None:
    assert sum(weight(sent(name)) for name in SCRIPTS) < 40_000


def test_keeps_everything_but_the_unit_under_sixty_kilobytes() -> None:
    files = sum(weight(sent(name)) for name in shell.FILES)
    assert files + weight(shell.shell_html("bench").encode()) < 60_000


def test_takes_along_every_file_of_the_pages() -> None:
    there = {f"capture/{path.name}" for path in (STATIC / "capture").glob("*.js")}
    assert there <= set(shell.FILES)


@pytest.mark.django_db
def test_sends_a_worker_that_is_asked_for_anew_and_a_manifest(client: Client) -> None:
    worker = client.get("/sw.js")
    assert worker.status_code == 200
    assert worker["Cache-Control"] == "no-cache"
    assert worker["Content-Type"].startswith("text/javascript")
    assert "skipWaiting" not in worker.content.decode().split('addEventListener("install"')[1].split("\n")[0]
    manifest = client.get(reverse("capture:manifest"))
    assert manifest["Content-Type"] == "application/manifest+json"
    assert json.loads(manifest.content)["start_url"] == "/floor/"


@pytest.mark.django_db
def test_has_no_kept_page_of_any_other_name(client: Client) -> None:
    assert client.get("/floor/shell/office/").status_code == 404


def test_has_another_version_when_a_kept_file_changes(monkeypatch: pytest.MonkeyPatch) -> None:
    before = shell.version()
    assert before == shell.version()
    monkeypatch.setattr(shell, "FILES", shell.FILES[:-1])
    assert shell.version() != before
