"""What has to be proven about the parts and material in a unit before it is released."""

from __future__ import annotations

from qcapp.production.queries import units_of_items
from qcapp.production.queries.as_built import installed_in, used_in


def against_components(item_id: int) -> list[str]:
    """A sentence for each component that is not released or is on hold; empty when all are in order."""
    inside = installed_in([item_id])
    units = units_of_items(card.component_item_id for card in inside)
    found = []
    for card in inside:
        unit = units[card.component_item_id]
        if unit.on_hold:
            found.append(f"{unit.serial} is on hold")
        elif unit.state != "released":
            found.append(f"{unit.serial} is {unit.state_label}")
    return found


def against_material(item_id: int) -> list[str]:
    """A sentence for each lot or heat in the unit, or in the lots it took, that is not accepted."""
    direct = used_in([item_id])
    lots = [used.lot for used in direct if used.lot is not None]
    heats = {used.heat.id: used.heat for used in (*direct, *used_in(lot.item_id for lot in lots)) if used.heat}
    found = [f"lot {lot.code} is {lot.state_label}" for lot in lots if not lot.usable]
    return found + [f"heat {heat.number} is {heat.state_label}" for heat in heats.values() if not heat.usable]
