"""Components in and out of a unit, and the lots and heats that go into one: each a scan by a person in a place."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING

from django.db import transaction

from qcapp.audit import services as audit
from qcapp.audit.verbs import Verb
from qcapp.core.errors import Invalid, Refused
from qcapp.lib.plain_text import plain_text
from qcapp.people.roles import Act
from qcapp.people.services import require

from ..models import Consumption, Installation, Removal
from ..queries import UnitCard, open_holds, unit_by_id, units_of_items
from ..queries.as_built import (
    InstalledCard,
    UsedCard,
    heat_by_number,
    installations_of,
    items_above,
    lot_by_code,
    lot_of_piece,
    used_in,
)
from ..queries.places import place_by_code, unit_by_scan
from ..states import UnitState
from . import check_unit_in_the_house, lock_unit
from .lots import check_usable, lock_lot

if TYPE_CHECKING:
    from qcapp.people.models import Person


@transaction.atomic
def install_component(
    *, by: Person, serial: str, component_serial: str, link: str, at: datetime, place_code: str = ""
) -> InstalledCard:
    """The component, in the unit from now on: trial-fitted, delivered with it, or welded in for good.

    What was trial-fitted in the same unit is so no longer: the trial fit ends. Raises NotFound
    `serial_unknown`, `place_unknown`; Invalid `link_unknown`; Refused `component_itself`, `component_cycle`,
    `component_installed_already`, `component_on_hold`, `component_not_released`, `unit_not_in_build`, `unit_is_out` for
    either; for a piece of a lot `lot_is_out`, `lot_not_usable`, `lot_on_hold`.
    """
    require(by, Act.BUILD_IN, at)
    if link not in Installation.Link.values:
        raise Invalid("link_unknown", "A component is trial-fitted, delivered with the unit or welded in; say which.")
    place = place_by_code(place_code) if place_code.strip() else None
    unit, component = _both_locked(serial, component_serial)
    _check_unit(unit)
    _check_component(component)
    _check_place_in_tree(unit, component)
    _end_trial_fit(unit, component, link, by, at)
    row = Installation.objects.create(
        item_id=unit.item_id, component_id=component.item_id, link=link, place_id=place.id if place else None,
        by=by, at=at,
    )  # fmt: skip
    payload = {"component": component.serial, "link": link, "place": place.code if place else ""}
    audit.record(verb=Verb.COMPONENT_INSTALLED, actor=by.uuid, subject=f"unit {unit.serial}", at=at, payload=payload)
    return next(card for card in installations_of(component.item_id) if card.uuid == row.uuid)


def _both_locked(serial: str, component_serial: str) -> tuple[UnitCard, UnitCard]:
    """Unit and component, locked in the order of their keys, so that two acts never wait for each other."""
    unit, component = unit_by_scan(serial), unit_by_scan(component_serial)
    if unit.id == component.id:
        raise Refused("component_itself", f"{unit.serial} cannot be a component of itself; scan the component.")
    locked = {key: lock_unit(key) for key in sorted((unit.id, component.id))}
    return locked[unit.id], locked[component.id]


def _check_unit(unit: UnitCard) -> None:
    if unit.state != UnitState.IN_BUILD:
        message = f"{unit.serial} is {unit.state_label}; components go in and out while a unit is in build."
        raise Refused("unit_not_in_build", message)
    check_unit_in_the_house(unit)


def _check_component(component: UnitCard) -> None:
    """Raises Refused when the component may not go into anything, with the reason."""
    if component.on_hold:
        sources = ", ".join(hold.source for hold in open_holds(component.item_id))
        message = f"{component.serial} is on hold ({sources}); take another, or have the hold lifted first."
        raise Refused("component_on_hold", message)
    check_unit_in_the_house(component)
    lot = lot_of_piece(component.item_id)
    if lot is not None:
        check_usable(lot)
    if component.state == UnitState.SCRAPPED:
        raise Refused("component_scrapped", f"{component.serial} is scrapped; take another.")
    if component.state != UnitState.RELEASED:
        message = f"{component.serial} is {component.state_label}, not released; only a released component goes in."
        raise Refused("component_not_released", message)


def _check_place_in_tree(unit: UnitCard, component: UnitCard) -> None:
    """Raises Refused when the component is in a unit already, or the unit is inside the component."""
    above = items_above([unit.item_id])
    if component.item_id in above:
        message = f"{unit.serial} is itself inside {component.serial}; a part cannot hold what it is in."
        raise Refused("component_cycle", message)
    for card in installations_of(component.item_id):
        if card.removed_at is not None or (card.item_id == unit.item_id and card.link == "trial_fitted"):
            continue
        holder = units_of_items([card.item_id])[card.item_id]
        message = f"{component.serial} is in {holder.serial} ({card.link_label}) already; remove it there first."
        raise Refused("component_installed_already", message)


def _end_trial_fit(unit: UnitCard, component: UnitCard, link: str, by: Person, at: datetime) -> None:
    trial = _standing(unit, component)
    if trial is None:
        return
    if link == Installation.Link.TRIAL_FITTED:
        message = f"{component.serial} is trial-fitted in {unit.serial} already."
        raise Refused("component_installed_already", message)
    Removal.objects.create(
        installation=trial, reason=f"Trial fit ended: {Installation.Link(link).label} the unit.", by=by, at=at
    )


def _standing(unit: UnitCard, component: UnitCard) -> Installation | None:
    rows = Installation.objects.filter(item=unit.item_id, component=component.item_id, removal__isnull=True)
    return rows.first()


@transaction.atomic
def remove_component(*, by: Person, serial: str, component_serial: str, reason: str, at: datetime) -> UnitCard:
    """The component, taken out of the unit again; both stay in the record. What is welded in never comes out.

    Raises NotFound `serial_unknown`, Refused `not_installed`, `component_welded_in`, `unit_not_in_build`,
    `unit_is_out`, Invalid of `plain_text`.
    """
    require(by, Act.BUILD_IN, at)
    reason = plain_text("The reason", reason, longest=300)
    unit, component = _both_locked(serial, component_serial)
    if unit.state != UnitState.SCRAPPED:  # what can be taken out of a scrapped unit is, and is inspected
        _check_unit(unit)
    row = _standing(unit, component)
    if row is None:
        message = f"{component.serial} is not in {unit.serial}, so it cannot be removed; scan both again."
        raise Refused("not_installed", message)
    if row.link == Installation.Link.WELDED_IN:
        message = f"{component.serial} is welded into {unit.serial} and is not taken out; it goes where the unit goes."
        raise Refused("component_welded_in", message)
    Removal.objects.create(installation=row, reason=reason, by=by, at=at)
    payload = {"component": component.serial, "reason": reason}
    audit.record(verb=Verb.COMPONENT_REMOVED, actor=by.uuid, subject=f"unit {unit.serial}", at=at, payload=payload)
    return unit_by_id(component.id)


@transaction.atomic
def use_material(
    *, by: Person, serial: str, at: datetime, lot_code: str = "", heat_number: str = "", use: str = "",
    quantity: int | None = None,
) -> UsedCard:  # fmt: skip
    """A lot or a heat that went into the unit.

    Raises NotFound `serial_unknown`, `lot_unknown`, `heat_unknown`; Invalid `lot_or_heat`, `quantity_invalid`, of
    `plain_text`; Refused `lot_is_out`, `lot_not_usable`, `heat_not_accepted`, `lot_on_hold`, `lot_used_up`,
    `unit_not_in_build`, `unit_is_out`.
    """
    require(by, Act.BUILD_IN, at)
    if bool(lot_code.strip()) == bool(heat_number.strip()):
        raise Invalid("lot_or_heat", "Scan one lot or one heat.")
    unit = lock_unit(unit_by_scan(serial).id)
    _check_unit(unit)
    use = plain_text("What it is used for", use, longest=80, needed=False)
    what = _lot_to_use(lot_code, quantity) if lot_code.strip() else _heat_to_use(heat_number)
    Consumption.objects.create(item_id=unit.item_id, use=use, quantity=quantity, by=by, at=at, **what)
    payload = {"lot": lot_code.strip(), "heat": heat_number.strip(), "use": use, "quantity": quantity}
    audit.record(verb=Verb.MATERIAL_USED, actor=by.uuid, subject=f"unit {unit.serial}", at=at, payload=payload)
    return used_in([unit.item_id])[-1]


def _lot_to_use(code: str, quantity: int | None) -> dict[str, int]:
    if quantity is not None and quantity < 1:
        raise Invalid("quantity_invalid", "Use at least one piece of the lot.")
    lot = lock_lot(lot_by_code(code).id)
    check_usable(lot)
    taken = sum(row or 0 for row in Consumption.objects.filter(lot=lot.id).values_list("quantity", flat=True))
    if taken + (quantity or 0) > lot.quantity:
        message = f"Lot {lot.code} had {lot.quantity} pieces and {taken} are used; count them again."
        raise Refused("lot_used_up", message)
    return {"lot_id": lot.id}


def _heat_to_use(number: str) -> dict[str, int]:
    heat = heat_by_number(number)
    if not heat.usable:
        message = f"Heat {heat.number} is {heat.state_label}; only material of an accepted heat is used."
        raise Refused("heat_not_accepted", message)
    return {"heat_id": heat.id}
