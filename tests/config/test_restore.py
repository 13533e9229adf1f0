"""A restore brings everything back, into an empty place only, on either kind of database, and gives no number twice."""

from __future__ import annotations

import json
import os
import shutil
import sqlite3
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path

import psycopg
import pytest
from django.core.management import CommandError, call_command
from django.db import transaction
from psycopg import errors
from pytest_django import Settings

from qcapp.audit import services as audit
from qcapp.config.backup import restoring, sealing
from qcapp.config.backup.folder import OldFolder
from qcapp.config.backup.making import make_backup
from qcapp.config.backup.manifest import NAME, Manifest, manifest_from
from qcapp.config.backup.notes import RESTORING, begin_restore, restore_under_way
from qcapp.config.backup.restoring import Copies, restore
from qcapp.core.errors import QcError
from qcapp.production.models import PartFamily
from tests.cast import FIXED_NOW

from .conftest import Site, Source
from .test_backup import seal_again
from .world import LOST, SERIAL

EmptySite = Callable[..., Site]

# What a restore itself writes: its entry, the epoch, the jump of the numbers.
OF_THE_RESTORE = {"audit_entry", "audit_payload", "audit_chainhead", "audit_counter"}


def manifest_of(folder: Path) -> Manifest:
    return manifest_from((folder / NAME).read_bytes())


def contents(folder: Path) -> dict[str, tuple[int, str]]:
    """Of each table that a restore leaves alone: how many rows, and the digest of what they say."""
    found = {rows.table.name: (rows.rows, rows.content) for rows in manifest_of(folder).tables}
    return {name: found[name] for name in set(found) - OF_THE_RESTORE}


def lines(folder: Path, table: str) -> list[str]:
    return (folder / "rows" / f"{table}.jsonl").read_text(encoding="utf-8").splitlines()


def on_sqlite(site: Site, statement: str) -> list[tuple[object, ...]]:
    with sqlite3.connect(site.folder / "qcapp.sqlite3") as database:
        found = database.execute(statement).fetchall()
    database.close()
    return found


# --- the whole circle ---------------------------------------------------------------------------------------


def test_moves_a_site_to_postgresql_and_back(
    source: Source, empty_site: EmptySite, two_roles: dict[str, str], tmp_path: Path
) -> None:
    """SQLite, PostgreSQL with two roles and guards that stand already, SQLite again: the same rows each time."""
    grown, back = empty_site("grown", **two_roles), empty_site("back")
    said = grown.manage(
        ["migrate", "--verbosity", "0"],
        ["restore", str(source.backup), "--into", str(grown.folder)],
        ["backup", str(tmp_path / "second")],
        ["add_person", "9001", "Ferdinand Ash", "FA", "--no-password"],
        ["verify_audit"],
        ["check_evidence"],
        ["check", "--database", "default", "--fail-level", "WARNING"],
    )
    assert "Numbers jumped by 1000" in said
    assert "Everything holds." in said
    assert_guarded(two_roles["QCAPP_DATABASE_URL"])
    assert (grown.folder / "static" / "staticfiles.json").is_file()  # else no page can be drawn
    said = back.manage(
        ["restore", str(tmp_path / "second"), "--into", str(back.folder), "--margin", "7"],
        ["backup", str(tmp_path / "third")],
        ["backup", str(tmp_path / "third"), "--verify"],
        ["verify_audit"],
    )
    assert said.count("Everything holds.") == 2
    first, second, third = (manifest_of(folder) for folder in (source.backup, tmp_path / "second", tmp_path / "third"))
    assert (first.database, second.database, third.database) == ("sqlite", "postgresql", "sqlite")
    assert contents(source.backup) == contents(tmp_path / "second") == contents(tmp_path / "third")
    assert_chain_grew(source.backup, tmp_path / "second", tmp_path / "third")
    assert len({each.chain["epoch"] for each in (first, second, third)}) == 3
    evidence = [kept for kept in first.files if kept.path.startswith("evidence")]
    assert evidence
    assert all((back.folder / kept.path).stat().st_size == kept.size for kept in evidence)


def assert_guarded(address: str) -> None:
    with psycopg.connect(address) as connection, pytest.raises(errors.IntegrityConstraintViolation):
        connection.execute("UPDATE audit_entry SET subject = 'x'")


def assert_chain_grew(*folders: Path) -> None:
    """Each backup holds the entries of the one before, word for word, and the one of its restore."""
    for before, after in pairwise(folders):
        for table in ("audit_entry", "audit_payload"):
            known, grown = lines(before, table), lines(after, table)
            assert grown[: len(known)] == known
            assert len(grown) == len(known) + 1
    counters = [[json.loads(line)[1:] for line in lines(folder, "audit_counter")] for folder in folders]
    first, second, third = (dict(pairs) for pairs in counters)
    assert first
    assert all(second[series] == last + 1000 and third[series] == last + 1007 for series, last in first.items())


