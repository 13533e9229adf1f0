"""What is remembered of a restore that is under way, in a file of the data folder that is gone at its end."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.conf import settings

from qcapp.lib import notes
from qcapp.lib.notes import sync_folder

RESTORING = "restoring.json"  # there from the beginning of a restore until its end


def restore_under_way() -> dict[str, Any]:
    """What a restore that has begun and not ended wrote down; empty when there is none."""
    return notes.read(RESTORING)


def begin_restore(**says: Any) -> None:
    """Mark the data folder as being restored, or say how far that has come."""
    notes.write(RESTORING, says)


def end_restore() -> None:
    """Take the mark away: the site may be used."""
    (Path(settings.QCAPP_DATA_DIR) / RESTORING).unlink(missing_ok=True)
    sync_folder(Path(settings.QCAPP_DATA_DIR))
