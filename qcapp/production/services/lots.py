"""Heats, and lots made of them with their numbered pieces. The acts of goods-in call these inside their own."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from typing import TYPE_CHECKING
from uuid import UUID

from django.db import transaction

from qcapp.audit.services import next_number
from qcapp.core.errors import Invalid, NotFound, Refused
from qcapp.core.identification import lookup_key
from qcapp.lib.plain_text import plain_text

from ..models import Consumption, Heat, Item, Lot, Piece, Unit, UnitEvent
from ..queries import FamilyCard, UnitCard, family_by_code, open_holds, unit_by_id
from ..queries.as_built import HeatCard, LotCard, heat_by_number, heat_card, lot_by_code
from ..states import LOT_STATES, HeatState, LotState, UnitState

if TYPE_CHECKING:
    from qcapp.people.models import Person

LARGEST_LOT = 100_000


def enter_heat(*, by: Person, number: str, supplier: str, grade: str, at: datetime) -> HeatCard:
    """The heat of a supplier, entered once; asking again gives the same one. Inside the caller's transaction.

    Raises Invalid of `plain_text`, `heat_grade_differs`.
    """
    number = plain_text("The heat number", number, longest=40)
    supplier = plain_text("The supplier", supplier, longest=80)
    grade = plain_text("The grade", grade, longest=20)
    begin = {
        "lookup": lookup_key(number), "grade": grade, "state": HeatState.ENTERED, "entered_by": by, "entered_at": at,
    }  # fmt: skip
    with transaction.atomic():
        row, _ = Heat.objects.get_or_create(number=number, supplier=supplier, defaults=begin)
    if row.grade != grade:
        message = f"Heat {number} of {supplier} was entered as {row.grade}; one heat has one grade."
        raise Invalid("heat_grade_differs", message)
    return heat_card(row)


def lock_heat(heat_id: int) -> HeatCard:
    """The heat as it stands, locked until the end of the caller's transaction."""
    return heat_card(Heat.objects.select_for_update().get(pk=heat_id))


def set_heat_state(*, heat_id: int, state: HeatState) -> None:
    """What a signed decision made of the heat. Inside the transaction of the act that audits it."""
    Heat.objects.filter(pk=heat_id).update(state=state)


def create_lot(
    *, by: Person, family: FamilyCard, quantity: int, heat_numbers: Iterable[str], at: datetime
) -> LotCard:  # fmt: skip
    """A lot of the family made from accepted heats. Inside the caller's transaction, which audits it.

    Raises Invalid `quantity_invalid`, NotFound `heat_unknown`, Refused `heat_not_accepted`.
    """
    if not 1 <= quantity <= LARGEST_LOT:
        raise Invalid("quantity_invalid", f"A lot has from 1 to {LARGEST_LOT} pieces.")
    heats = [heat_by_number(number) for number in heat_numbers]
    for heat in heats:
        if not heat.usable:
            message = f"Heat {heat.number} is {heat.state_label}; nothing is made of it."
            raise Refused("heat_not_accepted", message)
    item = Item.objects.create(kind=Item.Kind.LOT, family_id=family.id)
    number = next_number(series=f"lot {family.code}")
    code = f"{family.code}-L{number:04}"
    Lot.objects.create(
        item=item, code=code, lookup=lookup_key(code), number=number, quantity=quantity, state=LotState.OPEN,
        opened_by=by, opened_at=at,
    )  # fmt: skip
    for heat in heats:
        Consumption.objects.create(item=item, heat_id=heat.id, by=by, at=at)
    return lot_by_code(code)


def item_of_goods(family_code: str) -> UUID:
    """A new item for goods of a family that have no lot of their own, such as what a delivery brought.

    Inside the caller's transaction, whose audit entry covers it. Raises NotFound `family_unknown`.
    """
    return Item.objects.create(kind=Item.Kind.LOT, family_id=family_by_code(family_code).id).uuid


def lock_lot(lot_id: int) -> LotCard:
    """The lot as it stands, its row locked until the end of the caller's transaction."""
    row = Lot.objects.select_for_update().filter(pk=lot_id).values_list("code", flat=True).first()
    if row is None:
        raise NotFound("lot_unknown", "That lot is not known here; read its label again.")
    return lot_by_code(row)


def move_lot(*, lot_id: int, move: str) -> LotCard:
    """The lot after a move of LOT_STATES. Raises TransitionNotAllowed."""
    lot = lock_lot(lot_id)
    Lot.objects.filter(pk=lot_id).update(state=LOT_STATES.next(lot.state, move))
    return lot_by_code(lot.code)


def set_lot_away(*, lot_id: int, away: bool) -> None:
    """Whether the lot is out for a process. Inside the transaction of the act that audits it."""
    Lot.objects.filter(pk=lot_id).update(away=away)


def check_in_the_house(lot: LotCard) -> None:
    """Raises Refused `lot_is_out` for a lot that was sent out and not received back."""
    if lot.away:
        message = f"Lot {lot.code} is out for a process, not in the house; receive it back with its certificate first."
        raise Refused("lot_is_out", message)


def check_usable(lot: LotCard) -> None:
    """Raises Refused `lot_is_out`, `lot_not_usable`, `lot_on_hold` for a lot of which nothing is used now."""
    check_in_the_house(lot)
    if not lot.usable:
        message = f"Lot {lot.code} is {lot.state_label}; only an accepted or sorted lot is used."
        raise Refused("lot_not_usable", message)
    if holds := open_holds(lot.item_id):
        sources = ", ".join(hold.source for hold in holds)
        message = f"Lot {lot.code} is on hold ({sources}); take another, or have the hold lifted first."
        raise Refused("lot_on_hold", message)


def create_piece(*, by: Person, lot: LotCard, number: int, at: datetime) -> UnitCard:
    """A piece of the lot, drawn: inspected as a unit is, under the lot's code with its number behind a dot."""
    if not 1 <= number <= lot.quantity:
        raise Invalid("piece_unknown", f"Lot {lot.code} has the pieces 1 to {lot.quantity}.")
    item = Item.objects.create(kind=Item.Kind.PIECE, family_id=lot.family_id)
    Piece.objects.create(item=item, lot_id=lot.id, number=number)
    serial = f"{lot.code}.{number:03}"
    unit = Unit.objects.create(
        item=item, serial=serial, lookup=lookup_key(serial), number=number, state=UnitState.IN_BUILD,
        opened_by=by, opened_at=at,
    )  # fmt: skip
    UnitEvent.objects.create(unit=unit, move="open", state=unit.state, by=by, at=at)
    return unit_by_id(unit.pk)


def take_out(*, lot_id: int, count: int) -> LotCard:
    """The lot without so many pieces that were found bad. Inside the caller's transaction, which audits it.

    Raises Invalid `quantity_invalid` when nothing would be left.
    """
    lot = lock_lot(lot_id)
    if not 0 <= count < lot.quantity:
        raise Invalid("quantity_invalid", f"Lot {lot.code} has {lot.quantity} pieces; {count} cannot be taken out.")
    Lot.objects.filter(pk=lot_id).update(quantity=lot.quantity - count)
    return lot_by_code(lot.code)
