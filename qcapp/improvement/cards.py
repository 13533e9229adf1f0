"""What the readers of improvement give: frozen values, free of the database."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, datetime
from decimal import Decimal
from typing import Any
from urllib.parse import urlencode

BASES = {
    "checkpoint": "checkpoint",
    "joint": "joint",
    "fixture": "fixture",
    "supplier": "supplier",
    "cause": "cause",
}
BY_THRESHOLD = "by the threshold"  # who opened it, where no person did


@dataclass(frozen=True)
class ReportLine:
    """A report as an action lists it: its title is left to the report's own page."""

    id: int
    number: str
    serial: str
    state: str
    raised_at: datetime


@dataclass(frozen=True)
class Cluster:
    """Similar reports inside the window. `basis` says in what they are alike, `value` in which one."""

    basis: str
    value: str
    label: str
    family_code: str  # empty where it goes across families
    characteristic_id: int | None
    reports: tuple[ReportLine, ...]
    over_threshold: bool

    @property
    def words(self) -> str:
        many = "s" if len(self.reports) > 1 else ""
        if not self.family_code:
            return f"{len(self.reports)} report{many} at the same {BASES[self.basis]}: {self.label}"
        return f"{len(self.reports)} report{many} at the same {BASES[self.basis]}: {self.label} ({self.family_code})"

    @property
    def asked(self) -> str:
        """As the words of an address."""
        return urlencode({"basis": self.basis, "value": self.value, "family": self.family_code})


@dataclass(frozen=True)
class Signalled:
    """A signal of a chart, as its page names it."""

    family_code: str
    key: str
    rule: str
    fixture: str
    first_serial: str


@dataclass(frozen=True)
class StepCard:
    """Something that is done about it."""

    id: int
    text: str
    owner_id: int
    owner_name: str
    due_on: date
    state: str
    events: tuple[EventCard, ...]
    possible: tuple[str, ...]

    def late(self, today: date) -> bool:
        return self.state == "agreed" and self.due_on < today


@dataclass(frozen=True)
class EventCard:
    """What was said about a step or a unit, by whom."""

    what: str
    note: str
    by_name: str
    at: datetime
    by_id: int = 0


@dataclass(frozen=True)
class MoveCard:
    """One step of an action's life."""

    name: str
    to_label: str
    note: str
    data: dict[str, Any]
    by_name: str
    signed: bool
    at: datetime


@dataclass(frozen=True)
class CostCard:
    """Minutes and material; `cents` is the sum in hundredths of the currency."""

    id: int
    what: str
    minutes: int
    rate_per_hour: Decimal
    material: Decimal
    currency: str
    cents: int
    taken_back: bool
    is_reversal: bool
    by_name: str
    at: datetime

    @property
    def sum(self) -> Decimal:
        return Decimal(self.cents).scaleb(-2)


@dataclass(frozen=True)
class ActionCard:
    """A corrective action in a list."""

    id: int
    number: str
    title: str
    basis: str
    value: str
    label: str
    family_code: str
    characteristic_id: int | None
    state: str
    state_label: str
    owner_name: str
    opened_at: datetime
    opened_by_name: str
    changed_at: datetime
    effective_on: date | None
    units_wanted: int
    reports: int
    steps_open: int = 0
    next_due: date | None = None

    @property
    def by_threshold(self) -> bool:
        """Whether its title and problem are sentences of ours, to be said in the reader's language."""
        return self.opened_by_name == BY_THRESHOLD


@dataclass(frozen=True)
class ActionView:
    """Everything about one corrective action."""

    card: ActionCard
    problem: str
    reports: list[ReportLine]
    whys: tuple[str, ...]
    cause: str
    whys_by: str
    steps: list[StepCard]
    moves: list[MoveCard]
    costs: list[CostCard]
    possible: list[str] = field(default_factory=list)

    @property
    def spent(self) -> Decimal:
        return Decimal(sum(one.cents for one in self.costs)).scaleb(-2)


@dataclass(frozen=True)
class Sheet:
    """A drawing's sheet: its shape, and the address of its picture (empty: only the outline is drawn)."""

    id: str
    name: str
    width: float
    height: float
    address: str = ""


@dataclass(frozen=True)
class Mark:
    """Reports at one place of a sheet. `x` and `y` are fractions of its width and height, from the upper left.

    `exact` marks were set on this sheet by whoever found it; others stand at the balloon of their checkpoint, or were
    set on an earlier revision of the sheet.
    """

    x: float
    y: float
    count: int
    words: str
    address: str
    exact: bool
