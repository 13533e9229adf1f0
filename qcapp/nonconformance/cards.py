"""What the readers of nonconformance give: frozen values, free of the database."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from decimal import Decimal
from typing import Any
from uuid import UUID

from qcapp.core.checkpoints.counted import counted_numbers
from qcapp.core.metrology.bands import Band
from qcapp.core.metrology.decision import Verdict, judge

from .states import ENDED

STEPS = {
    "contain": "contained",
    "decide": "decided",
    "start_correction": "correction started",
    "finish_correction": "correction finished",
    "fail_verification": "correction failed",
    "close": "closed",
    "close_without_correction": "closed",
    "withdraw": "withdrawn",
}
SECRET = "What was found is shown when the second inspection is given."  # noqa: S105 - a sentence


def numbers_in(answer: Mapping[str, Any]) -> list[Decimal]:
    """Every number of a stored answer as it counts: all readings, a count; none for what is not a number."""
    texts = [answer["count"]] if "count" in answer else counted_numbers(answer)
    return [Decimal(str(text)) for text in texts]


def within(numbers: Iterable[Decimal], lower: Decimal | None, upper: Decimal | None) -> bool:
    """Whether every number lies inside the limits, or on one. Without a limit nothing does."""
    if lower is None and upper is None:
        return False
    band = Band(lower=lower, upper=upper)
    return all(judge(number, band).verdict is not Verdict.OUT_OF_BAND for number in numbers)


def limits_text(lower: Decimal | None, upper: Decimal | None) -> str:
    """Limits in words: 0.10 to 0.36, max 0.36, min 0.10; empty without any."""
    if lower is not None and upper is not None:
        return f"{lower} to {upper}"
    if upper is not None:
        return f"max {upper}"
    return "" if lower is None else f"min {lower}"


@dataclass(frozen=True)
class ConcessionCard:
    """Permission for one nonconforming item and checkpoint, with limits of its own where there is a number."""

    number: str
    report_number: str
    checkpoint_id: int | None
    checkpoint_number: int | None
    characteristic_id: int | None  # the checkpoint's identity in every revision of the plan
    lower: Decimal | None
    upper: Decimal | None
    statement: str
    approved_at: datetime
    ends_on: date | None = None  # last day on which it may be used
    customer_approval: str = ""
    units_at_most: int | None = None  # None: only the units of its report
    used: int = 0  # units accepted under it, those of its own report among them
    severity: str = ""

    @property
    def limits(self) -> str:
        """The limits as numbers; empty for a checkpoint without a number."""
        return limits_text(self.lower, self.upper)

    @property
    def says(self) -> str:
        """The statement with what else binds it: its end, and what the customer wrote."""
        parts = [self.statement]
        parts += [f"Until {self.ends_on:%-d %B %Y}."] if self.ends_on else []
        parts += [f"For up to {self.units_at_most} units."] if self.units_at_most else []
        parts += [f"Customer's approval: {self.customer_approval}."] if self.customer_approval else []
        return " ".join(parts)

    def ended(self, on: date) -> bool:
        """Whether the concession may no longer be used on a day; its last day still counts."""
        return self.ends_on is not None and on > self.ends_on

    @property
    def left(self) -> int:
        """For how many further units it may be used; none where it is for its report's units alone."""
        return 0 if self.units_at_most is None else max(0, self.units_at_most - self.used)

    @property
    def left_words(self) -> str:
        """The same for a choice on a page."""
        return f"{self.left} of {self.units_at_most} units left"

    def covers(self, answer: Mapping[str, Any]) -> bool:
        """Whether an answer that does not conform is permitted: every number inside these limits."""
        numbers = numbers_in(answer)
        return not numbers or within(numbers, self.lower, self.upper)


@dataclass(frozen=True)
class MoveCard:
    """One step of a report. `signed` says how it was signed, empty where it was not."""

    name: str
    to_state: str
    note: str
    data: dict[str, Any]
    by_id: int
    by_name: str
    signed: str
    at: datetime

    @property
    def label(self) -> str:
        """What was done, as a line of the report's history says it."""
        return STEPS.get(self.name, self.name.replace("_", " "))


@dataclass(frozen=True)
class StepCard:
    """One step of a correction; `at` is None until somebody confirms it."""

    position: int
    text: str
    note: str
    by_id: int | None
    by_name: str
    at: datetime | None


@dataclass(frozen=True)
class PictureCard:
    """A photo with the place of its mark as fractions of width and height."""

    evidence: UUID
    mark_x: Decimal | None
    mark_y: Decimal | None
    caption: str
    by_name: str
    at: datetime

    @property
    def mark(self) -> tuple[str, str] | None:
        """The mark in per cent of the picture, for drawing it."""
        if self.mark_x is None or self.mark_y is None:
            return None
        return f"{self.mark_x * 100:.1f}", f"{self.mark_y * 100:.1f}"


@dataclass(frozen=True)
class MarkCard:
    """Where on a sheet of the drawing it is, as fractions of its width and height; what the sheet is and looks like.

    `file` is None for a sheet that is no longer kept here; then the place is told in numbers alone.
    """

    sheet: UUID
    x: Decimal
    y: Decimal
    caption: str
    by_name: str
    at: datetime
    sheet_name: str = ""
    file: UUID | None = None
    width: int = 1
    height: int = 1

    @property
    def percent(self) -> tuple[str, str]:
        """How far from the left and from the top, in per cent."""
        return f"{self.x * 100:.0f}", f"{self.y * 100:.0f}"

    @property
    def drawn(self) -> dict[str, str]:
        """The circle in the sheet's own measure, for drawing it."""
        size = max(self.width, self.height)
        across, down = self.x * self.width, self.y * self.height
        return {"cx": f"{across:.1f}", "cy": f"{down:.1f}", "r": f"{size * 0.035:.1f}"}


