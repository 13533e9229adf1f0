"""Readers of kept lists: what was asked and answered, what refers to it, and what has changed since."""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, fields
from datetime import datetime
from typing import Any

from qcapp.audit.queries import entries_about
from qcapp.core.errors import NotFound
from qcapp.lib.plain_text import shown
from qcapp.people.queries import names_of

from .answering import AffectedRow, Answer, answer
from .asking import read
from .models import KeptList, ListUse

ASKED = "who is affected"  # what the audit says that a question is about
_NAMES = tuple(one.name for one in fields(AffectedRow))


@dataclass(frozen=True)
class AskedCard:
    """A question that was asked, by whom, and how many units stood where then; nobody's by the program itself."""

    question: str
    counts: dict[str, int]
    by_name: str
    at: datetime


@dataclass(frozen=True)
class UseCard:
    """A paper that refers to a list."""

    kind: str
    kind_label: str
    paper: str
    units: int
    by_name: str
    at: datetime


@dataclass(frozen=True)
class ListCard:
    """A kept list in a list of lists."""

    id: int
    number: str
    name: str
    question: str
    digest: str
    units: int
    by_name: str
    at: datetime


@dataclass(frozen=True)
class ListView:
    """A kept list with its answer as it was known, and the papers that refer to it."""

    card: ListCard
    answer: Answer
    uses: tuple[UseCard, ...]


@dataclass(frozen=True)
class Since:
    """What asking the same today changes: units that came, went, or stand elsewhere now."""

    now: Answer
    came: tuple[AffectedRow, ...]
    gone: tuple[AffectedRow, ...]
    moved: tuple[tuple[AffectedRow, AffectedRow], ...]

    @property
    def same(self) -> bool:
        return not (self.came or self.gone or self.moved)


def asked_lately(limit: int = 12) -> list[AskedCard]:
    """The questions asked last, the newest first; two queries."""
    entries = entries_about(ASKED, limit)
    names = names_of({entry.actor for entry in entries if entry.actor})
    return [
        AskedCard(entry.payload["question"], entry.payload["units"], names.get(entry.actor, ""), entry.at)
        for entry in entries
        if "question" in entry.payload  # unless it was redacted
    ]


def kept_lists(limit: int = 100) -> list[ListCard]:
    """The lists kept last, the newest first."""
    return [_card(row) for row in KeptList.objects.select_related("by").defer("answer").order_by("-id")[:limit]]


def list_row(number: str) -> KeptList:
    """The row of a list. Raises NotFound `list_unknown`."""
    rows = KeptList.objects.none() if "\0" in number else KeptList.objects.select_related("by")
    row = rows.filter(number__iexact=number.strip()).first()
    if row is None:
        raise NotFound("list_unknown", f"There is no list {shown(number)}; look it up among the kept lists.")
    return row


def kept_list(number: str) -> ListView:
    """One list as it was kept. Raises NotFound `list_unknown`."""
    row = list_row(number)
    uses = ListUse.objects.filter(kept=row).select_related("by").order_by("id")
    cards = tuple(UseCard(one.kind, one.get_kind_display(), one.paper, one.units, one.by.name, one.at) for one in uses)
    return ListView(_card(row), Answer(row.question, tuple(rows_told(json.loads(row.answer)))), cards)


def since_kept(view: ListView) -> Since:
    """The same question asked now, beside what was known. Raises NotFound `nothing_of_that_name`."""
    now = answer(read(view.card.question))
    then = {row.item_id: row for row in view.answer.rows}
    today = {row.item_id: row for row in now.rows}
    moved = tuple(
        (then[item], today[item]) for item in then if item in today and _where(then[item]) != _where(today[item])
    )
    return Since(
        now,
        tuple(row for row in now.rows if row.item_id not in then),
        tuple(row for row in view.answer.rows if row.item_id not in today),
        moved,
    )


def _where(row: AffectedRow) -> tuple[object, ...]:
    return row.standing, row.on_hold, row.holder, row.customer


def told_rows(rows: Iterable[AffectedRow]) -> list[dict[str, Any]]:
    """The rows as plain values, as they are kept."""
    return [
        {name: getattr(row, name) for name in _NAMES}  # copies nothing, as `asdict` would
        | {"shipped_at": row.shipped_at.isoformat() if row.shipped_at else None, "because": list(row.because)}
        for row in rows
    ]


def rows_told(told: Sequence[dict[str, Any]]) -> list[AffectedRow]:
    """The rows that were kept."""
    return [
        AffectedRow(
            **one
            | {
                "shipped_at": datetime.fromisoformat(one["shipped_at"]) if one["shipped_at"] else None,
                "because": tuple(one["because"]),
            }
        )
        for one in told
    ]


def _card(row: KeptList) -> ListCard:
    return ListCard(row.pk, row.number, row.name, row.question, row.digest, row.units, row.by.name, row.at)
