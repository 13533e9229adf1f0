"""Stations: places where the units of a family wait at a stage."""

from __future__ import annotations

from dataclasses import dataclass

from qcapp.core.errors import NotFound
from qcapp.lib.plain_text import shown

from ..models import Place, StationStage


@dataclass(frozen=True)
class StationCard:
    """A station and what is inspected there, by family: `{"FR-200": (4, 5)}`."""

    code: str
    name: str
    stages: dict[str, tuple[int, ...]]

    def takes(self, family_code: str, stage_number: int | None) -> bool:
        """Whether a unit of the family that stands at this stage waits here."""
        return stage_number in self.stages.get(family_code, ())


def stations() -> list[StationCard]:
    """Every place with a stage, by its code."""
    found: dict[int, StationCard] = {}
    rows = StationStage.objects.select_related("place", "family")
    for row in rows.order_by("place__code", "family__code", "stage_number"):
        card = found.setdefault(row.place_id, StationCard(row.place.code, row.place.name, {}))
        card.stages[row.family.code] = (*card.stages.get(row.family.code, ()), row.stage_number)
    return list(found.values())


def station_named(said: str) -> StationCard | None:
    """The station with this code or name, its case aside; None for what is none."""
    wanted = said.strip().casefold()
    return next((card for card in stations() if wanted in (card.code.casefold(), card.name.casefold())), None)


def place_id_of(code: str) -> int:
    """The key of a place. Raises NotFound `place_unknown`."""
    row = Place.objects.filter(code__iexact=code.replace("\0", "")).first()
    if row is None:
        raise NotFound("place_unknown", f"There is no place {shown(code)}; name it first, under Goods.")
    return row.pk
