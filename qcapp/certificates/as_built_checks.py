"""What stands against a unit because of what is built into it: components at every level, their lots and heats."""

from __future__ import annotations

from qcapp.production.queries import held_items, units_of_items
from qcapp.production.queries.as_built import used_in
from qcapp.production.queries.inside import components_inside
from qcapp.production.states import USABLE_LOTS


def against_parts(item_id: int) -> list[str]:
    """A sentence for each component, lot and heat that is not in order; empty when all are.

    A component is released and a lot is accepted or sorted, either in the house and free of holds; a heat is accepted.
    """
    inside = [card.component_item_id for card in components_inside(item_id)]
    return _against_components(inside) + _against_material([item_id, *inside])


def _against_components(inside: list[int]) -> list[str]:
    units = units_of_items(inside) if inside else {}
    found = []
    for unit in units.values():
        if unit.on_hold:
            found.append(f"{unit.serial} is on hold")
        elif unit.away:
            found.append(f"{unit.serial} is out for a process")
        elif unit.state != "released":
            found.append(f"{unit.serial} is {unit.state_label}")
    return found


def _against_material(items: list[int]) -> list[str]:
    direct = used_in(items)
    lots = {used.lot.id: used.lot for used in direct if used.lot is not None}
    in_lots = used_in(lot.item_id for lot in lots.values()) if lots else []
    heats = {used.heat.id: used.heat for used in (*direct, *in_lots) if used.heat}
    held = held_items([lot.item_id for lot in lots.values()]) if lots else frozenset()
    found = [f"lot {lot.code} is on hold" for lot in lots.values() if lot.item_id in held]
    found += [f"lot {lot.code} is {lot.state_label}" for lot in lots.values() if lot.state not in USABLE_LOTS]
    found += [f"lot {lot.code} is out for a process" for lot in lots.values() if lot.away]
    return found + [f"heat {heat.number} is {heat.state_label}" for heat in heats.values() if not heat.usable]
