"""The plan's cautions that belong to the unit, once each."""

from __future__ import annotations

from dataclasses import dataclass

from .record import Record


@dataclass(frozen=True)
class Cautions:
    """Sentences in the plan's order; `shown` is the family's choice."""

    shown: bool
    sentences: tuple[str, ...]


def build(record: Record) -> Cautions:
    """What the plan warns of at any checkpoint."""
    found = [one.card.caution.strip() for one in record.standing.inspection.checkpoints if one.card.caution.strip()]
    return Cautions(record.choice.cautions, tuple(dict.fromkeys(found)) if record.choice.cautions else ())
