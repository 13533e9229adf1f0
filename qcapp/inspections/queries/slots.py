"""Which answer counts: plain functions over the stored rows of one slot.

A slot is one (item, checkpoint, round, inspection). Its heads are the rows that no other row of it replaces. One head
is the answer that counts, more than one are a conflict. Rows may arrive in any order.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from typing import Protocol, TypeVar
from uuid import UUID, uuid5

from qcapp.core.checkpoints.kinds import passes

CONFLICT_NAMES = UUID("6f0f6a35-21a4-4b5c-9d0f-5a3f5b1f7c11")  # for names of conflicts; any fixed value does


class Row(Protocol):
    """What a stored answer must tell to find the heads."""

    @property
    def operation(self) -> UUID: ...
    @property
    def replaces(self) -> Iterable[str]: ...


class Judgeable(Protocol):
    """What an answer must tell to compare two inspections."""

    @property
    def outcome(self) -> str: ...
    @property
    def nearest_limit(self) -> str: ...
    @property
    def answer(self) -> object: ...


R = TypeVar("R", bound=Row)


def heads(rows: Sequence[R]) -> list[R]:
    """The rows that no other row replaces, in the order given; all of them when they replace each other in a ring."""
    if len(rows) < 2:
        return list(rows)
    replaced = {operation for row in rows for operation in row.replaces}
    standing = [row for row in rows if str(row.operation) not in replaced]
    return standing or list(rows)


def name_of(conflict: Iterable[UUID]) -> UUID:
    """The one identifier that stands for all answers of a conflict (UUID version 5, RFC 9562).

    Whoever sends it as `base` has seen every one of them; a further answer gives another name.
    """
    return uuid5(CONFLICT_NAMES, " ".join(sorted(str(operation) for operation in conflict)))


def base_of(standing: Sequence[Row]) -> UUID | None:
    """What an answer that follows these heads has to name as its base."""
    if not standing:
        return None
    return standing[0].operation if len(standing) == 1 else name_of(row.operation for row in standing)


def disagree(first: Judgeable, second: Judgeable) -> bool:
    """Whether two inspections came to different verdicts, to opposite sides of the band, or wrote different texts."""
    if first.outcome != second.outcome:
        return True
    if not passes(first.outcome):
        return first.nearest_limit != second.nearest_limit
    return _text(first.answer) != _text(second.answer)


def _text(answer: object) -> str | None:
    """A record's text as it is compared, capitals and blanks aside; None for the other kinds."""
    read = json.loads(answer) if isinstance(answer, str) else answer
    text = read.get("text") if isinstance(read, dict) else None
    return "".join(text.split()).casefold() if isinstance(text, str) else None
