"""What a report's units were made of by the as-built record, and which other units hold the same."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field

from qcapp.goods.queries import deliveries_of_heats, heats_of_delivery
from qcapp.production.queries.as_built import (
    DEEPEST,
    HeatCard,
    LotCard,
    installed_in,
    items_above,
    items_of_heat,
    used_in,
)
from qcapp.production.queries.welding import items_with_filler, weld_starts_of

Holders = dict[str, set[int]]  # by what is shared, the items that hold it


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
    """By heat, every item that holds it."""
    return {heat.number: items_of_heat(heat.id) for heat in material.heats.values()}


def holders_of_lots(material: Material) -> Holders:
    """By lot, every item that holds it."""
    return {lot.code: items_above([lot.item_id]) for lot in material.lots.values()}


def holders_of_fillers(item_id: int, joint: str) -> Holders:
    """By lot of filler, every item that was welded with it: the lots of this joint, or of every joint."""
    starts = [one for one in weld_starts_of(item_id) if not joint or joint in one.joints]
    return {lot: set(items) for lot, items in items_with_filler({one.filler_lot for one in starts}).items()}


def holders_of_deliveries(material: Material, named: str) -> Holders:
    """By delivery, every item with a heat that came with it: the one named, and those that brought its heats."""
    numbers = [named] if named else list(deliveries_of_heats(material.heats))
    return {number: _holding(heats_of_delivery(number)) for number in numbers}


def _holding(heat_ids: Collection[int]) -> set[int]:
    return set().union(*(items_of_heat(heat_id) for heat_id in heat_ids))
