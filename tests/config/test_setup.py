"""The first start: questions, what is refused, what is written, and a site that answers afterwards."""

from __future__ import annotations

import os
import shlex
import subprocess
import sys
from pathlib import Path

import pytest
from django.conf import settings

from qcapp.config import setting_up
from qcapp.core.errors import Conflict, Invalid

ANSWERS = ["Alder Quay Cycleworks", "", "https://qc.example.com", "", "", "", "", "", "", ""]


def asking(typed: list[str], secrets: list[str], said: list[str]) -> setting_up.Asking:
    texts, hidden = iter(typed), iter(secrets)
    return setting_up.Asking(lambda words: next(texts), lambda words: next(hidden), said.append)


def test_takes_defaults_and_leaves_out_what_is_not_wanted() -> None:
    told = setting_up.settings_from(asking(ANSWERS, [], []), {})
    assert told == {
        "QCAPP_SITE_NAME": "Alder Quay Cycleworks",
        "QCAPP_PUBLIC_URL": "https://qc.example.com",
        "QCAPP_SITE_ZONE": "Europe/Berlin",
        "QCAPP_SITE_LANGUAGE": "en",
        "QCAPP_SITE_LENGTHS": "mm",
        "QCAPP_SITE_PAPER": "A4",
        "QCAPP_TRUSTED_PROXIES": "1",
    }


def test_asks_again_for_what_would_stop_the_start_and_says_why() -> None:
    said: list[str] = []
    typed = ["", "Alder Quay", "", "qc example", "https://qc.example.com", "Europe/Berlln", "Europe/Berlin"]
    typed += ["pt", "es", "cm", "in", "A5", "letter", "mysql://x", "", "9", "1", "post:25", ""]
    told = setting_up.settings_from(asking(typed, [], said), {})
    assert told["QCAPP_SITE_ZONE"] == "Europe/Berlin"
    assert [told[f"QCAPP_SITE_{name}"] for name in ("LANGUAGE", "LENGTHS", "PAPER")] == ["es", "in", "letter"]
    assert [line.strip().split()[0] for line in said] == [
        "This", "QCAPP_PUBLIC_URL", "QCAPP_SITE_ZONE", "QCAPP_SITE_LANGUAGE", "QCAPP_SITE_LENGTHS", "QCAPP_SITE_PAPER",
        "QCAPP_DATABASE_URL", "QCAPP_TRUSTED_PROXIES", "QCAPP_MAIL_URL",
    ]  # fmt: skip


def test_does_not_ask_what_the_environment_says_already() -> None:
    given = {"QCAPP_SITE_NAME": "Given", "QCAPP_PUBLIC_URL": "https://given.example.com"}
    told = setting_up.settings_from(asking([""] * 8, [], []), given)
    assert told["QCAPP_PUBLIC_URL"] == "https://given.example.com"


def test_wants_a_secret_twice_alike_and_long_enough() -> None:
    said: list[str] = []
    secrets = ["short", "long enough 1", "long enough 2", "long enough 1", "long enough 1"]
    assert setting_up.twice(asking([], secrets, said), "Password", 10) == "long enough 1"
    assert [line.strip() for line in said] == ["At least 10 characters.", "The two differ."]


def test_writes_settings_that_a_shell_reads_and_keys_that_only_the_owner_reads(tmp_path: Path) -> None:
    file, data = tmp_path / "qcapp.env", tmp_path / "data"
    setting_up.write_settings(file, {"QCAPP_SITE_NAME": "Alder 'Quay' $HOME"}, data, "a long passphrase")
    lines = dict(word.split("=", 1) for word in shlex.split(file.read_text(), comments=True))
    assert lines == {"QCAPP_SITE_NAME": "Alder 'Quay' $HOME", "QCAPP_DATA_DIR": str(data)}
    for name in ("secret_key", "signing_passphrase"):
        assert (data / name).stat().st_mode & 0o077 == 0
    assert len((data / "secret_key").read_text().strip()) > 50


@pytest.mark.parametrize("there", ["qcapp.env", "data/secret_key", "data/signing_passphrase"])
def test_leaves_a_site_alone_that_is_set_up(tmp_path: Path, there: str) -> None:
    path = tmp_path / there
    path.parent.mkdir(exist_ok=True)
    path.write_text("kept")
    with pytest.raises(Conflict, match="is set up") as caught:
        setting_up.write_settings(tmp_path / "qcapp.env", {}, tmp_path / "data", "a long passphrase")
    assert caught.value.code == "site_is_set_up"
    assert [each.read_text() for each in tmp_path.rglob("*") if each.is_file()] == ["kept"]


def test_says_that_a_folder_is_missing(tmp_path: Path) -> None:
    with pytest.raises(Invalid, match="Make the folder") as caught:
        setting_up.write_settings(tmp_path / "none" / "qcapp.env", {}, tmp_path / "data", "a long passphrase")
    assert caught.value.code == "folder_missing"
    assert list(tmp_path.iterdir()) == []


@pytest.fixture
def new_site(tmp_path: Path) -> tuple[Path, subprocess.CompletedProcess[str]]:
    """What a person types on a new machine, without a terminal."""
    typed = [*ANSWERS, "", "Greta Sandoval", "GS", "orchard trike 200", "orchard trike 200"]
    typed += ["a long passphrase", "a long passphrase"]
    env = {name: value for name, value in os.environ.items() if not name.startswith(("QCAPP_", "DJANGO_"))}
    where = ["--file", str(tmp_path / "qcapp.env"), "--data", str(tmp_path / "d")]
    command = [sys.executable, "manage.py", "setup", *where]
    return tmp_path, subprocess.run(
        command, input="\n".join(typed) + "\n", text=True, env=env, cwd=settings.BASE_DIR, capture_output=True,
        timeout=240, check=False, start_new_session=True,
    )  # fmt: skip


def test_sets_up_a_site_that_a_keeper_can_sign_in_to(new_site: tuple[Path, subprocess.CompletedProcess[str]]) -> None:
    place, ended = new_site
    assert ended.returncode == 0, ended.stdout + ended.stderr
    assert "Publish this fingerprint" in ended.stdout
    assert "Greta Sandoval signs in with badge 1" in ended.stdout
    assert list((place / "d" / "keys").iterdir())
    assert (place / "d" / "qcapp.sqlite3").stat().st_size > 0
