"""What a report's units were made of by the as-built record, and which other units hold the same."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from qcapp.goods.queries import deliveries_of_heats, heats_of_deliveries
from qcapp.production.queries.as_built import (
    DEEPEST,
    HeatCard,
    LotCard,
    installed_in,
    items_above,
    items_of_heats,
    used_in,
)
from qcapp.production.queries.welding import items_with_filler, weld_starts_of
from qcapp.production.queries.where_used import pieces_of_lots


@dataclass(frozen=True)
class Holders:
    """What is shared, by name, and the items that hold one of it."""

    names: list[str] = field(default_factory=list)
    items: set[int] = field(default_factory=set)


@dataclass(frozen=True)
class Material:
    """The heats and lots in an item, at every level: in its lots and its components too."""

    heats: Mapping[int, HeatCard] = field(default_factory=dict)
    lots: Mapping[int, LotCard] = field(default_factory=dict)


def material_of(item_ids: Iterable[int]) -> Material:
    """What went into these items; two queries a level."""
    heats: dict[int, HeatCard] = {}
    lots: dict[int, LotCard] = {}
    seen = frontier = set(item_ids)
    for _ in range(DEEPEST):
        below = {card.component_item_id for card in installed_in(frontier)}
        for used in used_in(frontier):
            if used.heat is not None:
                heats[used.heat.id] = used.heat
            if used.lot is not None:
                lots[used.lot.id] = used.lot
                below.add(used.lot.item_id)
        frontier = below - seen
        if not frontier:
            break
        seen = seen | frontier
    return Material(heats, lots)


def holders_of_heats(material: Material) -> Holders:
    """The heats, and every item that holds one of them."""
    return Holders([heat.number for heat in material.heats.values()], items_of_heats(material.heats))


def holders_of_lots(material: Material, also: Mapping[str, int] | None = None) -> Holders:
    """The lots, and every item that holds one of them; `also` names further lots by their items."""
    named = {lot.code: lot.item_id for lot in material.lots.values()} | dict(also or {})
    inside = {*named.values(), *pieces_of_lots(named.values())} if named else set()
    return Holders(list(named), items_above(inside) if inside else set())


def holders_of_fillers(item_id: int, joint: str) -> Holders:
    """The lots of filler of this joint, or of every joint, and every item that was welded with one of them."""
    starts = [one for one in weld_starts_of(item_id) if not joint or joint in one.joints]
    lots = list(dict.fromkeys(one.filler_lot for one in starts))
    return Holders(lots, set().union(*items_with_filler(lots).values()) if lots else set())


def holders_of_deliveries(material: Material, named: str) -> Holders:
    """The delivery named, or those that brought the heats, and every item with a heat that came with one of them."""
    numbers = [named] if named else list(deliveries_of_heats(material.heats))
    return Holders(numbers, items_of_heats(heats_of_deliveries(numbers)) if numbers else set())
