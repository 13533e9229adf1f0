"""What this machine remembers of its own upkeep, in one file of the data folder: the last backup, the last checks.

Not in the database: a note must survive a restore, and says what happened on this machine.
"""

from __future__ import annotations

import json
import os
from pathlib import Path
from typing import Any

from django.conf import settings

NOTES = "notes.json"


def sync_folder(folder: Path) -> None:
    """Wait until the disk has the names in the folder."""
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def read(name: str) -> dict[str, Any]:
    """What stands in a file of notes; empty when there is none, or none that can be read."""
    try:
        says = json.loads((Path(settings.QCAPP_DATA_DIR) / name).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    return says if isinstance(says, dict) else {}


def write(name: str, says: dict[str, Any]) -> None:
    """Replace the file of notes as a whole: after a power cut it is the old one or the new one."""
    path = Path(settings.QCAPP_DATA_DIR) / name
    new = path.with_name(f".new-{name}")
    with new.open("w", encoding="utf-8") as file:
        json.dump(says, file, ensure_ascii=False, indent=1)
        file.flush()
        os.fsync(file.fileno())
    new.replace(path)
    sync_folder(path.parent)


def note(what: str, **says: Any) -> None:
    """Remember what was done last: `backup_made`, `backup_verified`, `audit_checked`, `evidence_checked`."""
    write(NOTES, read(NOTES) | {what: says})


def notes() -> dict[str, Any]:
    """Everything remembered; empty before the first."""
    return read(NOTES)
