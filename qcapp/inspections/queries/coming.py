"""Which of the units to come get a checkpoint that is not asked on every unit."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from qcapp.core.statistics.frequency import parse_frequency
from qcapp.production.queries import last_number

from .standing import due_checkpoints

if TYPE_CHECKING:
    from qcapp.core.statistics.sampling_plan import SamplingPlan
    from qcapp.plans.queries import CheckpointCard, RevisionCard

UNITS = 20


@dataclass(frozen=True)
class ComingRow:
    """One checkpoint: whether each of the coming units gets it, and how a lot is judged where lots are sampled."""

    card: CheckpointCard
    due: tuple[bool, ...]
    sample: SamplingPlan | None

    @property
    def count(self) -> int:
        return sum(self.due)

    @property
    def finding(self) -> str:
        """Why it should be looked at; empty when nothing is wrong."""
        return "critical, but sampled" if self.card.critical and self.card.frequency != "every" else ""


@dataclass(frozen=True)
class Coming:
    """The running numbers of the next units, and the checkpoints that not every one of them gets."""

    numbers: tuple[int, ...]
    rows: tuple[ComingRow, ...]
    on_all: int  # how many checkpoints every unit gets


def coming_units(revision: RevisionCard, cards: Sequence[CheckpointCard], variant: str = "") -> Coming:
    """The next twenty units of the family after its last one, all built with these options."""
    first = last_number(revision.family_id) + 1
    numbers = tuple(range(first, first + UNITS))
    due = {number: due_checkpoints(_numbered(cards), number, variant=variant) for number in numbers}
    rows = [
        ComingRow(card, tuple(place in due[number] for number in numbers), parse_frequency(card.frequency).sample)
        for place, card in enumerate(cards)
    ]
    some = tuple(row for row in rows if not all(row.due) or row.card.variants or row.sample)
    return Coming(numbers, some, len(rows) - len(some))


def _numbered(cards: Sequence[CheckpointCard]) -> list[CheckpointCard]:
    """The cards under their place: those of a draft have no key yet."""
    return [replace(card, id=place) for place, card in enumerate(cards)]
