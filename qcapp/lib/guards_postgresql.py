"""The guarding triggers in PostgreSQL's words.

A refused row raises the class `integrity_constraint_violation`, so that Django reports an IntegrityError on
both databases.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from .guard_words import FROZEN_MESSAGE, WRITE_ONCE_MESSAGE, event_exists, quoted, text

if TYPE_CHECKING:
    from .guards import Guard
    from .write_once import FrozenWhen

LIST = """
SELECT c.relname, t.tgname FROM pg_trigger t JOIN pg_class c ON c.oid = t.tgrelid
WHERE t.tgname LIKE 'qcguard!_%' ESCAPE '!' AND t.tgenabled IN ('O', 'A') AND pg_table_is_visible(c.oid)
"""

WRITE_ONCE_FUNCTION = f"""
CREATE OR REPLACE FUNCTION qcguard_refuse() RETURNS trigger LANGUAGE plpgsql AS $guard$
BEGIN
  RAISE EXCEPTION USING
    ERRCODE = 'integrity_constraint_violation',
    MESSAGE = TG_TABLE_NAME || ' ' || {text(WRITE_ONCE_MESSAGE)};
END
$guard$
"""


def names(guard: Guard) -> list[str]:
    """The triggers that the guard consists of."""
    return [
        *(["qcguard_once"] if guard.write_once else []),
        *(["qcguard_frozen"] if guard.frozen_when else []),
        "qcguard_truncate",
    ]


def create(guard: Guard) -> list[str]:
    """The statements that make the guard's triggers and the functions they call."""
    table = quoted(guard.table)
    statements = [WRITE_ONCE_FUNCTION, _trigger("truncate", "TRUNCATE", table, "STATEMENT", "qcguard_refuse")]
    if guard.write_once:
        statements.append(_trigger("once", "UPDATE OR DELETE", table, "ROW", "qcguard_refuse"))
    if guard.frozen_when:
        function = f"qcguard_frozen_{guard.table}"
        statements.append(_frozen_function(function, guard.table, guard.frozen_when))
        statements.append(_trigger("frozen", "INSERT OR UPDATE OR DELETE", table, "ROW", function))
    return statements


def drop(table: str, name: str) -> str:
    """The statement that drops one trigger."""
    return f"DROP TRIGGER IF EXISTS {quoted(name)} ON {quoted(table)}"


def lift(guards: Iterable[Guard]) -> list[str]:
    """Disable the triggers; only the owner of the tables may."""
    return _alter(guards, "DISABLE")


def lower(guards: Iterable[Guard]) -> list[str]:
    """Enable them again."""
    return _alter(guards, "ENABLE")


def _alter(guards: Iterable[Guard], verb: str) -> list[str]:
    """Deferred foreign keys are checked first: a table with pending checks cannot be altered."""
    alter = [
        f"ALTER TABLE {quoted(guard.table)} {verb} TRIGGER {quoted(name)}" for guard in guards for name in names(guard)
    ]
    return ["SET CONSTRAINTS ALL IMMEDIATE", *alter, "SET CONSTRAINTS ALL DEFERRED"]


def _trigger(name: str, events: str, table: str, level: str, function: str) -> str:
    return (
        f"CREATE TRIGGER {quoted(f'qcguard_{name}')} BEFORE {events} ON {table} "
        f"FOR EACH {level} EXECUTE FUNCTION {quoted(function)}()"
    )


def _frozen_function(function: str, table: str, when: FrozenWhen) -> str:
    """Locks the parent row, then looks for the event.

    The lock waits for a release that is being committed, and the look-up after it sees what that release
    wrote.
    """
    return f"""
CREATE OR REPLACE FUNCTION {quoted(function)}() RETURNS trigger LANGUAGE plpgsql AS $guard$
BEGIN
  IF TG_OP <> 'INSERT' THEN
    {_refuse_if_released(table, when, "OLD")}
  END IF;
  IF TG_OP <> 'DELETE' THEN
    {_refuse_if_released(table, when, "NEW")}
    RETURN NEW;
  END IF;
  RETURN OLD;
END
$guard$
"""


def _refuse_if_released(table: str, when: FrozenWhen, row: str) -> str:
    message = text(f"{table} {FROZEN_MESSAGE}")
    return f"""PERFORM 1 FROM {quoted(when.parent_table)}
      WHERE {quoted(when.parent_key)} = {row}.{quoted(when.parent_column)} FOR SHARE;
    IF {event_exists(when, row)} THEN
      RAISE EXCEPTION USING ERRCODE = 'integrity_constraint_violation', MESSAGE = {message};
    END IF;"""
