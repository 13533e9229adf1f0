"""Plating, coating and heat treatment outside: a lot or a unit sent out, and received back with its certificate."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import TYPE_CHECKING

from django.db import transaction

from qcapp.audit import services as audit
from qcapp.audit.verbs import Verb
from qcapp.core.errors import Invalid, NotFound, Refused
from qcapp.evidence.services.keeping import keep_paper
from qcapp.lib.plain_text import plain_text, shown
from qcapp.lib.site_days import site_day
from qcapp.people.roles import Act
from qcapp.people.services import require
from qcapp.production.queries import UnitCard, open_holds
from qcapp.production.queries.as_built import LotCard, installations_of, lot_by_code
from qcapp.production.queries.places import unit_by_scan
from qcapp.production.services import check_unit_in_the_house, lock_unit, set_unit_away
from qcapp.production.services.lots import check_in_the_house, lock_lot, set_lot_away
from qcapp.production.states import LotState, UnitState

from ..models import OutsideProcess, OutsideReturn
from ..queries import DeliveryCard, delivery_by_number
from .holding import refuse_held_lot

if TYPE_CHECKING:
    from qcapp.people.models import Person

GONE = frozenset({UnitState.DISPATCHED, UnitState.SCRAPPED})


@dataclass(frozen=True)
class _Sent:
    """The lot or unit behind a scanned code, locked."""

    thing: LotCard | UnitCard

    @property
    def is_unit(self) -> bool:
        return isinstance(self.thing, UnitCard)

    @property
    def name(self) -> str:
        """How a sentence calls it: by its serial or its code."""
        return self.thing.serial if isinstance(self.thing, UnitCard) else self.thing.code

    @property
    def subject(self) -> str:
        """How the audit calls it."""
        return f"unit {self.name}" if self.is_unit else f"lot {self.name}"

    def set_away(self, *, away: bool) -> None:
        if isinstance(self.thing, UnitCard):
            set_unit_away(unit_id=self.thing.id, away=away)
        else:
            set_lot_away(lot_id=self.thing.id, away=away)


def _scanned(code: str) -> _Sent:
    """The unit or lot with this code, locked. Raises NotFound `code_unknown`."""
    try:
        return _Sent(lock_unit(unit_by_scan(code).id))
    except NotFound:
        try:
            return _Sent(lock_lot(lot_by_code(code).id))
        except NotFound:
            message = f"There is no unit or lot {shown(code)}; scan its label again."
            raise NotFound("code_unknown", message) from None


@transaction.atomic
def send_out(*, by: Person, code: str, kind: str, supplier: str, high_strength: bool, at: datetime) -> None:
    """The lot or unit with this code, sent out for plating, coating or heat treatment.

    Until it is received back it is not in the house: a lot is used for nothing, a unit is neither moved, built in,
    released nor dispatched. Raises Invalid `process_unknown`, of `plain_text`; Refused `lot_is_out`, `lot_on_hold`,
    `lot_refused`, `unit_is_out`, `unit_on_hold`, `unit_not_here`, `piece_of_lot`, `unit_is_installed`;
    NotFound `code_unknown`.
    """
    require(by, Act.KEEP_GOODS, at)
    sent = _scanned(code)
    if isinstance(sent.thing, UnitCard):
        _check_may_go(sent.thing)
    else:
        refuse_held_lot(sent.thing)
        check_in_the_house(sent.thing)
        if sent.thing.state == LotState.REFUSED:
            message = f"Lot {sent.name} is refused; sort every piece of it before it is sent out."
            raise Refused("lot_refused", message)
    if kind not in OutsideProcess.Kind.values:
        raise Invalid("process_unknown", "What goes out is plated, coated or heat-treated there; say which.")
    supplier = plain_text("Who does it", supplier, longest=80)
    sent.set_away(away=True)
    OutsideProcess.objects.create(
        item_id=sent.thing.item_id, kind=kind, supplier=supplier, high_strength=high_strength, by=by, at=at
    )
    payload = {"kind": kind, "supplier": supplier, "high_strength": high_strength}
    verb = Verb.UNIT_SENT_OUT if sent.is_unit else Verb.LOT_SENT_OUT
    audit.record(verb=verb, actor=by.uuid, subject=sent.subject, at=at, payload=payload)


def _check_may_go(unit: UnitCard) -> None:
    """Raises Refused while anything stands against sending the unit out. What is trial-fitted comes off for it."""
    if unit.state in GONE:
        message = f"{unit.serial} is {unit.state_label}; only a unit that is in the workshop is sent out."
        raise Refused("unit_not_here", message)
    check_unit_in_the_house(unit)
    if unit.on_hold:
        sources = ", ".join(hold.source for hold in open_holds(unit.item_id))
        raise Refused("unit_on_hold", f"{unit.serial} is on hold ({sources}); have the hold lifted first.")
    if unit.is_piece:
        raise Refused("piece_of_lot", f"{unit.serial} is a piece of a lot; send the lot out.")
    if any(one.removed_at is None and one.link != "trial_fitted" for one in installations_of(unit.item_id)):
        message = f"{unit.serial} is a component of another unit; send that unit out, or remove it there first."
        raise Refused("unit_is_installed", message)


@transaction.atomic
def receive_back(
    *, by: Person, code: str, delivery_number: str, paper: bytes, paper_name: str, at: datetime,
    bake_hours: Decimal | None = None, bake_temperature: Decimal | None = None,
) -> None:  # fmt: skip
    """The lot or unit, back on a delivery with the certificate of the process.

    Raises Refused `bake_time_missing` for plated high-strength parts without one, `lot_not_out`, `unit_not_out`,
    `delivery_of_another`, `delivery_before_sent`; NotFound.
    """
    require(by, Act.KEEP_GOODS, at)
    sent = _scanned(code)
    out = OutsideProcess.objects.filter(item=sent.thing.item_id, returned__isnull=True).first()
    if out is None:
        said = f"{sent.name} was not sent out; what comes in is a delivery of its own."
        raise Refused("unit_not_out" if sent.is_unit else "lot_not_out", said)
    if out.kind == OutsideProcess.Kind.PLATING and out.high_strength and not _baked(bake_hours, bake_temperature):
        message = "Plated high-strength parts are baked against hydrogen; enter bake time and temperature as certified."
        raise Refused("bake_time_missing", message)
    delivery = delivery_by_number(delivery_number)
    _check_return(sent, out, delivery)
    sent.set_away(away=False)
    kept = keep_paper(by=by, content=paper, name=paper_name, at=at)
    OutsideReturn.objects.create(
        process=out, delivery_id=delivery.id, paper_id=kept.id, bake_hours=bake_hours,
        bake_temperature=bake_temperature, by=by, at=at,
    )  # fmt: skip
    bake = {"hours": str(bake_hours or ""), "temperature": str(bake_temperature or "")}
    payload = {"kind": out.kind, "delivery": delivery.number, "paper": kept.digest, "bake": bake}
    verb = Verb.UNIT_RECEIVED_BACK if sent.is_unit else Verb.LOT_RECEIVED_BACK
    audit.record(verb=verb, actor=by.uuid, subject=sent.subject, at=at, payload=payload)


def _check_return(sent: _Sent, out: OutsideProcess, delivery: DeliveryCard) -> None:
    """Raises Refused for a delivery that cannot be the one on which it came back."""
    if delivery.supplier.casefold() != out.supplier.casefold():
        message = (
            f"{delivery.number} came from {delivery.supplier}; {sent.name} was sent to {out.supplier}. "
            "Receive what came back as a delivery of that firm first."
        )
        raise Refused("delivery_of_another", message)
    if site_day(delivery.received_at) < site_day(out.at):
        day = site_day(out.at)
        message = (
            f"{delivery.number} came in before {sent.name} was sent out on {day.day} {day:%b %Y}; "
            "choose the delivery that it came back on."
        )
        raise Refused("delivery_before_sent", message)


def _baked(hours: Decimal | None, temperature: Decimal | None) -> bool:
    return hours is not None and temperature is not None and hours > 0 and temperature > 0
