"""Encryption of a backup's files in the age format (age-encryption.org/v1), so that other tools can open them too."""

from __future__ import annotations

import os
from importlib import import_module
from pathlib import Path
from typing import Any, BinaryIO

from qcapp.core.errors import Invalid, Refused

SUFFIX = ".age"


def _library() -> Any:
    try:
        return import_module("pyrage")
    except ImportError as error:
        message = "Encrypted backups need the Python package pyrage, which is not installed."
        raise Refused("encryption_not_installed", message) from error


def new_key(file: Path) -> str:
    """Write a new private key that only its owner may read, and give the public one.

    Raises Refused `key_file_exists` when the file is there.
    """
    identity = _library().x25519.Identity.generate()
    public = str(identity.to_public())
    try:
        descriptor = os.open(file, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    except FileExistsError as error:
        raise Refused("key_file_exists", f"{file} is there already; a key is never written over.") from error
    with os.fdopen(descriptor, "w", encoding="ascii") as stream:
        stream.write(f"# public key: {public}\n{identity}\n")
    return public


def recipients(public_keys: list[str]) -> list[Any]:
    """For whom to encrypt. Raises Invalid for what is no public key."""
    x25519 = _library().x25519
    try:
        return [x25519.Recipient.from_str(key.strip()) for key in public_keys]
    except _library().RecipientError as error:
        message = "A public key looks like age1…; `manage.py backup_key FILE` makes one and prints it."
        raise Invalid("public_key_unreadable", message) from error


def identities(file: Path) -> list[Any]:
    """The private keys in a key file. Raises Invalid when it holds none."""
    x25519 = _library().x25519
    try:
        lines = [line.strip() for line in file.read_text(encoding="ascii").splitlines()]
        found = [x25519.Identity.from_str(line) for line in lines if line and not line.startswith("#")]
    except (OSError, ValueError, _library().IdentityError) as error:
        raise Invalid("key_file_unreadable", f"{file} cannot be read as a private key.") from error
    if not found:
        raise Invalid("key_file_unreadable", f"{file} holds no private key.")
    return found


def encrypt(source: BinaryIO, target: BinaryIO, keys: list[Any]) -> None:
    """Read the source to its end and write it encrypted."""
    _library().encrypt_io(source, target, keys)


def decrypt(source: BinaryIO, target: BinaryIO, keys: list[Any]) -> None:
    """Write what the source holds. Raises Invalid when the key is not the right one or the file was altered."""
    try:
        _library().decrypt_io(source, target, keys)
    except (_library().DecryptError, OSError) as error:
        raise Invalid("cannot_be_decrypted", "It cannot be decrypted: another key, or an altered file.") from error