def test_brings_an_older_backup_up_to_date(copy: Path, empty_site: EmptySite) -> None:
    """The tables are made as they were at the backup, filled, and then migrated like those of any older version."""
    says = json.loads((copy / NAME).read_text())
    later = [["auth", "0012_alter_user_first_name_max_length"]]  # one on which nothing else rests
    says["migrations"] = [pair for pair in says["migrations"] if pair not in later]
    (copy / NAME).write_text(json.dumps(says))
    seal_again(copy)
    new = empty_site()
    new.manage(["restore", str(copy), "--into", str(new.folder)], ["check", "--database", "default"])
    applied = on_sqlite(new, "SELECT app, name FROM django_migrations")
    assert {tuple(pair) for pair in later} <= set(applied)
    assert on_sqlite(new, "SELECT count(*) FROM inspections_result")[0][0] == len(lines(copy, "inspections_result"))


# --- what was issued after the backup -----------------------------------------------------------------------


def test_takes_anchors_and_papers_that_were_kept_elsewhere(
    source: Source, empty_site: EmptySite, tmp_path: Path
) -> None:
    """The machine worked on after its backup and was lost. What it sent elsewhere says how much, and is kept."""
    lost = Site(tmp_path / "lost")
    shutil.copytree(source.site.folder, lost.folder)
    assert lost.run("-m", "tests.config.world", "--later").returncode == 0
    papers = tmp_path / "papers"
    papers.mkdir()
    (known,) = (lost.folder / "evidence").rglob("*.pdf")
    shutil.copy(known, papers / "FR-2026-0001-1.pdf")
    (papers / "FR-2026-0002-1.PDF").write_bytes(b"%PDF-1.7 issued after the backup")
    new = empty_site()
    outside = lost.folder / "anchors" / "anchors.jsonl"
    said = new.manage(
        ["migrate", "--verbosity", "0"],
        ["restore", str(source.backup), "--into", str(new.folder), "--anchors", str(outside), "--papers", str(papers)],
        ["verify_audit"],
        ["check_evidence"],
    )
    assert f"know {LOST} acts that the backup does not have" in said
    assert "Everything holds." in said
    assert said.count(".pdf is named by no row.") == 1
    (payload,) = on_sqlite(new, "SELECT body FROM audit_payload ORDER BY id DESC LIMIT 1")
    told = json.loads(str(payload[0]))
    chain = manifest_of(source.backup).chain
    assert told["ended"] == {chain["epoch"]: {"kept_to": chain["number"], "known_to": chain["number"] + LOST}}
    assert len(told["papers"]) == 1
    assert (new.folder / told["papers"][0]).read_bytes() == b"%PDF-1.7 issued after the backup"


@pytest.mark.django_db
def test_gives_no_number_again(settings: Settings, tmp_path: Path) -> None:
    """Series that the backup knows jump; one that was begun after it begins behind the margin, in those years only."""
    settings.QCAPP_DATA_DIR = tmp_path
    with transaction.atomic():
        assert [audit.next_number(series="NCR-2026") for _ in range(3)] == [1, 2, 3]
        audit.begin_epoch(at=FIXED_NOW, margin=50, years=[2026], payload={"ended": {}})
        assert audit.next_number(series="NCR-2026") == 54
        assert audit.next_number(series="certificate FK 2026") == 51
        assert audit.next_number(series="certificate FK 2026") == 52
        assert audit.next_number(series="certificate FK 2027") == 1


# --- refused ------------------------------------------------------------------------------------------------


@pytest.fixture
def place(settings: Settings, tmp_path: Path) -> Path:
    """The data folder of this process, empty."""
    folder = tmp_path / "place"
    folder.mkdir()
    settings.QCAPP_DATA_DIR = folder
    return folder


def refused(backup: Path, into: Path, **copies: Path) -> str:
    """The code of the refusal; nothing is written."""
    before = sorted(into.rglob("*"))
    with pytest.raises(QcError) as caught:
        restore(folder=OldFolder(backup, []), into=into, at=FIXED_NOW, copies=Copies(**copies))
    assert caught.value.message.endswith(".")
    assert sorted(into.rglob("*")) == before
    return caught.value.code


@pytest.mark.django_db
def test_refuses_a_place_that_is_not_empty(source: Source, place: Path) -> None:
    PartFamily.objects.create(code="FK-30", name="girder fork", serial_pattern="FK-{number:4}", certificate_prefix="FK")
    assert refused(source.backup, place) == "database_not_empty"
    (place / "evidence").mkdir()
    (place / "evidence" / "paper.pdf").write_bytes(b"%PDF-")
    assert refused(source.backup, place) == "data_folder_not_empty"


@pytest.mark.django_db
def test_refuses_a_folder_that_the_settings_do_not_name(source: Source, place: Path, tmp_path: Path) -> None:
    other = tmp_path / "other"
    other.mkdir()
    assert refused(source.backup, other) == "not_the_data_folder"


