"""What a backup says about itself."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass, field
from typing import Any

from qcapp.core.errors import Invalid

from .columns import Column, Kind, Table

NAME = "manifest.json"
FORMAT = 1


@dataclass(frozen=True)
class Rows:
    """One table: its columns, how many rows, the digest of its file, and that of what the rows say.

    `content` is equal for equal rows of both database kinds; `digest` is of the bytes written.
    """

    table: Table
    rows: int
    digest: str
    content: str

    @property
    def name(self) -> str:
        """Its file in the backup."""
        return f"rows/{self.table.name}.jsonl"


@dataclass(frozen=True)
class Kept:
    """A file of the data folder, by its path below it."""

    path: str
    size: int
    digest: str

    @property
    def name(self) -> str:
        """Its file in the backup."""
        return f"files/{self.path}"


@dataclass(frozen=True)
class Manifest:
    """A backup: when, of what, the state of the tables, the head of the audit chain, every table and file."""

    made_at: str
    site: str
    database: str
    migrations: list[tuple[str, str]]
    chain: dict[str, Any]  # number, digest, epoch of the head
    tables: list[Rows]
    files: list[Kept] = field(default_factory=list)
    left_out: list[str] = field(default_factory=list)  # tables that no model owns

    def table(self, name: str) -> Rows | None:
        """The table of that name, None when the backup has none."""
        return next((rows for rows in self.tables if rows.table.name == name), None)

    def text(self) -> str:
        """The file's content."""
        return json.dumps({"format": FORMAT} | asdict(self), ensure_ascii=False, indent=1, sort_keys=True) + "\n"


def manifest_from(text: bytes) -> Manifest:
    """The manifest in a file. Raises Invalid when it is none, or one of a later format."""
    try:
        says = json.loads(text)
        number = says.pop("format")
        if number != FORMAT:
            message = (
                f"The backup has format {number}, this version reads {FORMAT}. Restore it with the version it names."
            )
            raise Invalid("backup_format_unknown", message)
        says["tables"] = [_rows(each) for each in says["tables"]]
        says["files"] = [Kept(**each) for each in says["files"]]
        says["migrations"] = [(app, name) for app, name in says["migrations"]]
        return Manifest(**says)
    except (AttributeError, KeyError, TypeError, ValueError) as error:
        raise Invalid("manifest_unreadable", "The manifest of the backup cannot be read.") from error


def _rows(says: dict[str, Any]) -> Rows:
    table = says["table"]
    columns = tuple(Column(each["name"], Kind(each["kind"])) for each in table["columns"])
    return Rows(Table(table["name"], table["key"], columns), says["rows"], says["digest"], says["content"])
