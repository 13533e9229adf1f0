"""The file outside the database that remembers how far the chain had come, one keyed line per anchor.

A chain without a key cannot show that its end was cut off or that all of it was written anew. Each line
holds the epoch, number, digest and time of a head, the keyed digest of the line before and its own
(HMAC-SHA-256, RFC 2104). Whoever has the database but not the key cannot write a line; a line taken out of
the middle shows, and a shortened file shows against any copy kept elsewhere.
"""

from __future__ import annotations

import fcntl
import json
import os
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, BinaryIO

from django.conf import settings

from qcapp.core.errors import Invalid
from qcapp.core.sealing import canonical, keyed

LONGEST_LINE = 1024  # bytes; a line has about 350
FIELDS = ("at", "digest", "epoch", "number", "previous")


@dataclass(frozen=True)
class Anchor:
    """A head as it was once written down. `line` is its place in the file, from 1."""

    line: int
    epoch: str
    number: int
    digest: str
    at: str
    seal: str


class AnchorsNotOurs(Invalid):
    """A line of the file was not written with this installation's key, or lines are missing before it."""


def anchor_file() -> Path:
    """Where the anchors are kept; the file need not exist yet."""
    return Path(settings.QCAPP_DATA_DIR) / "anchors" / "anchors.jsonl"


def append(*, epoch: str, number: int, digest: str, at: str) -> bool:
    """Write one line and wait until the disk has it. False when the last line names the same head already.

    Writers of several processes queue on a lock of the file. Raises OSError when the disk refuses.
    """
    path = anchor_file()
    path.parent.mkdir(parents=True, exist_ok=True, mode=0o750)
    is_new = not path.exists()
    with path.open("a+b") as stream:
        fcntl.flock(stream, fcntl.LOCK_EX)
        last = _last_record(stream)
        if (last.get("epoch"), last.get("number"), last.get("digest")) == (epoch, number, digest):
            return False
        record = {
            "epoch": epoch,
            "number": number,
            "digest": digest,
            "at": at,
            "previous": last.get("seal", ""),
        }
        stream.write((canonical(record | {"seal": _seal(record)}) + "\n").encode())
        stream.flush()
        os.fsync(stream.fileno())
    if is_new:
        _sync_folder(path.parent)
    return True


def read(path: Path | None = None) -> Iterator[Anchor]:
    """Every anchor in the order of our file, or of a copy. Raises AnchorsNotOurs at the first that does not hold.

    A last line without its end was torn by a power cut before anybody relied on it, and is passed over.
    """
    path = path or anchor_file()
    if not path.exists():
        return
    previous = ""
    with path.open(encoding="utf-8", errors="replace") as stream:
        for line, text in enumerate(stream, start=1):
            if not text.endswith("\n"):
                return
            record = _record(text)
            if not _is_ours(record):
                raise AnchorsNotOurs(
                    "anchor_not_ours", f"Line {line} of the anchors does not carry our seal.", line=line
                )
            if record["previous"] != previous:
                raise AnchorsNotOurs("anchors_missing", f"Anchors are missing before line {line}.", line=line)
            previous = record["seal"]
            yield Anchor(line, *(record[name] for name in ("epoch", "number", "digest", "at", "seal")))


def outside(path: Path) -> Iterator[Anchor]:
    """The anchors that stand in a text kept elsewhere: a copy of our file, or e-mails that were saved.

    Each holds by its own seal; those between them may be missing. Raises AnchorsNotOurs at one that does not hold,
    and Invalid (`no_anchor_there`) when there is none.
    """
    found = False
    with path.open(encoding="utf-8", errors="replace") as stream:
        for line, text in enumerate(stream, start=1):
            if not text.lstrip("> ").startswith('{"at":'):
                continue
            record, found = _record(text.lstrip("> ")), True
            if not _is_ours(record):
                message = f"Line {line} of {path.name} does not carry our seal."
                raise AnchorsNotOurs("anchor_not_ours", message, line=line)
            yield Anchor(line, *(record[name] for name in ("epoch", "number", "digest", "at", "seal")))
    if not found:
        raise Invalid("no_anchor_there", f"There is no anchor in {path.name}.")


def last_line() -> str:
    """The newest anchor as it stands in the file; empty when there is none."""
    text = anchor_file().read_text(encoding="utf-8", errors="replace") if anchor_file().exists() else ""
    whole, _, _ = text.rpartition("\n")  # behind the last end is a line torn by a power cut, or nothing
    return whole.rpartition("\n")[2]


def _seal(record: dict[str, Any]) -> str:
    return keyed(canonical([record.get(name) for name in FIELDS]), settings.QCAPP_ANCHOR_KEY)


def _is_ours(record: dict[str, Any]) -> bool:
    try:
        return bool(record) and _seal(record) == record.get("seal")
    except Invalid:  # whoever wrote it may have left something that has no canonical text
        return False


def _record(text: str) -> dict[str, Any]:
    """The line as a dictionary; an empty one, which is never ours, when it is none."""
    try:
        record = json.loads(text)
    except (ValueError, RecursionError):
        return {}
    return record if isinstance(record, dict) and isinstance(record.get("number"), int) else {}


def _last_record(stream: BinaryIO) -> dict[str, Any]:
    """The last whole line; a torn one behind it is cut away, so that the next line begins on its own."""
    size = stream.seek(0, os.SEEK_END)
    start = stream.seek(max(0, size - LONGEST_LINE * 2))
    tail = stream.read()
    whole = tail.rfind(b"\n") + 1
    if whole < len(tail):
        stream.truncate(start + whole)
    lines = tail[:whole].splitlines()
    return _record(lines[-1].decode("utf-8", "replace")) if lines else {}


def _sync_folder(folder: Path) -> None:
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