@pytest.mark.django_db
def test_refuses_another_secret_key(source: Source, place: Path, settings: Settings) -> None:
    settings.QCAPP_ANCHOR_KEY = b"the key of another installation ..."
    assert refused(source.backup, place) == "another_key"


@pytest.mark.django_db
def test_refuses_a_backup_that_does_not_hold(copy: Path, place: Path) -> None:
    (copy / "rows" / "people_person.jsonl").write_text("[]\n")
    assert refused(copy, place) == "backup_does_not_hold"


@pytest.mark.django_db
def test_refuses_a_backup_of_a_later_version(copy: Path, place: Path) -> None:
    says = json.loads((copy / NAME).read_text())
    says["migrations"].append(["audit", "0999_of_later_years"])
    (copy / NAME).write_text(json.dumps(says))
    seal_again(copy)
    assert refused(copy, place) == "backup_is_newer"


@pytest.mark.django_db
def test_refuses_a_database_at_other_migrations(copy: Path, place: Path) -> None:
    says = json.loads((copy / NAME).read_text())
    says["migrations"] = [pair for pair in says["migrations"] if pair[0] != "certificates"]
    (copy / NAME).write_text(json.dumps(says))
    seal_again(copy)
    assert refused(copy, place) == "database_of_other_state"


@pytest.mark.django_db
def test_refuses_while_another_restore_is_unfinished(source: Source, place: Path) -> None:
    begin_restore(backup="/backups/older", manifest="0" * 64, phase="begun")
    assert refused(source.backup, place) == "another_restore_under_way"
    assert restore_under_way()["backup"] == "/backups/older"


# --- interrupted --------------------------------------------------------------------------------------------


def test_goes_on_after_it_was_interrupted(source: Source, empty_site: EmptySite, tmp_path: Path) -> None:
    """Killed while rows are loaded, right after they were committed, and before the new epoch; then it ends well."""
    new, again = empty_site(), tmp_path / "again"
    command = ["restore", str(source.backup), "--into", str(new.folder)]
    loaded = len(lines(source.backup, "inspections_result"))
    for fault, rows in (("rows", 0), ("mark", loaded), ("epoch", loaded)):
        done = new.run("-m", "tests.config.commands", json.dumps([command]), FAULT=fault)
        assert done.returncode == 9, done.stderr
        assert (new.folder / RESTORING).is_file()
        assert on_sqlite(new, "SELECT count(*) FROM inspections_result") == [(rows,)]
    new.manage(command, ["backup", str(again)], ["backup", str(again), "--verify"])
    assert not (new.folder / RESTORING).exists()
    assert contents(again) == contents(source.backup)
    assert len(lines(again, "audit_entry")) == len(lines(source.backup, "audit_entry")) + 1
    assert on_sqlite(new, f"SELECT count(*) FROM production_unit WHERE serial = '{SERIAL}'") == [(1,)]


# --- the secret key -----------------------------------------------------------------------------------------


@pytest.mark.django_db
def test_brings_the_secret_key_from_an_encrypted_backup_only(place: Path, settings: Settings, tmp_path: Path) -> None:
    key, sealed, plain = tmp_path / "backup.key", tmp_path / "sealed", tmp_path / "plain"
    (place / "secret_key").write_text("the secret of the lost machine")
    make_backup(target=sealed, public_keys=[sealing.new_key(key)], at=FIXED_NOW)
    make_backup(target=plain, public_keys=[], at=FIXED_NOW)
    new = tmp_path / "new"
    new.mkdir()
    settings.QCAPP_DATA_DIR = new
    with pytest.raises(CommandError, match="secret_key of the backup cannot be read"):
        call_command("restore", str(plain), "--into", str(new), "--only-key")
    assert list(new.iterdir()) == []
    arguments = [str(sealed), "--into", str(new), "--key-file", str(key), "--only-key"]
    call_command("restore", *arguments)
    assert (new / "secret_key").read_text() == "the secret of the lost machine"
    assert (new / "secret_key").stat().st_mode & 0o777 == 0o600
    with pytest.raises(CommandError, match="never written over"):
        call_command("restore", *arguments)


def test_lets_nobody_but_the_server_read_the_signing_key(tmp_path: Path) -> None:
    for name, mode in (("signing_passphrase", 0o600), ("key.p12", 0o600), ("anchors.jsonl", 0o640)):
        restoring._write(tmp_path / name, [b"what the backup has"])
        assert (tmp_path / name).stat().st_mode & 0o777 == mode & ~own_umask()


def own_umask() -> int:
    os.umask(mask := os.umask(0o022))
    return mask


@pytest.mark.django_db
def test_asks_for_the_private_key(place: Path, tmp_path: Path) -> None:
    sealed = tmp_path / "sealed"
    make_backup(target=sealed, public_keys=[sealing.new_key(tmp_path / "backup.key")], at=FIXED_NOW)
    assert refused(sealed, place) == "key_needed"
