"""What this machine remembers of its backups and of a restore that is under way, in two files of the data folder."""

from __future__ import annotations

import json
import os
from pathlib import Path
from typing import Any

from django.conf import settings

from .folder import sync_folder

NOTES = "backups.json"  # the last backup made and the last one verified
RESTORING = "restoring.json"  # there from the beginning of a restore until its end


def _read(name: str) -> dict[str, Any]:
    try:
        says = json.loads((Path(settings.QCAPP_DATA_DIR) / name).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    return says if isinstance(says, dict) else {}


def _write(name: str, says: dict[str, Any]) -> None:
    path = Path(settings.QCAPP_DATA_DIR) / name
    new = path.with_name(f".new-{name}")
    with new.open("w", encoding="utf-8") as file:
        json.dump(says, file, ensure_ascii=False, indent=1)
        file.flush()
        os.fsync(file.fileno())
    new.replace(path)
    sync_folder(path.parent)


def note(what: str, **says: Any) -> None:
    """Remember the last backup `made` or `verified`."""
    _write(NOTES, _read(NOTES) | {what: says})


def last_backups() -> dict[str, Any]:
    """What was noted: `made` and `verified`, each with the folder and the time; empty before the first."""
    return _read(NOTES)


def restore_under_way() -> dict[str, Any]:
    """What a restore that has begun and not ended wrote down; empty when there is none."""
    return _read(RESTORING)


def begin_restore(**says: Any) -> None:
    """Mark the data folder as being restored, or say how far that has come."""
    _write(RESTORING, says)


def end_restore() -> None:
    """Take the mark away: the site may be used."""
    (Path(settings.QCAPP_DATA_DIR) / RESTORING).unlink(missing_ok=True)
    sync_folder(Path(settings.QCAPP_DATA_DIR))
