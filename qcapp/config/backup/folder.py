"""The folder of a backup as files: written under another name, flushed to the disk, and named at the very end."""

from __future__ import annotations

import hashlib
import os
import shutil
import tempfile
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import Any, BinaryIO, cast

from qcapp.core.errors import Conflict, Invalid, NotFound
from qcapp.lib.notes import sync_folder

from . import sealing

SUMS = "SHA256SUMS"
PIECE = 256 * 1024
PARTIAL = ".unfinished-"  # what an interrupted backup leaves behind begins so, and may be deleted


@dataclass(frozen=True)
class Stored:
    """A file of the backup before encryption: its name, its length in bytes, its SHA-256."""

    name: str
    size: int
    digest: str


class Source:
    """Something to read: pieces from wherever they come, counted and digested on their way."""

    def __init__(self, pieces: Iterable[bytes]) -> None:
        self.pieces = iter(pieces)
        self.left = b""
        self.size = 0
        self.digest = hashlib.sha256()

    def read(self, size: int = -1) -> bytes:
        """The next bytes, at most `size`; empty at the end."""
        taken, length = [self.left], len(self.left)
        while length < size or size < 0:
            piece = next(self.pieces, None)
            if piece is None:
                break
            self.size += len(piece)
            self.digest.update(piece)
            taken.append(piece)
            length += len(piece)
        whole = b"".join(taken)
        end = len(whole) if size < 0 else size
        self.left = whole[end:]
        return whole[:end]


class Sink:
    """A file being written. It remembers what went wrong: the encryption swallows an error of its last write."""

    def __init__(self, file: BinaryIO) -> None:
        self.file = file
        self.failed: OSError | None = None
        self.digest = hashlib.sha256()

    def write(self, data: bytes) -> int:
        """Write all of it."""
        try:
            self.file.write(data)
        except OSError as error:
            self.failed = error
            raise
        self.digest.update(data)
        return len(data)

    def flush(self) -> None:
        """Hand what is buffered to the disk and wait for it."""
        try:
            self.file.flush()
        except OSError as error:
            self.failed = error
            raise


def pieces_of(path: Path) -> Iterator[bytes]:
    """The content of a file, piece by piece."""
    with path.open("rb") as stream:
        while piece := stream.read(PIECE):
            yield piece


def digest_of(path: Path) -> str:
    """SHA-256 of a file."""
    found = hashlib.sha256()
    for piece in pieces_of(path):
        found.update(piece)
    return found.hexdigest()


class NewFolder:
    """A backup being written. `finish` gives it its name; left without it, nothing of it stays.

    Raises Conflict `backup_exists` when the name is taken, NotFound `backup_place_missing` when the folder in which it
    shall lie is not there, and OSError when the disk refuses.
    """

    def __init__(self, target: Path, keys: list[Any]) -> None:
        if target.exists() or target.is_symlink():
            raise Conflict("backup_exists", f"{target} is there already; a backup is never written over another.")
        if not target.parent.is_dir():
            raise NotFound("backup_place_missing", f"{target.parent} is not there; make it or name another folder.")
        self.target = target
        self.keys = keys
        self.sums: dict[str, str] = {}
        self.place = Path(tempfile.mkdtemp(prefix=f"{PARTIAL}{target.name}-", dir=target.parent))

    def put(self, name: str, pieces: Iterable[bytes]) -> Stored:
        """Write one file and wait until the disk has it."""
        source = Source(pieces)
        stored_as = name + sealing.SUFFIX if self.keys else name
        path = self.place / stored_as
        path.parent.mkdir(parents=True, exist_ok=True)
        with path.open("xb") as file:
            sink = Sink(file)
            self._copy(source, sink)
            sink.flush()
            if sink.failed:
                raise sink.failed
            os.fsync(file.fileno())
        self.sums[stored_as] = sink.digest.hexdigest()
        return Stored(name, source.size, source.digest.hexdigest())

    def _copy(self, source: Source, sink: Sink) -> None:
        if not self.keys:
            while piece := source.read(PIECE):
                sink.write(piece)
            return
        try:
            sealing.encrypt(cast(BinaryIO, source), cast(BinaryIO, sink), self.keys)
        except Exception:
            if sink.failed:
                raise sink.failed from None
            raise

    def finish(self) -> Path:
        """Write the sums, read everything back, and give the folder its name. Raises Invalid when a byte differs."""
        lines = "".join(f"{digest}  {name}\n" for name, digest in sorted(self.sums.items()))
        with (self.place / SUMS).open("xb") as file:
            Sink(file).write(lines.encode())
            file.flush()
            os.fsync(file.fileno())
        for folder in [self.place, *(path for path in self.place.rglob("*") if path.is_dir())]:
            sync_folder(folder)
        if wrong := wrong_bytes(self.place):
            raise Invalid("disk_did_not_keep", f"The disk did not keep what was written: {wrong[0]}")
        if self.target.exists():
            raise Conflict("backup_exists", f"{self.target} was made by somebody else meanwhile.")
        self.place.rename(self.target)  # refused by the system where a folder with files has the name
        sync_folder(self.target.parent)
        return self.target

    def __enter__(self) -> NewFolder:
        return self

    def __exit__(self, *error: object) -> None:
        if self.place.exists():
            shutil.rmtree(self.place, ignore_errors=True)


