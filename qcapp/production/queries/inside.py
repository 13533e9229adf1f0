"""What is inside an item at any depth, as lists: its components, and the heats with where they went."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from ..models import Lot
from .as_built import DEEPEST, HeatCard, InstalledCard, UsedCard, installed_in, used_in


@dataclass(frozen=True)
class HeatInside:
    """A heat, and the places it went to: "lot TK-200-L0001, main tubes"."""

    heat: HeatCard
    used: tuple[str, ...]


def components_inside(item_id: int) -> list[InstalledCard]:
    """The components that are in the item now, level by level; a query a level."""
    found: list[InstalledCard] = []
    level, seen = [item_id], {item_id}
    for _ in range(DEEPEST):
        new = [card for card in installed_in(level) if card.component_item_id not in seen]
        if not new:
            break
        found += new
        level = [card.component_item_id for card in new]
        seen.update(level)
    return found


def heats_inside(item_id: int) -> list[HeatInside]:
    """The heats of the item, of its lots and of its components, by number."""
    inside = {card.component_item_id: card.serial for card in components_inside(item_id)}
    direct = used_in([item_id, *inside])
    lots = {one.lot.item_id: _through(one, inside) for one in direct if one.lot is not None}
    found = [(one, _named(one, inside)) for one in direct] + [(one, lots[one.item_id]) for one in used_in(lots)]
    return _gathered(found)


def heats_of_lot(lot_item_id: int) -> list[HeatInside]:
    """The heats that a lot was made from, by number."""
    return _gathered((one, one.use) for one in used_in([lot_item_id]))


def _gathered(found: Iterable[tuple[UsedCard, str]]) -> list[HeatInside]:
    heats: dict[int, HeatCard] = {}
    used: dict[int, dict[str, None]] = {}
    for one, place in found:
        if one.heat is not None:
            heats[one.heat.id] = one.heat
            used.setdefault(one.heat.id, {}).update({place: None} if place else {})
    ordered = sorted(heats.values(), key=lambda heat: (heat.number, heat.supplier))
    return [HeatInside(heat, tuple(used[heat.id])) for heat in ordered]


def _through(one: UsedCard, inside: dict[int, str]) -> str:
    named = _named(one, inside)
    return f"lot {one.lot.code}{', ' if named else ''}{named}" if one.lot else named


def _named(one: UsedCard, inside: dict[int, str]) -> str:
    """The use, and the component that it is in: "seat tube of AX-200-0004"."""
    component = inside.get(one.item_id, "")
    return " of ".join(part for part in (one.use, component) if part)


def opener_of_lot(lot_id: int) -> int:
    """Who opened the lot, by key."""
    return Lot.objects.values_list("opened_by_id", flat=True).get(pk=lot_id)
