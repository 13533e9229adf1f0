"""Which tables a backup holds, and the one text that each value has in it, whatever database it came from."""

from __future__ import annotations

import base64
import json
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, date, datetime
from enum import StrEnum
from typing import Any
from uuid import UUID

from django.apps import apps
from django.db import models

from qcapp.lib.guard_words import quoted

# Sessions are keys to the house: whoever was signed in at the time of the backup signs in anew.
# The applied migrations stand in the manifest.
LEFT_OUT = frozenset({"django_session", "people_opensession", "django_migrations"})


class Kind(StrEnum):
    """What a column holds, and so how its values are written."""

    INTEGER = "integer"
    BOOLEAN = "boolean"
    FLOAT = "float"  # the shortest text that gives the same binary float again
    TEXT = "text"
    UUID = "uuid"
    MOMENT = "moment"  # UTC, with microseconds
    DAY = "day"
    JSON = "json"  # the text as stored
    BYTES = "bytes"  # Base64, RFC 4648 section 4


KINDS = {
    **dict.fromkeys(
        (
            "AutoField", "BigAutoField", "SmallAutoField", "IntegerField", "BigIntegerField", "SmallIntegerField",
            "PositiveIntegerField", "PositiveBigIntegerField", "PositiveSmallIntegerField",
        ),
        Kind.INTEGER,
    ),
    **dict.fromkeys(("CharField", "TextField", "SlugField", "FileField", "FilePathField"), Kind.TEXT),
    "BooleanField": Kind.BOOLEAN,
    "FloatField": Kind.FLOAT,
    "UUIDField": Kind.UUID,
    "DateTimeField": Kind.MOMENT,
    "DateField": Kind.DAY,
    "JSONField": Kind.JSON,
    "BinaryField": Kind.BYTES,
}  # fmt: skip

Value = str | int | bool | None


@dataclass(frozen=True)
class Column:
    """A column by its name in the database."""

    name: str
    kind: Kind


@dataclass(frozen=True)
class Table:
    """A table by its name in the database; rows are read in the order of `key`."""

    name: str
    key: str
    columns: tuple[Column, ...]

    def place(self, column: str) -> int:
        """Where the column stands in a row. Raises ValueError when there is none."""
        return [known.name for known in self.columns].index(column)


def tables() -> list[Table]:
    """Every table of the installed models, by name. Raises LookupError for a field whose kind is not known here."""
    chosen = [m for m in apps.get_models(include_auto_created=True) if m._meta.managed and not m._meta.proxy]
    found = {m._meta.db_table: _table(m) for m in chosen if m._meta.db_table not in LEFT_OUT}
    return [found[name] for name in sorted(found)]


def _table(model: type[models.Model]) -> Table:
    fields = model._meta.local_concrete_fields
    columns = tuple(Column(str(field.column), _kind(field)) for field in fields)
    return Table(model._meta.db_table, str(model._meta.pk.column), columns)


def _kind(field: Any) -> Kind:
    while field.remote_field:
        field = field.target_field
    name = field.get_internal_type()
    if name not in KINDS:
        raise LookupError(f"{field.model.__name__}.{field.name} is a {name}, which backups do not know yet.")
    return KINDS[name]


# --- reading -----------------------------------------------------------------------------------------------


def select(table: Table, vendor: str) -> str:
    """The statement that reads every row. On PostgreSQL the server already writes times and JSON as text."""
    collation = {"sqlite": "BINARY", "postgresql": "C"}[vendor]
    by_text = next(column.kind for column in table.columns if column.name == table.key) is Kind.TEXT
    order = f'{quoted(table.key)} COLLATE "{collation}"' if by_text else quoted(table.key)
    names = ", ".join(_selected(column, vendor) for column in table.columns)
    return f"SELECT {names} FROM {quoted(table.name)} ORDER BY {order}"  # noqa: S608 - names of our own tables


