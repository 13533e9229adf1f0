"""What both databases' triggers say, and how a name or a text is written into their SQL."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from .write_once import FrozenWhen

WRITE_ONCE_MESSAGE = "is write-once: write a new row that points at the old one and says why"
FROZEN_MESSAGE = "is frozen: what it belongs to was released, so start a new revision"


def quoted(name: str) -> str:
    """A name as an SQL identifier."""
    return '"' + name.replace('"', '""') + '"'


def text(value: str) -> str:
    """A value as an SQL string."""
    return "'" + value.replace("'", "''") + "'"


def event_exists(when: FrozenWhen, row: str) -> str:
    """The test that the event which freezes a row's parent was recorded; `row` is OLD or NEW."""
    parent, condition = f"{row}.{quoted(when.parent_column)}", when.condition
    named = f"{quoted(when.event_parent_column)} = {parent} AND ({condition})"
    return f"EXISTS (SELECT 1 FROM {quoted(when.event_table)} WHERE {named})"  # noqa: S608 - names from our models
