"""Lets `manage.py demo` start on a machine where nothing is set: its folder, its keys, its mark."""

from __future__ import annotations

import argparse
import os
import secrets
from collections.abc import MutableMapping, Sequence
from pathlib import Path

REPOSITORY = Path(__file__).resolve().parent.parent.parent


def prepare(arguments: Sequence[str], environ: MutableMapping[str, str]) -> Path:
    """Choose the data folder (`--data`, else QCAPP_DATA_DIR, else `.data`), and put a key and the demo's
    mark there.

    A key that is there stays. The mark makes every later start from that folder print "demonstration, not
    valid". A folder with a database but without the mark is left alone, and so are the settings: the command
    then refuses. Returns the folder.
    """
    parser = argparse.ArgumentParser(add_help=False)
    parser.add_argument("--data")
    chosen = parser.parse_known_args(list(arguments))[0].data
    folder = Path(chosen or environ.get("QCAPP_DATA_DIR") or REPOSITORY / ".data").expanduser().resolve()
    environ["QCAPP_DATA_DIR"] = str(folder)
    folder.mkdir(parents=True, exist_ok=True, mode=0o750)
    if (folder / "qcapp.sqlite3").exists() and not (folder / "demo").exists():
        return folder
    if not environ.get("QCAPP_SECRET_KEY"):
        keep_secret_key(folder / "secret_key")
    if not environ.get("QCAPP_SIGNING_PASSPHRASE"):
        keep_secret_key(folder / "signing_passphrase")
    (folder / "demo").write_text("This folder holds the invented demonstration. Nothing in it is valid.\n")
    return folder


def keep_secret_key(file: Path) -> None:
    """Write a new random key that only its owner may read, unless the file is there."""
    try:
        descriptor = os.open(file, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    except FileExistsError:
        return
    with os.fdopen(descriptor, "w", encoding="ascii") as stream:
        stream.write(secrets.token_urlsafe(64) + "\n")
