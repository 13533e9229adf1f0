"""The heats in the unit, in its lots and components, with the chemistry that their mill certificates state."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from qcapp.goods.queries import papers_of_heat
from qcapp.production.queries.inside import heats_inside

from .record import Record

if TYPE_CHECKING:
    from qcapp.goods.queries import CertifiedCard
    from qcapp.production.queries.inside import HeatInside


@dataclass(frozen=True)
class Amount:
    """An element with its percentage of mass, or a property with its value, as the mill's certificate states it."""

    name: str
    value: str


@dataclass(frozen=True)
class MillPaper:
    """One mill certificate about a heat. The certificate itself is passed on unaltered, in the package."""

    number: str
    supplier: str
    specification: str
    condition: str
    size: str
    composition: tuple[Amount, ...]
    properties: tuple[Amount, ...]
    carbon_equivalent: str
    digest: str


@dataclass(frozen=True)
class HeatLine:
    """One heat, where it went, and its certificates."""

    heat: str
    supplier: str
    grade: str
    used: tuple[str, ...]
    papers: tuple[MillPaper, ...]


@dataclass(frozen=True)
class Materials:
    """The heats in the order of their numbers; `shown` is the family's choice."""

    shown: bool
    heats: tuple[HeatLine, ...]


def build(record: Record) -> Materials:
    """Every heat that the as-built record names."""
    if not record.choice.materials:
        return Materials(False, ())
    return Materials(True, heat_lines(heats_inside(record.standing.inspection.unit.item_id)))


def heat_lines(found: Iterable[HeatInside]) -> tuple[HeatLine, ...]:
    """The heats with what their papers say."""
    return tuple(
        HeatLine(
            heat=one.heat.number,
            supplier=one.heat.supplier,
            grade=one.heat.grade,
            used=one.used,
            papers=tuple(_paper(paper) for paper in papers_of_heat(one.heat.id)),
        )
        for one in found
    )


def _paper(card: CertifiedCard) -> MillPaper:
    return MillPaper(
        number=card.certificate_number,
        supplier=card.supplier,
        specification=card.specification,
        condition=card.condition,
        size=card.size,
        composition=_amounts(card.composition),
        properties=_amounts(card.properties),
        carbon_equivalent=card.carbon_equivalent,
        digest=card.paper_digest,
    )


def _amounts(stated: Mapping[str, str]) -> tuple[Amount, ...]:
    return tuple(Amount(name, value) for name, value in stated.items())
