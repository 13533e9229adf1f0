"""A backup is whole, of one moment, and shows every change that was made to it."""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import sqlite3
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import IO, Any

import pytest
from django.core.management import CommandError, call_command
from django.db import transaction
from pytest_django import Settings

from qcapp.audit.queries import head
from qcapp.audit.services import record
from qcapp.audit.verbs import Verb
from qcapp.config.backup import making, sealing
from qcapp.config.backup.columns import tables
from qcapp.config.backup.folder import SUMS, OldFolder, digest_of
from qcapp.config.backup.making import make_backup
from qcapp.config.backup.manifest import NAME, Manifest, manifest_from
from qcapp.config.backup.verifying import Verification, verify
from qcapp.core.errors import Conflict, Invalid, NotFound, Refused
from qcapp.lib.notes import notes
from tests.cast import FIXED_NOW

from .conftest import Source
from .world import AWKWARD, LONG


@pytest.fixture(autouse=True)
def data_folder(settings: Settings, tmp_path: Path) -> Path:
    """The data folder of the backups made in this process, with a secret key in a file."""
    folder = tmp_path / "data"
    folder.mkdir()
    (folder / "secret_key").write_text("the secret of this test")
    settings.QCAPP_DATA_DIR = folder
    return folder


@pytest.fixture
def key(tmp_path: Path) -> tuple[str, Path]:
    """A public key and the file of the private one."""
    file = tmp_path / "backup.key"
    return sealing.new_key(file), file


def act(subject: str = "unit FR-200-0001") -> None:
    with transaction.atomic():
        record(verb=Verb.UNIT_OPENED, actor=None, subject=subject, at=FIXED_NOW, payload={})


def findings(folder: Path) -> list[str]:
    return verify(OldFolder(folder, [])).findings


def manifest_of(folder: Path) -> Manifest:
    return manifest_from((folder / NAME).read_bytes())


def make(target: Path, *public_keys: str) -> Manifest:
    return make_backup(target=target, public_keys=list(public_keys), at=FIXED_NOW)


def seal_again(folder: Path) -> None:
    """The sums made to fit what the files hold now, as somebody with time would."""
    files = sorted(path for path in folder.rglob("*") if path.is_file() and path.name != SUMS)
    (folder / SUMS).write_text("".join(f"{digest_of(path)}  {path.relative_to(folder)}\n" for path in files))


def alter(folder: Path, table: str, change: Callable[[dict[str, Any]], None], place: int = -1) -> None:
    """Change one row and make every digest of the manifest and the sums fit."""
    says = json.loads((folder / NAME).read_text())
    entry = next(each for each in says["tables"] if each["table"]["name"] == table)
    names = [column["name"] for column in entry["table"]["columns"]]
    file = folder / "rows" / f"{table}.jsonl"
    rows = [json.loads(line) for line in file.read_text().splitlines()]
    row = dict(zip(names, rows[place], strict=True))
    change(row)
    rows[place] = [row[name] for name in names]
    file.write_text("".join(json.dumps(row, ensure_ascii=False, separators=(",", ":")) + "\n" for row in rows))
    entry["digest"] = entry["content"] = digest_of(file)
    (folder / NAME).write_text(json.dumps(says))
    seal_again(folder)


# --- whole --------------------------------------------------------------------------------------------------


