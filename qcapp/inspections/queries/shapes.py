"""What the readers give: answers, checkpoints, stages and the whole inspection of one unit, all frozen."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime
from typing import TYPE_CHECKING, Any
from uuid import UUID

from ..states import CheckpointState, Flag, StageState

if TYPE_CHECKING:
    from qcapp.plans.queries import CheckpointCard, RevisionCard, StageCard
    from qcapp.production.queries import HoldCard, UnitCard

    from .witnesses import WitnessCard


@dataclass(frozen=True)
class DecisionView:
    """A signed decision about one result: near limit, or one of its flags."""

    about: str
    accepted: bool
    reason: str
    person_name: str
    at: datetime


@dataclass(frozen=True)
class AnswerView:
    """One stored answer as screens, reports and certificates show it. `answer` is the kind's own JSON."""

    result_id: int
    operation: UUID
    checkpoint_id: int
    round: int
    inspection: int
    purpose: str
    answer: dict[str, Any]
    described: str
    raw: str
    outcome: str
    passes: bool
    excess: str
    nearest_limit: str
    gauge_number: str
    expanded_uncertainty: str
    person_id: int
    person_uuid: UUID
    person_name: str
    person_initials: str
    device: str
    recorded_at: datetime
    received_at: datetime
    reason: str
    flags: tuple[str, ...]
    replaces: tuple[str, ...]
    decisions: tuple[DecisionView, ...] = ()

    def decision_about(self, about: str) -> DecisionView | None:
        """The decision on near limit or on one flag, if one was signed."""
        return next((decision for decision in self.decisions if decision.about == about), None)

    @property
    def flag_sentences(self) -> list[str]:
        """Why it does not count as proof, in words."""
        return [Flag(flag).sentence for flag in self.flags]


@dataclass(frozen=True)
class NotApplicable:
    """A signed decision that a checkpoint does not apply to the unit."""

    reason: str
    person_name: str
    role: str
    at: datetime


@dataclass(frozen=True)
class CheckpointView:
    """One checkpoint of one unit in its current round.

    `first` is None while it must not be shown: `first_given` and `hidden` then say why. `owes` names the inspections
    still to be given (1, 2 or 3). `base` is what a correction or repeat has to send along; in a conflict it names all
    the answers in `conflicting` at once. `counts` is the answer that decides: the third where there is one.
    `standing` names what stands for each inspection, hidden or not: an identifier tells nothing of the answer.
    """

    card: CheckpointCard
    state: CheckpointState
    round: int
    reopened_by: str
    reopenings: tuple[tuple[int, str], ...]  # each round opened after the first, and what opened it
    owes: tuple[int, ...]
    first: AnswerView | None
    second: AnswerView | None
    third: AnswerView | None
    first_given: bool
    hidden: bool
    disagree: bool
    base: UUID | None
    conflicting: tuple[AnswerView, ...]
    earlier: tuple[AnswerView, ...]  # what counted in the rounds before
    may_repeat: bool
    excluded: NotApplicable | None = None
    standing: tuple[tuple[int, UUID], ...] = ()

    def was_reopened_by(self, source: str) -> bool:
        """Whether this source opened any round of it; a later source may have opened the current one."""
        return any(opened_by == source for _, opened_by in self.reopenings)

    @property
    def counts(self) -> AnswerView | None:
        return self.third or self.first

    @property
    def given(self) -> tuple[AnswerView, ...]:
        """The answers of the current round that may be shown."""
        return tuple(answer for answer in (self.first, self.second, self.third) if answer)

    def kept_secret(self) -> CheckpointView:
        """The same without anything that tells the first answer."""
        return replace(self, first=None, base=None, conflicting=(), hidden=True, may_repeat=False)


@dataclass(frozen=True)
class SignOffView:
    """Who signed a stage, when, and whether the signature still covers the answers that count."""

    uuid: UUID
    person_id: int
    person_name: str
    role: str
    deputy_for_name: str
    meaning: str
    method: str
    covers: str
    answers: int
    at: datetime
    valid: bool


@dataclass(frozen=True)
class StageView:
    """One stage of one unit with its checkpoints in order."""

    card: StageCard
    state: StageState
    held: bool
    due: int
    answered: int
    failing: int
    near_limit: int
    in_conflict: int
    covers: str  # what a signature would cover now
    sign_off: SignOffView | None
    checkpoints: tuple[CheckpointView, ...]
    witness: WitnessCard | None = None  # what counts at a witness point

    @property
    def complete(self) -> bool:
        return self.answered == self.due

    @property
    def signed(self) -> bool:
        return self.state is StageState.SIGNED


@dataclass(frozen=True)
class Progress:
    """How far the inspection of a unit has come, in checkpoints due and stages signed."""

    due: int
    answered: int
    stages: int
    stages_signed: int

    @property
    def percent(self) -> int:
        return 100 if self.due == 0 else self.answered * 100 // self.due


@dataclass(frozen=True)
class InspectionView:
    """Everything about the inspection of one unit that a page or the tablet needs."""

    unit: UnitCard
    revision: RevisionCard
    holds: tuple[HoldCard, ...]
    stages: tuple[StageView, ...]
    progress: Progress

    @property
    def checkpoints(self) -> list[CheckpointView]:
        """All checkpoints in the plan's order."""
        return [checkpoint for stage in self.stages for checkpoint in stage.checkpoints]

    def stage(self, number: int) -> StageView | None:
        return next((stage for stage in self.stages if stage.card.number == number), None)


@dataclass(frozen=True)
class StageStanding:
    """One stage in a line: for lists, for signing and for the release checks."""

    number: int
    name: str
    hold_point: bool
    witness_point: bool
    state: StageState
    due: int
    answered: int
    missing: tuple[int, ...]  # numbers of the checkpoints that still owe an answer
    sign_off: SignOffView | None


@dataclass(frozen=True)
class Unproven:
    """A stored answer that does not count as proof, and what has to be decided about it."""

    operation: UUID
    checkpoint_number: int
    checkpoint_title: str
    stage_number: int
    about: str  # a flag's code, or near_limit
    sentence: str
    decided: bool  # decided against: it needs another answer


@dataclass(frozen=True)
class Happening:
    """One line of a unit's history: what the inspections contribute to it."""

    at: datetime
    what: str  # adopted | recorded | signed | decided | reopened
    sentence: str
    person_name: str
    stage_number: int | None = None
    checkpoint_number: int | None = None
