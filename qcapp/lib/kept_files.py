"""Files that are written once and named by their digest: in the data folder, or in an object store.

Where the settings name a store (QCAPP_EVIDENCE_STORE), new files go there and nowhere else. What still lies in the data
folder, from before or from a restore, is read from there until `manage.py move_evidence` has moved it.
"""

from __future__ import annotations

import hashlib
import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from django.conf import settings
from django.core.files.base import ContentFile
from django.core.files.storage import Storage, storages

from qcapp.core.errors import Refused

FOLDER = "evidence"
STORE = "evidence"  # its name among the storages of the settings


def keep_bytes(data: bytes, ending: str) -> tuple[str, str]:
    """Keep the bytes; gives their SHA-256 in hex and the path by which rows name them.

    The file is there, whole, before the caller writes the row that names it: a row never names a file that is not
    there. A file that no row names does no harm and is listed by `manage.py check_evidence`. Raises Refused
    `store_unreachable`.
    """
    digest = hashlib.sha256(data).hexdigest()
    relative = f"{FOLDER}/{digest[:2]}/{digest}.{ending}"
    store = evidence_store()
    if store is None:
        write_whole(Path(settings.QCAPP_DATA_DIR) / relative, data)
    else:
        put_into_store(store, relative, data)
    return digest, relative


def kept_bytes(path: str, digest: str, what: str) -> bytes:
    """The bytes kept under this path, compared with their digest; `what` names them in a refusal.

    Raises Refused `file_missing`, `file_altered` or `store_unreachable`.
    """
    try:
        data = read_kept(path)
    except OSError as error:
        message = f"{what} is missing from where evidence is kept. Restore it from a backup."
        raise Refused("file_missing", message, path=path) from error
    if hashlib.sha256(data).hexdigest() != digest:
        message = f"{what} was altered on disk. Restore it from a backup and look into it."
        raise Refused("file_altered", message, path=path)
    return data


def evidence_store() -> Storage | None:
    """The object store of the settings, or None where files lie in the data folder."""
    return storages[STORE] if STORE in settings.STORAGES else None


def read_kept(path: str) -> bytes:
    """The bytes under this path, from the data folder, else from the store. Raises OSError when they are in neither."""
    store = evidence_store()
    local = Path(settings.QCAPP_DATA_DIR) / path
    if store is None or local.is_file():
        return local.read_bytes()
    with _answering(), store.open(path) as file:
        return bytes(file.read())


def put_into_store(store: Storage, path: str, data: bytes) -> None:
    """Put the bytes under this path, unless they are there already. Raises Refused `store_unreachable`."""
    with _answering():
        if not store.exists(path):
            store.save(path, ContentFile(data))


def stored_paths() -> Iterator[str]:
    """Every path in the store; none without one. Raises Refused `store_unreachable`."""
    store = evidence_store()
    if store is None:
        return
    with _answering():
        for folder in sorted(store.listdir(FOLDER)[0]):
            for name in sorted(store.listdir(f"{FOLDER}/{folder}")[1]):
                yield f"{FOLDER}/{folder}/{name}"


@contextmanager
def _answering() -> Iterator[None]:
    """Says in words that the store did not answer, or refused."""
    from botocore.exceptions import BotoCoreError, ClientError  # there only where a store is set up

    try:
        yield
    except (BotoCoreError, ClientError) as error:
        message = "The store of evidence files does not answer, so nothing was kept. Try again, and tell the keeper."
        raise Refused("store_unreachable", message) from error


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