@dataclass(frozen=True)
class PartCard:
    """So many pieces of a lot, and what is done with them."""

    disposition: str
    label: str
    quantity: int


@dataclass(frozen=True)
class DestructionCard:
    """One signature under the destruction of a number: `part` is done or seen."""

    part: str
    label: str
    how: str
    by_name: str
    at: datetime


@dataclass(frozen=True)
class ReturnNoteCard:
    """The paper that goes back to the supplier with the parts."""

    number: str
    supplier: str
    delivery: str
    quantity: int
    text: str
    by_name: str
    at: datetime


@dataclass(frozen=True)
class PermitCard:
    """A deviation permit as it stands on the day `today`."""

    id: int
    number: str
    family_id: int
    family_code: str
    characteristic_id: int
    checkpoint_number: int
    checkpoint_key: str
    lower: Decimal | None
    upper: Decimal | None
    statement: str
    serials: tuple[str, ...]
    quantity: int | None
    used: int
    ends_on: date | None
    customer_approval: str
    by_name: str
    at: datetime
    signed: dict[str, str]
    signer_ids: frozenset[int]
    missing: tuple[str, ...]
    today: date

    @property
    def limits(self) -> str:
        return limits_text(self.lower, self.upper)

    @property
    def code(self) -> str:
        """Why it cannot be used now, as a stable code; empty when it can."""
        if self.missing:
            return "permit_not_signed"
        if self.ends_on is not None and self.today > self.ends_on:
            return "permit_ended"
        return "permit_used_up" if self.quantity is not None and self.used >= self.quantity else ""

    @property
    def problem(self) -> str:
        """The same as a sentence."""
        if self.code == "permit_not_signed":
            return f"{self.number} still waits for: {', '.join(self.missing).replace('_', ' ')}."
        if self.code == "permit_ended":
            return f"{self.number} ended on {self.ends_on:%-d %B %Y}; decide without it, or ask for a new one."
        if self.code == "permit_used_up":
            return f"{self.number} was for {self.quantity} and all are used; decide without it, or ask for a new one."
        return ""


@dataclass(frozen=True)
class ProposalCard:
    """The disposition proposed last, who has signed it and whose signature is missing."""

    id: int
    disposition: str
    label: str
    instruction: str
    procedure: str
    reinspect: list[str]
    concession_lower: Decimal | None
    concession_upper: Decimal | None
    by_name: str
    by_id: int
    at: datetime
    signed: dict[str, str]  # role to name
    signer_ids: frozenset[int]
    missing: tuple[str, ...]
    method: str = ""  # re_welding, cold_straightening
    method_label: str = ""
    max_attempts: int | None = None
    left_out_reason: str = ""
    customer_asked: bool = False
    customer_approval: str = ""
    ends_on: date | None = None
    units_at_most: int | None = None
    permit_number: str = ""  # of a deviation permit, or of a concession for several units
    parts: tuple[PartCard, ...] = ()


@dataclass(frozen=True)
class ReportCard:
    """A report in a list. `hidden`: its title is kept back until the second inspection is given."""

    id: int
    uuid: UUID
    number: str
    title: str
    severity: str
    state: str
    state_label: str
    disposition: str  # as decided; empty before, and after a correction that failed
    disposition_label: str
    item_id: int
    serial: str
    unit_id: int | None
    family_code: str
    checkpoint_number: int | None
    checkpoint_id: int | None
    raised_at: datetime
    raised_by_name: str
    changed_at: datetime
    procedure: str = ""  # of the disposition in force
    reinspected: int = 0  # how many checkpoints it inspects again
    concession: ConcessionCard | None = None  # in force
    hidden: bool = False

    @property
    def ended(self) -> bool:
        return self.state in ENDED


@dataclass(frozen=True)
class ReportView:
    """Everything about one report. `possible` names the moves of the state table that can be made now."""

    card: ReportCard
    description: str
    cause: str
    facts: dict[str, Any]
    raised_by_id: int
    result_id: int | None
    recorded_by_id: int | None
    moves: list[MoveCard]
    proposal: ProposalCard | None
    concession: ConcessionCard | None
    possible: list[str] = field(default_factory=list)
    serials: tuple[str, ...] = ()  # of every unit it is about
    item_ids: tuple[int, ...] = ()
    quantity: int | None = None  # pieces of a lot
    pictures: tuple[PictureCard, ...] = ()
    steps: tuple[StepCard, ...] = ()
    turn: int = 0  # the attempt of the correction
    destructions: tuple[DestructionCard, ...] = ()
    return_note: ReturnNoteCard | None = None
    marks: tuple[MarkCard, ...] = ()  # every place on the drawing
    checkpoint_id: int | None = None  # in the revision that it was found against

    @property
    def mark(self) -> MarkCard | None:
        """The mark that was set last."""
        return max(self.marks, key=lambda one: one.at, default=None)

    @property
    def steps_open(self) -> list[StepCard]:
        """The steps that nobody has confirmed in this attempt."""
        return [step for step in self.steps if step.at is None]

    @property
    def corrective_action_number(self) -> str:
        """The corrective action that the closing names."""
        named = [move.data.get("corrective_action_number", "") for move in self.moves]
        return next((str(number) for number in named if number), "")
