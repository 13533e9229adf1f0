"""What the readers of nonconformance give: frozen values, free of the database."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from decimal import Decimal
from typing import Any
from uuid import UUID

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
    """Every number of a stored answer: all readings, a count; none for what is not a number."""
    texts = answer.get("values") or [answer[key] for key in ("value", "count") if key in answer]
    return [Decimal(str(text)) for text in texts]


def within(numbers: Iterable[Decimal], lower: Decimal | None, upper: Decimal | None) -> bool:
    """Whether every number lies inside the limits, or on one. Without a limit nothing does."""
    if lower is None and upper is None:
        return False
    band = Band(lower=lower, upper=upper)
    return all(judge(number, band).verdict is not Verdict.OUT_OF_BAND for number in numbers)


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

    @property
    def limits(self) -> str:
        """The limits as numbers; empty for a checkpoint without a number."""
        if self.lower is not None and self.upper is not None:
            return f"{self.lower} to {self.upper}"
        if self.upper is not None:
            return f"max {self.upper}"
        return f"min {self.lower}" if self.lower is not None else ""

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
