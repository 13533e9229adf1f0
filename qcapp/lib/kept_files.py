"""Files in the data folder that are written once and named by their digest."""

from __future__ import annotations

import hashlib
import os
import tempfile
from pathlib import Path

from django.conf import settings

from qcapp.core.errors import Refused

FOLDER = "evidence"


def keep_bytes(data: bytes, ending: str) -> tuple[str, str]:
    """Put the bytes below the data folder; gives their SHA-256 in hex and the path relative to that folder.

    The file is there, whole, before the caller writes the row that names it: a row never names a file that is not
    there. A file that no row names does no harm and is listed by `manage.py check_evidence`.
    """
    digest = hashlib.sha256(data).hexdigest()
    relative = f"{FOLDER}/{digest[:2]}/{digest}.{ending}"
    write_whole(Path(settings.QCAPP_DATA_DIR) / relative, data)
    return digest, relative


def kept_bytes(path: str, digest: str, what: str) -> bytes:
    """The bytes kept at this path below the data folder, compared with their digest; `what` names them in a refusal.

    Raises Refused `file_missing` or `file_altered`.
    """
    try:
        data = (Path(settings.QCAPP_DATA_DIR) / path).read_bytes()
    except OSError as error:
        message = f"{what} is missing from the data folder. Restore it from a backup."
        raise Refused("file_missing", message, path=path) from error
    if hashlib.sha256(data).hexdigest() != digest:
        message = f"{what} was altered on disk. Restore it from a backup and look into it."
        raise Refused("file_altered", message, path=path)
    return data


def write_whole(path: Path, data: bytes) -> None:
    """Put the bytes at the path so that they are there whole or not at all, also after a power cut."""
    if path.is_file() and path.read_bytes() == data:
        return
    path.parent.mkdir(parents=True, exist_ok=True)
    with tempfile.NamedTemporaryFile(dir=path.parent, prefix=".new-", delete=False) as file:
        try:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        except OSError:  # a full disk leaves no half file behind
            Path(file.name).unlink(missing_ok=True)
            raise
    Path(file.name).replace(path)
    folder = os.open(path.parent, os.O_RDONLY)
    try:
        os.fsync(folder)
    finally:
        os.close(folder)
