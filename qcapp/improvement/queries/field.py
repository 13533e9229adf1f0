"""Readers of field actions: units by customer, how far each is, and the share closed."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from qcapp.core.errors import NotFound
from qcapp.lib.plain_text import shown

from ..cards import EventCard
from ..models import FieldAction, FieldLetter, FieldUnit
from ..states import FIELD_CLOSED, FIELD_NEXT, FieldEventKind

_OF_LIST = re.compile(r"List (AL-[0-9]{4}-[0-9]{4,})\.$")


@dataclass(frozen=True)
class FieldUnitCard:
    """One unit of a field action."""

    id: int
    serial: str
    customer: str
    address: str
    state: str
    state_label: str
    notified: datetime | None
    answered: datetime | None
    checked: datetime | None
    corrected: datetime | None
    closed: bool
    events: tuple[EventCard, ...]
    possible: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class CustomerShare:
    """How far one customer's units are."""

    customer: str
    address: str
    units: tuple[FieldUnitCard, ...]

    def count(self, what: str) -> int:
        return sum(getattr(one, what) is not None for one in self.units)

    @property
    def notified(self) -> int:
        return self.count("notified")

    @property
    def answered(self) -> int:
        return self.count("answered")

    @property
    def checked(self) -> int:
        return self.count("checked")

    @property
    def corrected(self) -> int:
        return self.count("corrected")

    @property
    def closed(self) -> int:
        return sum(one.closed for one in self.units)


@dataclass(frozen=True)
class FieldCard:
    """A field action in a list."""

    number: str
    title: str
    action_number: str
    opened_at: datetime
    opened_by_name: str
    units: int
    closed: int

    @property
    def share_closed(self) -> int:
        """In a hundred, rounded down: 100 only when every unit is closed."""
        return 100 * self.closed // self.units if self.units else 0


@dataclass(frozen=True)
class FieldView:
    """Everything about a field action."""

    card: FieldCard
    reason: str
    letter_subject: str
    letter_text: str
    letter_at: datetime | None
    customers: list[CustomerShare]

    @property
    def list_number(self) -> str:
        """The kept list of affected units that it was opened from, as its reason names it; empty for none."""
        return list_named_in(self.reason)


def list_named_in(reason: str) -> str:
    """The number of a kept list that a reason ends with: "Wrong chromium. List AL-2026-0003."; else empty."""
    found = _OF_LIST.search(reason)
    return found[1] if found else ""


def field_row(number: str) -> FieldAction:
    """The row of a field action. Raises NotFound `field_action_unknown`."""
    rows = FieldAction.objects.none() if "\0" in number else _rows().filter(number__iexact=number.strip())
    row = rows.first()
    if row is None:
        name = shown(number)
        message = f"There is no field action {name}; look it up in the list."
        raise NotFound("field_action_unknown", message, number=name)
    return row


def field_actions() -> list[FieldCard]:
    """Every field action, the latest first."""
    rows = _rows().prefetch_related("units__events").order_by("-id")
    return [_card(row, [_state(unit) for unit in row.units.all()]) for row in rows[:200]]


def field_action(number: str) -> FieldView:
    """One field action with its units by customer. Raises NotFound `field_action_unknown`."""
    row = field_row(number)
    rows = FieldUnit.objects.filter(field_action=row).prefetch_related("events__by").order_by("customer", "serial")
    units = [_unit(one) for one in rows]
    letter = letter_of(row)
    return FieldView(
        card=_card(row, [one.state for one in units]), reason=row.reason,
        letter_subject=letter.subject if letter else "", letter_text=letter.text if letter else "",
        letter_at=letter.at if letter else None, customers=by_customer(units),
    )  # fmt: skip


def by_customer(units: Iterable[FieldUnitCard]) -> list[CustomerShare]:
    """The units of each customer together, in the order of the names."""
    found: dict[tuple[str, str], list[FieldUnitCard]] = {}
    for one in units:
        found.setdefault((one.customer, one.address), []).append(one)
    return [CustomerShare(*who, tuple(some)) for who, some in sorted(found.items())]


def in_open_field_action(item_ids: Iterable[int]) -> frozenset[int]:
    """Those of the items that are in a field action and not yet looked at; one query, two where there are any."""
    rows = FieldUnit.objects.filter(item__in=list(item_ids)).prefetch_related("events")
    return frozenset(row.item_id for row in rows if _state(row) not in FIELD_CLOSED)


def letter_of(row: FieldAction) -> FieldLetter | None:
    """The letter that counts: the one written last."""
    return FieldLetter.objects.filter(field_action=row).order_by("-id").first()


def state_of_unit(row: FieldUnit) -> str:
    """What was recorded last about a unit; empty before anything was."""
    return _state(row)


def _rows() -> Any:
    return FieldAction.objects.select_related("opened_by", "action")


def _state(row: FieldUnit) -> str:
    """The event that decides what comes next: a check stands, whatever letters are exchanged afterwards."""
    kinds = [one.kind for one in sorted(row.events.all(), key=lambda one: one.pk)]
    settled = [kind for kind in kinds if kind not in (FieldEventKind.NOTIFIED, FieldEventKind.ANSWERED)]
    return (settled or kinds or [""])[-1]


def _card(row: FieldAction, states: list[str]) -> FieldCard:
    closed = sum(state in FIELD_CLOSED for state in states)
    return FieldCard(
        row.number, row.title, row.action.number if row.action else "", row.opened_at, row.opened_by.name,
        len(states), closed,
    )  # fmt: skip


def _unit(row: FieldUnit) -> FieldUnitCard:
    events = sorted(row.events.all(), key=lambda one: one.pk)
    at = {one.kind: one.at for one in reversed(events)}  # the first of each kind
    state = _state(row)
    return FieldUnitCard(
        id=row.pk, serial=row.serial, customer=row.customer, address=row.address, state=state,
        state_label=FieldEventKind(state).label if state else "not notified yet", notified=at.get("notified"),
        answered=at.get("answered"), checked=at.get("fine") or at.get("to_correct"), corrected=at.get("corrected"),
        closed=state in FIELD_CLOSED,
        events=tuple(EventCard(FieldEventKind(e.kind).label, e.note, e.by.name, e.at) for e in events),
        possible=tuple((kind.value, kind.label) for kind in FIELD_NEXT[state]),
    )  # fmt: skip