def sums_of(folder: Path) -> dict[str, str]:
    """The digests that the backup was written with, by file. Raises Invalid when the list cannot be read."""
    try:
        lines = (folder / SUMS).read_text(encoding="utf-8").splitlines()
        pairs = [line.split("  ", 1) for line in lines]
        found = {name: digest for digest, name in pairs}
    except (OSError, ValueError) as error:
        raise Invalid("no_backup", f"{folder} holds no readable {SUMS}: it is no whole backup.") from error
    for name in found:
        if PurePosixPath(name).is_absolute() or ".." in PurePosixPath(name).parts:
            raise Invalid("no_backup", f"{SUMS} names {name!r}, which lies outside of the backup.")
    return found


def wrong_bytes(folder: Path) -> list[str]:
    """A sentence for each file that is missing, altered or too many."""
    expected = sums_of(folder)
    there = {str(path.relative_to(folder)) for path in folder.rglob("*") if not path.is_dir()} - {SUMS}
    missing = [f"{name} is missing." for name in sorted(set(expected) - there)]
    extra = [f"{name} does not belong to the backup." for name in sorted(there - set(expected))]
    common = sorted(set(expected) & there)
    return [
        *missing,
        *(f"{name} was altered." for name in common if digest_of(folder / name) != expected[name]),
        *extra,
    ]


class OldFolder:
    """A backup to read from. `keys` are the private keys, needed where it is encrypted."""

    def __init__(self, folder: Path, keys: list[Any]) -> None:
        self.folder = folder
        self.keys = keys
        self.sums = sums_of(folder)

    @property
    def encrypted(self) -> bool:
        """True when its files can be read with a private key only."""
        return any(name.endswith(sealing.SUFFIX) for name in self.sums)

    @contextmanager
    def opened(self, name: str) -> Iterator[BinaryIO]:
        """The file, decrypted into one without a name where need be. Raises Invalid when it cannot be read."""
        try:
            stream = (self.folder / (name + sealing.SUFFIX if self.encrypted else name)).open("rb")
        except OSError as error:
            raise Invalid("file_of_backup_missing", f"{name} of the backup cannot be read.") from error
        with stream:
            if not self.encrypted:
                yield stream
                return
            with tempfile.TemporaryFile() as plain:
                sealing.decrypt(stream, cast(BinaryIO, plain), self.keys)
                plain.seek(0)
                yield cast(BinaryIO, plain)

    def bytes_of(self, name: str) -> bytes:
        """The whole content of a small file."""
        with self.opened(name) as stream:
            return stream.read()

    def pieces(self, name: str) -> Iterator[bytes]:
        """The content, piece by piece."""
        with self.opened(name) as stream:
            while piece := stream.read(PIECE):
                yield piece
