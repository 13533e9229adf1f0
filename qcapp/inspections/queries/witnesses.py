"""What was recorded at the witness points of a unit: who was asked, was present, or waived it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from ..models import Witness


@dataclass(frozen=True)
class WitnessCard:
    """One record at a witness point; `note` is the reason where attendance was waived."""

    stage_number: int
    what: str
    label: str
    whom: str
    note: str
    by_id: int
    by_name: str
    at: datetime

    @property
    def settled(self) -> bool:
        """Whether the stage may be signed: somebody was present, or attendance was waived."""
        return self.what != Witness.What.ASKED

    @property
    def sentence(self) -> str:
        """The record in words, without who wrote it and when."""
        note = f": {self.note}" if self.note else ""
        return f"{self.whom} {WORDS[self.what]}{note}"


WORDS = {"asked": "was asked to come", "present": "was present", "waived": "waived attendance"}


def witnesses_of(item_id: int) -> list[WitnessCard]:
    """Every record of the item, the oldest first."""
    rows = Witness.objects.filter(item=item_id).select_related("by").order_by("id")
    return [
        WitnessCard(
            row.stage_number, row.what, row.get_what_display(), row.whom, row.note, row.by_id, row.by.name, row.at
        )
        for row in rows
    ]


def latest_witnesses(item_id: int) -> dict[int, WitnessCard]:
    """What counts at each stage, by its number."""
    return {card.stage_number: card for card in witnesses_of(item_id)}
