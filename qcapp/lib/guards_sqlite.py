"""The guarding triggers in SQLite's words."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from .guard_words import FROZEN_MESSAGE, WRITE_ONCE_MESSAGE, event_exists, quoted, text

if TYPE_CHECKING:
    from .guards import Guard
    from .write_once import FrozenWhen

LIST = "SELECT tbl_name, name FROM sqlite_master WHERE type = 'trigger' AND name LIKE 'qcguard!_%' ESCAPE '!'"


def names(guard: Guard) -> list[str]:
    """The triggers that the guard consists of."""
    kinds = (["once_update", "once_delete"] if guard.write_once else []) + (
        ["frozen_insert", "frozen_update", "frozen_delete"] if guard.frozen_when else []
    )
    return [_name(guard.table, kind) for kind in kinds]


def create(guard: Guard) -> list[str]:
    """The statements that make the guard's triggers."""
    statements = []
    if guard.write_once:
        statements += [_write_once(guard.table, event) for event in ("update", "delete")]
    if guard.frozen_when:
        statements += [_frozen(guard.table, guard.frozen_when, event) for event in ("insert", "update", "delete")]
    return statements


def drop(table: str, name: str) -> str:
    """The statement that drops one trigger."""
    return f"DROP TRIGGER IF EXISTS {quoted(name)}"


def lift(guards: Iterable[Guard]) -> list[str]:
    """SQLite cannot disable a trigger, so it is dropped; a transaction around it brings it back after an
    error.
    """
    return [drop(guard.table, name) for guard in guards for name in names(guard)]


def lower(guards: Iterable[Guard]) -> list[str]:
    """The statements that put lifted guards back."""
    return [statement for guard in guards for statement in create(guard)]


def _name(table: str, kind: str) -> str:
    return f"qcguard_{table}_{kind}"


def _write_once(table: str, event: str) -> str:
    return (
        f"CREATE TRIGGER {quoted(_name(table, f'once_{event}'))} BEFORE {event.upper()} ON {quoted(table)} "
        f"BEGIN SELECT RAISE(ABORT, {text(f'{table} {WRITE_ONCE_MESSAGE}')}); END"
    )


def _frozen(table: str, when: FrozenWhen, event: str) -> str:
    rows = {"insert": ["NEW"], "update": ["OLD", "NEW"], "delete": ["OLD"]}[event]
    test = " OR ".join(event_exists(when, row) for row in rows)
    return (
        f"CREATE TRIGGER {quoted(_name(table, f'frozen_{event}'))} BEFORE {event.upper()} ON {quoted(table)} "
        f"WHEN {test} BEGIN SELECT RAISE(ABORT, {text(f'{table} {FROZEN_MESSAGE}')}); END"
    )