def test_holds_every_table_and_what_the_rows_name(source: Source) -> None:
    report: Verification = verify(OldFolder(source.backup, []))
    manifest = report.manifest
    assert report.holds
    assert manifest
    assert report.notes == []
    assert (report.entries, report.evidence) == (manifest.chain["number"], 1)
    assert report.anchors > 0
    with sqlite3.connect(source.site.folder / "qcapp.sqlite3") as database:
        present = {name for (name,) in database.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
        counts = {
            rows.table.name: database.execute(f'SELECT count(*) FROM "{rows.table.name}"').fetchone()[0]
            for rows in manifest.tables
        }
    database.close()
    assert counts == {rows.table.name: rows.rows for rows in manifest.tables}
    assert present - set(counts) == {"django_migrations", "django_session", "people_opensession", "sqlite_sequence"}
    assert manifest.left_out == []


def test_lists_sums_that_another_tool_checks(source: Source) -> None:
    """`sha256sum` of GNU coreutils."""
    assert subprocess.run(["sha256sum", "--check", "--strict", "--quiet", SUMS], cwd=source.backup).returncode == 0


def test_keeps_texts_as_they_are_stored(source: Source) -> None:
    """Large and awkward texts, decimals as typed, the order of keys: the stored digest fits the text in the backup."""
    table = next(table for table in tables() if table.name == "audit_payload")
    lines = (source.backup / "rows" / "audit_payload.jsonl").read_text(encoding="utf-8").splitlines()
    bodies = [json.loads(line)[table.place("body")] for line in lines]
    expected = [
        '{"alpha":"12.50","list":["0.10","1e3"],"zulu":' + json.dumps(t, ensure_ascii=False) + "}"
        for t in (AWKWARD, LONG)
    ]
    assert set(expected) <= set(bodies)
    entries = (source.backup / "rows" / "audit_entry.jsonl").read_text(encoding="utf-8")
    assert all(hashlib.sha256(body.encode()).hexdigest() in entries for body in bodies)


def test_leaves_sessions_and_the_secret_key_out(source: Source, data_folder: Path, db: None, tmp_path: Path) -> None:
    (data_folder / "signing_passphrase").write_text("opens the signing key that lies beside it")
    make(tmp_path / "plain")
    for secret in ("secret_key", "signing_passphrase"):
        assert not (tmp_path / "plain" / "files" / secret).exists()
    for table in ("django_session", "people_opensession"):
        assert not (source.backup / "rows" / f"{table}.jsonl").exists()


@pytest.mark.django_db(transaction=True)
def test_is_of_one_moment_while_others_write(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """An act is committed before each table is read; none of them is in the backup, and the chain inside holds."""
    act()
    original = making._rows

    def busy(*args: Any) -> Any:
        act()
        return original(*args)

    monkeypatch.setattr(making, "_rows", busy)
    make(tmp_path / "busy")
    report = verify(OldFolder(tmp_path / "busy", []))
    assert (report.findings, report.entries) == ([], 1)
    assert head().number > len(tables())


# --- changes show -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "file", ["rows/people_person.jsonl", "rows/audit_entry.jsonl", NAME, "files/anchors/anchors.jsonl"]
)
def test_finds_an_altered_byte(copy: Path, file: str) -> None:
    content = bytearray((copy / file).read_bytes())
    content[len(content) // 2] ^= 1
    (copy / file).write_bytes(content)
    assert findings(copy) == [f"{file} was altered."]


def test_finds_a_missing_and_an_added_file(copy: Path) -> None:
    (copy / "rows" / "people_person.jsonl").rename(copy / "rows" / "people_somebody.jsonl")
    missing, extra = findings(copy)
    assert missing == "rows/people_person.jsonl is missing."
    assert extra == "rows/people_somebody.jsonl does not belong to the backup."


def test_finds_a_file_that_the_manifest_does_not_name(copy: Path) -> None:
    (copy / "files" / "later.pdf").write_bytes(b"%PDF-")
    seal_again(copy)
    assert findings(copy) == ["files/later.pdf is not named in the manifest."]


@pytest.mark.parametrize("column", ["header", "subject", "at"])
def test_finds_an_altered_entry_though_every_digest_was_made_to_fit(copy: Path, column: str) -> None:
    changes = {"header": "{}", "subject": "unit FR-200-9999", "at": "2026-03-17T09:30:00.000001Z"}
    alter(copy, "audit_entry", lambda row: row.update({column: changes[column]}), place=3)
    (finding,) = findings(copy)
    assert finding.startswith("Entry 4 was altered")


def test_finds_an_altered_payload(copy: Path) -> None:
    alter(copy, "audit_payload", lambda row: row.update(body="{}"), place=2)
    (finding,) = findings(copy)
    assert finding.startswith("Entry 3 was altered")


def test_finds_a_cut_end_by_the_head_and_by_the_anchors(copy: Path) -> None:
    says = json.loads((copy / NAME).read_text())
    last = says["chain"]["number"]
    says["chain"]["number"] = last + 1
    (copy / NAME).write_text(json.dumps(says))
    seal_again(copy)
    assert findings(copy) == [f"The sequence ends before entry {last + 1}, which is known to exist."]


def test_finds_evidence_that_is_gone_or_altered(copy: Path) -> None:
    (file,) = (copy / "files" / "evidence").rglob("*.pdf")
    says = json.loads((copy / NAME).read_text())
    kept = next(each for each in says["files"] if each["path"].endswith(".pdf"))
    file.write_bytes(b"another paper")
    kept.update(digest=digest_of(file), size=13)
    (copy / NAME).write_text(json.dumps(says))
    seal_again(copy)
    assert findings(copy) == [f"{kept['path']}, named in certificates_certificatefile, was altered before the backup."]
    says["files"].remove(kept)
    (copy / NAME).write_text(json.dumps(says))
    file.unlink()
    seal_again(copy)
    assert findings(copy) == [f"{kept['path']}, named in certificates_certificatefile, is missing from the backup."]


def test_does_not_take_an_outside_path_for_its_own(copy: Path) -> None:
    (copy / SUMS).write_text(f"{'0' * 64}  ../../etc/passwd\n")
    with pytest.raises(Invalid, match="lies outside"):
        OldFolder(copy, [])


def test_says_in_words_and_by_its_exit_status(copy: Path, capsys: pytest.CaptureFixture[str]) -> None:
    call_command("backup", str(copy), "--verify")
    assert "Everything holds." in capsys.readouterr().out
    assert notes()["backup_verified"]["folder"] == str(copy)
    (copy / NAME).unlink()
    with pytest.raises(CommandError, match="does not hold") as caught:
        call_command("backup", str(copy), "--verify")
    assert caught.value.returncode == 1
    assert f"{NAME} is missing." in capsys.readouterr().out


# --- never half, never over another -------------------------------------------------------------------------


@pytest.fixture
def full_disk(monkeypatch: pytest.MonkeyPatch) -> Iterator[Callable[[str], None]]:
    """`full_disk("audit_payload")`: the file of that name goes to /dev/full, where the kernel says ENOSPC."""
    original = Path.open

    def fill(name: str) -> None:
        def opened(path: Path, mode: str = "r", *args: Any, **options: Any) -> IO[Any]:
            if mode == "xb" and name in path.name:
                return original(Path("/dev/full"), "wb", buffering=0)
            return original(path, mode, *args, **options)

        monkeypatch.setattr(Path, "open", opened)

    yield fill
    monkeypatch.undo()


@pytest.mark.django_db
@pytest.mark.parametrize("encrypted", [False, True])
@pytest.mark.parametrize("file", ["django_content_type", NAME])
def test_leaves_nothing_behind_on_a_full_disk(
    tmp_path: Path, key: tuple[str, Path], full_disk: Callable[[str], None], file: str, encrypted: bool
) -> None:
    """Encrypted too: the library swallows the error of its last write."""
    place = tmp_path / "disk"
    place.mkdir()
    full_disk(file)
    with pytest.raises(Refused, match="is full") as caught:
        make(place / "backup", *([key[0]] if encrypted else []))
    assert caught.value.code == "disk_full"
    assert list(place.iterdir()) == []
    assert notes() == {}


@pytest.mark.django_db
def test_notices_a_disk_that_does_not_keep_what_was_written(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    place = tmp_path / "disk"
    place.mkdir()
    original = os.fsync

    def forgetful(descriptor: int) -> None:
        original(descriptor)
        for path in place.rglob("people_person.jsonl"):
            path.write_bytes(b"\0" * 10)

    monkeypatch.setattr(os, "fsync", forgetful)
    with pytest.raises(Invalid, match="did not keep") as caught:
        make(place / "backup")
    assert caught.value.code == "disk_did_not_keep"
    assert list(place.iterdir()) == []


@pytest.mark.django_db
def test_never_writes_over_another(source: Source, tmp_path: Path, data_folder: Path) -> None:
    before = digest_of(source.backup / SUMS)
    with pytest.raises(Conflict, match="is there already"):
        make(source.backup)
    assert digest_of(source.backup / SUMS) == before
    with pytest.raises(NotFound, match="is not there"):
        make(tmp_path / "no" / "such" / "folder")
    with pytest.raises(Refused, match="inside the data folder"):
        make(data_folder / "backup")
    assert list(data_folder.iterdir()) == [data_folder / "secret_key"]


@pytest.mark.django_db
def test_keeps_the_last_dated_ones_only(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    place = tmp_path / "place"
    for name in ("qcapp-20260101T010000Z", "qcapp-20260102T010000Z", "qcapp-20260103T010000Z", "qcapp-notes", "other"):
        (place / name).mkdir(parents=True)
    call_command("backup", str(place), "--dated", "--keep", "2")
    kept = sorted(path.name for path in place.iterdir())
    assert kept[:2] == ["other", "qcapp-20260103T010000Z"]
    assert len(kept) == 4
    call_command("backup", str(place), "--dated", "--verify")
    assert "Everything holds." in capsys.readouterr().out
    with pytest.raises(CommandError, match="--keep goes with --dated"):
        call_command("backup", str(place / "x"), "--keep", "0")


# --- encrypted ----------------------------------------------------------------------------------------------


@pytest.mark.django_db
def test_can_be_read_by_the_private_key_alone(tmp_path: Path, key: tuple[str, Path]) -> None:
    """The files are of the age format, version 1 (age-encryption.org/v1), whose first line names it."""
    target = tmp_path / "sealed"
    make(target, key[0])
    files = [path for path in target.rglob("*") if path.is_file() and path.name != SUMS]
    assert {path.suffix for path in files} == {".age"}
    assert all(path.read_bytes().startswith(b"age-encryption.org/v1\n") for path in files)
    blind = verify(OldFolder(target, []))
    assert blind.holds
    assert blind.manifest is None
    assert "content was not read" in blind.notes[0]
    report = verify(OldFolder(target, sealing.identities(key[1])))
    assert report.holds
    assert report.manifest
    secret = OldFolder(target, sealing.identities(key[1])).bytes_of("files/secret_key")
    assert secret == b"the secret of this test"


@pytest.mark.django_db
def test_refuses_another_key_and_finds_an_altered_byte(tmp_path: Path, key: tuple[str, Path]) -> None:
    target, other = tmp_path / "sealed", tmp_path / "other.key"
    make(target, key[0])
    sealing.new_key(other)
    with pytest.raises(Invalid, match="cannot be decrypted"):
        verify(OldFolder(target, sealing.identities(other)))
    sealed = target / "rows" / "django_content_type.jsonl.age"
    content = bytearray(sealed.read_bytes())
    content[-3] ^= 1
    sealed.write_bytes(content)
    assert verify(OldFolder(target, [])).findings == ["rows/django_content_type.jsonl.age was altered."]
    seal_again(target)
    with pytest.raises(Invalid, match="cannot be decrypted"):
        verify(OldFolder(target, sealing.identities(key[1])))


def test_never_writes_a_key_over_another(key: tuple[str, Path], capsys: pytest.CaptureFixture[str]) -> None:
    before = key[1].read_bytes()
    with pytest.raises(CommandError, match="never written over"):
        call_command("backup_key", str(key[1]))
    assert key[1].read_bytes() == before
    assert key[1].stat().st_mode & 0o777 == 0o600
    call_command("backup_key", str(key[1].with_name("second.key")))
    assert capsys.readouterr().out.startswith("age1")


def test_names_what_is_no_key(tmp_path: Path) -> None:
    with pytest.raises(Invalid, match="looks like age1"):
        sealing.recipients(["a password"])
    (tmp_path / "empty").write_text("# nothing\n")
    with pytest.raises(Invalid, match="holds no private key"):
        sealing.identities(tmp_path / "empty")
    with pytest.raises(Invalid, match="cannot be read"):
        sealing.identities(tmp_path / "none")


def test_is_no_backup_without_its_sums(copy: Path) -> None:
    shutil.move(copy / SUMS, copy.with_name("elsewhere"))
    with pytest.raises(Invalid, match="no whole backup"):
        OldFolder(copy, [])


def test_names_a_format_of_later_years(copy: Path) -> None:
    says = json.loads((copy / NAME).read_text()) | {"format": 2}
    (copy / NAME).write_text(json.dumps(says))
    seal_again(copy)
    with pytest.raises(Invalid, match="format 2"):
        verify(OldFolder(copy, []))
