"""What inspections tells the rooms above it. The one inversion of the import rules."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING, NamedTuple
from uuid import UUID

from django.dispatch import Signal

if TYPE_CHECKING:
    from qcapp.people.models import Person
    from qcapp.plans.queries import CheckpointCard


class Judged(NamedTuple):
    """One stored result with its verdict, as the receivers of `judged` get it."""

    result_id: int
    operation: UUID
    item_id: int
    unit_id: int
    serial: str
    checkpoint_card: CheckpointCard
    outcome: str
    passes: bool
    excess: str  # in the checkpoint's unit of measure; empty when not outside or not measured
    nearest_limit: str  # "lower", "upper" or empty
    described_answer: str
    gauge_number: str
    person: Person
    round: int
    inspection: int
    recorded_at: datetime
    family_id: int


judged = Signal()
"""Sent once per submission with new results, inside its transaction and before its audit entry.

Keyword arguments: `judgements: list[Judged]`, `at: datetime`, `by: Person`, and `entries: list[Act]`, to which a
receiver adds its audit entries: they are written before the submission's own, all at once. A receiver that raised or
joined reports returns `{operation: report number}`; what it raises refuses the whole submission.
"""
