"""The libraries that are installed with the product, each with its release and licence, from the locked list."""

from __future__ import annotations

import re
from collections.abc import Iterator
from email.message import Message
from importlib.metadata import PackageNotFoundError, metadata
from pathlib import Path
from typing import cast

LOCKED = Path(__file__).resolve().parents[3] / ".ci" / "requirements.txt"
PINNED = re.compile(r"^([A-Za-z0-9._-]+)==([^\s;\\]+)(?:\s*;\s*([^\\]+))?", re.MULTILINE)
LONGEST = 60  # characters of a licence that is told in words of its own
NAMED = {"Apache License, Version 2.0": "Apache-2.0"}  # said so where a library was built from its source
SHORT = "License :: OSI Approved :: "
HEAD = """# Libraries and their licences

Drawn by `manage.py write_documents` from the locked list `.ci/requirements.txt` (release and digest of each file) and
from what each library says about itself. `bash .ci/audit` looks at the same list for releases that were taken back and
for advisories; docs/security.md has the recipe of an update.

| library | release | licence |
| --- | --- | --- |
"""


def dependencies() -> str:
    """The whole document."""
    return HEAD + "".join(f"| {name} | {release} | {licence} |\n" for name, release, licence in locked())


def locked() -> Iterator[tuple[str, str, str]]:
    """Name, release and licence of every locked library."""
    for name, release, marker in PINNED.findall(LOCKED.read_text(encoding="utf-8")):
        try:
            yield name, release, licence_of(cast("Message", metadata(name)))
        except PackageNotFoundError:
            yield name, release, f"not installed here: {marker.strip()}" if marker else "not installed here"


def licence_of(said: Message) -> str:
    """What the library says, the expression of the standard before words of its own; "not said" where it does not."""
    expression = said.get("License-Expression")
    if expression:
        return str(expression)
    classified = [line for line in said.get_all("Classifier") or [] if line.startswith(SHORT)]
    if classified:
        return ", ".join(line.removeprefix(SHORT).removesuffix(" License") for line in classified)
    words = str(said.get("License") or "").strip().splitlines()
    return NAMED.get(words[0], words[0][:LONGEST]) if words else "not said"
