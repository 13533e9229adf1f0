"""Files kept by digest: whole or not at all, and never handed out when they are not what was kept."""

from __future__ import annotations

import hashlib
import os
from pathlib import Path

import pytest

from qcapp.core.errors import Refused
from qcapp.lib.kept_files import keep_bytes, kept_bytes, write_whole


@pytest.fixture(autouse=True)
def own_folder(settings, tmp_path: Path) -> Path:
    settings.QCAPP_DATA_DIR = tmp_path
    return tmp_path


def test_names_a_file_by_its_digest(own_folder: Path) -> None:
    digest, path = keep_bytes(b"abc", "txt")
    # FIPS 180-4, example of SHA-256 for "abc"
    assert digest == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    assert path == f"evidence/ba/{digest}.txt"
    assert kept_bytes(path, digest, "The file") == b"abc"
    assert keep_bytes(b"abc", "txt") == (digest, path)


def test_replaces_a_file_that_a_crash_left_half_written(tmp_path: Path) -> None:
    path = tmp_path / "aa" / "file.pdf"
    write_whole(path, b"whole")
    assert path.read_bytes() == b"whole"
    path.write_bytes(b"who")
    write_whole(path, b"whole")
    assert path.read_bytes() == b"whole"
    assert [one.name for one in path.parent.iterdir()] == ["file.pdf"]


def test_leaves_no_half_file_on_a_full_disk(own_folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(OSError, match="No space"):
        keep_bytes(b"abc", "txt")
    assert [one for one in own_folder.rglob("*") if one.is_file()] == []


@pytest.mark.parametrize(
    ("spoil", "code"), [(Path.unlink, "file_missing"), (lambda p: p.write_bytes(b"x"), "file_altered")]
)
def test_refuses_a_file_that_is_not_what_was_kept(own_folder: Path, spoil, code: str) -> None:
    digest, path = keep_bytes(b"abc", "txt")
    spoil(own_folder / path)
    with pytest.raises(Refused) as caught:
        kept_bytes(path, digest, "The file")
    assert caught.value.code == code
    assert hashlib.sha256(b"abc").hexdigest() == digest