def _selected(column: Column, vendor: str) -> str:
    name = quoted(column.name)
    if vendor == "sqlite":
        return name
    if column.kind is Kind.MOMENT:
        return f"""to_char({name} AT TIME ZONE 'UTC', 'YYYY-MM-DD"T"HH24:MI:SS.US"Z"')"""
    if column.kind is Kind.DAY:
        return f"to_char({name}, 'YYYY-MM-DD')"
    return f"{name}::text" if column.kind in {Kind.JSON, Kind.UUID} else name


def _moment(stored: str | datetime) -> str:
    moment = stored if isinstance(stored, datetime) else datetime.fromisoformat(stored)
    moment = moment if moment.tzinfo is None else moment.astimezone(UTC).replace(tzinfo=None)
    return moment.isoformat(timespec="microseconds") + "Z"


def _day(stored: str | date) -> str:
    return (stored if isinstance(stored, date) else date.fromisoformat(stored)).isoformat()


def _boolean(stored: object) -> bool:
    if stored not in (0, 1):
        raise ValueError("neither true nor false")
    return bool(stored)


def _integer(stored: object) -> int:
    if not isinstance(stored, int):
        raise ValueError("no whole number")
    return stored


def _text(stored: object) -> str:
    if not isinstance(stored, str):
        raise ValueError("no text")
    return stored


READ: dict[Kind, Callable[[Any], Value]] = {
    Kind.INTEGER: _integer,
    Kind.BOOLEAN: _boolean,
    Kind.FLOAT: lambda stored: repr(float(stored)),
    Kind.TEXT: _text,
    Kind.UUID: lambda stored: str(UUID(stored)),
    Kind.MOMENT: _moment,
    Kind.DAY: _day,
    Kind.JSON: _text,
    Kind.BYTES: lambda stored: base64.b64encode(stored).decode("ascii"),
}


def row_from(table: Table, stored: tuple[Any, ...]) -> list[Value]:
    """One stored row as the backup writes it. Raises ValueError when a column holds what its kind does not admit."""
    row: list[Value] = []
    for column, value in zip(table.columns, stored, strict=True):
        try:
            row.append(None if value is None else READ[column.kind](value))
        except (TypeError, ValueError) as error:
            raise ValueError(f"Column {column.name} of {table.name} holds {value!r}: {error}.") from error
    return row


# --- writing back ------------------------------------------------------------------------------------------

# As Django itself writes them on SQLite: times in UTC without a zone, UUIDs as 32 digits.
TO_SQLITE: dict[Kind, Callable[[Any], Any]] = {
    Kind.BOOLEAN: int,
    Kind.FLOAT: float,
    Kind.UUID: lambda text: UUID(text).hex,
    Kind.MOMENT: lambda text: str(datetime.fromisoformat(text).replace(tzinfo=None)),
    Kind.BYTES: base64.b64decode,
}
TO_POSTGRESQL: dict[Kind, Callable[[Any], Any]] = {Kind.BYTES: base64.b64decode}
WRITE = {"sqlite": TO_SQLITE, "postgresql": TO_POSTGRESQL}


def row_for(table: Table, row: list[Value], vendor: str) -> tuple[Any, ...]:
    """The row as the database kind takes it."""
    kinds = WRITE[vendor]
    return tuple(
        value if value is None or column.kind not in kinds else kinds[column.kind](value)
        for column, value in zip(table.columns, row, strict=True)
    )


# --- one line, and what it says ----------------------------------------------------------------------------


def line_of(row: list[Value]) -> bytes:
    """The row as one line of the backup."""
    return (json.dumps(row, ensure_ascii=False, separators=(",", ":")) + "\n").encode()


def content_of(table: Table, row: list[Value]) -> bytes:
    """The row as both database kinds say it: PostgreSQL writes its own text for a JSON column."""
    plain = [
        _normal(value) if column.kind is Kind.JSON and isinstance(value, str) else value
        for column, value in zip(table.columns, row, strict=True)
    ]
    return line_of(plain)


def _normal(text: str) -> str:
    """JSON with sorted keys; numbers keep their digits."""
    parsed = json.loads(text, parse_float=str, parse_int=str)
    return json.dumps(parsed, ensure_ascii=False, sort_keys=True, separators=(",", ":"))
