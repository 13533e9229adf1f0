"""Making a backup while the site is in use."""

from __future__ import annotations

import errno
import hashlib
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import Any

from django.conf import settings

from qcapp.audit.services import utc_text
from qcapp.core.errors import Invalid, Refused
from qcapp.lib.kept_files import read_kept, stored_paths
from qcapp.lib.notes import NOTES, note

from . import sealing
from .columns import LEFT_OUT, Kind, Table, content_of, line_of, tables
from .evidence import inside
from .folder import NewFolder, pieces_of
from .manifest import NAME, Kept, Manifest, Rows
from .notes import RESTORING
from .snapshot import Snapshot, snapshot

ANCHORS = "anchors"
SECRET_KEY = "secret_key"  # noqa: S105 - the name of a file
SIGNING_PASSPHRASE = "signing_passphrase"  # noqa: S105 - the name of a file
SECRETS = frozenset({SECRET_KEY, SIGNING_PASSPHRASE})  # in encrypted backups alone
# Made anew by a command, or about this machine alone.
NOT_KEPT = frozenset({"static", "cache", NOTES, RESTORING})


def make_backup(*, target: Path, public_keys: list[str], at: datetime) -> Manifest:
    """A new folder `target` with everything in it, read back from the disk before it gets its name.

    The anchors are read first, then one moment of the database, then the files: so no anchor is ahead of the entries,
    and no row names a file that came later. With public keys everything is encrypted, and the files of the secret
    key and of the signing key's passphrase are part of it. Raises Refused `backup_inside_data`, `disk_full`; Conflict
    and NotFound as `NewFolder` does; Invalid when a row cannot be written down exactly. Nothing is left behind then.
    """
    keys = sealing.recipients(public_keys) if public_keys else []
    target, data = target.absolute(), Path(settings.QCAPP_DATA_DIR).absolute()
    if target.resolve().is_relative_to(data.resolve()):
        message = "A backup inside the data folder would be lost with it. Name a folder on another disk."
        raise Refused("backup_inside_data", message)
    with _full_disk_in_words(target), NewFolder(target, keys) as folder:
        first = [_keep(folder, data, path) for path in kept_files(data, bool(keys)) if path.startswith(f"{ANCHORS}/")]
        with snapshot() as moment:
            manifest = _manifest(folder, moment, at)
        rest = [path for path in kept_files(data, bool(keys)) if not path.startswith(f"{ANCHORS}/")]
        stored = [_keep_stored(folder, path) for path in stored_paths() if path not in set(rest)]
        manifest.files.extend(first + [_keep(folder, data, path) for path in rest] + stored)
        folder.put(NAME, [manifest.text().encode()])
        folder.finish()
    note("backup_made", folder=str(target), at=utc_text(at), encrypted=bool(keys))
    return manifest


def kept_files(data: Path, with_secret: bool) -> list[str]:
    """The paths below the data folder that belong into a backup. Hidden files are somebody's unfinished writing."""
    found = [path.relative_to(data) for path in data.rglob("*") if path.is_file()]
    wanted = [
        path
        for path in found
        if path.parts[0] not in NOT_KEPT
        and not any(part.startswith(".") for part in path.parts)
        and not (len(path.parts) == 1 and ".sqlite3" in path.name)
        and (with_secret or str(path) not in SECRETS)
    ]
    return sorted(map(str, wanted))


def _keep(folder: NewFolder, data: Path, path: str) -> Kept:
    if not inside(path):
        raise Invalid("path_unusable", f"{path!r} cannot be named in a backup.")
    stored = folder.put(f"files/{path}", pieces_of(data / path))
    return Kept(path, stored.size, stored.digest)


def _keep_stored(folder: NewFolder, path: str) -> Kept:
    stored = folder.put(f"files/{path}", [read_kept(path)])
    return Kept(path, stored.size, stored.digest)


def _manifest(folder: NewFolder, moment: Snapshot, at: datetime) -> Manifest:
    wanted = tables()
    written = [_rows(folder, moment, table) for table in wanted]
    known = {table.name for table in wanted} | LEFT_OUT
    return Manifest(
        made_at=utc_text(at),
        site=settings.QCAPP_SITE_NAME,
        database=moment.vendor,
        migrations=moment.migrations(),
        chain=_head(moment, wanted),
        tables=written,
        left_out=[name for name in moment.table_names() if name not in known],
    )


def _rows(folder: NewFolder, moment: Snapshot, table: Table) -> Rows:
    count, content = 0, hashlib.sha256()
    has_json = any(column.kind is Kind.JSON for column in table.columns)

    def lines() -> Iterator[bytes]:
        nonlocal count
        try:
            for row in moment.rows(table):
                count += 1
                line = line_of(row)
                content.update(content_of(table, row) if has_json else line)
                yield line
        except ValueError as error:
            raise Invalid("row_unreadable", f"{error} Look into it before anything else.") from error

    stored = folder.put(f"rows/{table.name}.jsonl", lines())
    return Rows(table, count, stored.digest, content.hexdigest())


def _head(moment: Snapshot, wanted: list[Table]) -> dict[str, Any]:
    table = next(table for table in wanted if table.name == "audit_chainhead")
    for row in moment.rows(table):
        return {name: row[table.place(name)] for name in ("number", "digest", "epoch")}
    return {"number": 0, "digest": "", "epoch": ""}


@contextmanager
def _full_disk_in_words(target: Path) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        if error.errno not in {errno.ENOSPC, errno.EDQUOT}:
            raise
        message = f"The disk of {target.parent} is full. Nothing was kept; make room and begin again."
        raise Refused("disk_full", message) from error
