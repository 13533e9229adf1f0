"""First articles of a family, and for which of them a unit waits."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING
from uuid import UUID

from ..models import FirstArticle

if TYPE_CHECKING:
    from qcapp.production.queries import UnitCard


@dataclass(frozen=True)
class ArticleCard:
    """One first article; `accepted` is None until it is decided."""

    uuid: UUID
    serial: str
    unit_number: int
    stage_number: int
    cause: str
    about: str
    by_name: str
    at: datetime
    accepted: bool | None
    reason: str
    decided_by_name: str
    decided_at: datetime | None

    @property
    def state(self) -> str:
        return {None: "waits", True: "accepted", False: "not accepted"}[self.accepted]

    @property
    def name(self) -> str:
        """How a refusal names it."""
        return f"{self.serial} (stage {self.stage_number}, {self.cause}: {self.about})"


def first_articles(family_id: int) -> list[ArticleCard]:
    """The family's first articles, the latest first."""
    rows = FirstArticle.objects.filter(family=family_id).select_related("by", "item__unit")
    rows = rows.select_related("decision__signature__person").order_by("-id")
    return [_card(row) for row in rows]


def _card(row: FirstArticle) -> ArticleCard:
    decision = getattr(row, "decision", None)
    return ArticleCard(
        uuid=row.uuid,
        serial=row.item.unit.serial,
        unit_number=row.unit_number,
        stage_number=row.stage_number,
        cause=row.get_cause_display(),
        about=row.about,
        by_name=row.by.name,
        at=row.at,
        accepted=decision.accepted if decision else None,
        reason=decision.reason if decision else "",
        decided_by_name=decision.signature.person.name if decision else "",
        decided_at=decision.at if decision else None,
    )


def waits_for(unit: UnitCard, stage_number: int) -> list[ArticleCard]:
    """The first articles that keep this unit from signing the stage: of a lower running number, not accepted.

    For one stage and cause the latest first article counts: an accepted one ends the waiting for those before it.
    """
    latest: dict[tuple[int, str, str], ArticleCard] = {}
    for card in reversed(first_articles(unit.family_id)):
        latest[card.stage_number, card.cause, card.about.casefold()] = card
    return [
        card
        for card in latest.values()
        if not card.accepted and card.unit_number < unit.number and card.stage_number <= stage_number
    ]
