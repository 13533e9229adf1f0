"""The writers of customers and orders, the signed dispatch of a unit, and what happens to it afterwards."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import date, datetime
from textwrap import shorten
from typing import TYPE_CHECKING
from uuid import UUID

from django.db import IntegrityError, transaction

from qcapp.audit import services as audit
from qcapp.audit.verbs import Verb
from qcapp.certificates.as_built_checks import against_parts
from qcapp.certificates.queries import CertificateCard, certificates_of
from qcapp.core.errors import Conflict, Invalid, Refused
from qcapp.core.identification import lookup_key
from qcapp.core.sealing import canonical, digest
from qcapp.evidence.services.keeping import keep_picture
from qcapp.lib.plain_text import plain_text
from qcapp.lib.site_days import site_day
from qcapp.nonconformance.services.by_hand import raise_by_hand
from qcapp.people.roles import Act
from qcapp.people.services import require, write_signature
from qcapp.production.queries import UnitCard, open_holds, unit_by_serial
from qcapp.production.queries.as_built import installations_of
from qcapp.production.services import check_unit_in_the_house, lock_unit, move_unit

from .models import Customer, Dispatch, Order, ServiceEvent, ServicePhoto
from .queries import (
    CustomerCard,
    DispatchCard,
    EventCard,
    OrderCard,
    customer_by_number,
    dispatches,
    events_of,
    order_by_number,
)

if TYPE_CHECKING:
    from qcapp.people.models import Person
    from qcapp.people.services import Proof

_NUMBER = re.compile(r"[A-Za-z0-9][A-Za-z0-9./-]{0,19}")
MOST_PHOTOS = 12
LONGEST_TITLE = 100  # of the report that an event raises
SHOWN = 3  # parts named in a refusal


def add_customer(*, by: Person, number: str, name: str, at: datetime, contact: str = "") -> CustomerCard:
    """A new customer. The chain keeps the number, never the name. Raises Invalid `customer_number`, of `plain_text`,
    Conflict `customer_taken`.
    """
    require(by, Act.KEEP_ORDERS, at)
    number = number.strip()
    if not _NUMBER.fullmatch(number):
        raise Invalid("customer_number", "A customer's number is letters, digits and . / - only, such as C-104.")
    name = plain_text("The name", name, longest=120)
    contact = plain_text("The contact", contact, longest=200, needed=False)
    with transaction.atomic():
        try:
            with transaction.atomic():
                Customer.objects.create(number=number, name=name, lookup=lookup_key(name), contact=contact)
        except IntegrityError:
            raise Conflict("customer_taken", f"There is a customer {number} already; use it.") from None
        subject = f"customer {number}"
        audit.record(verb=Verb.CUSTOMER_ADDED, actor=by.uuid, subject=subject, at=at, payload={"number": number})
    return customer_by_number(number)


def add_order(
    *, by: Person, number: str, customer_number: str, approves_concessions: bool = False, due_on: date | None = None,
    at: datetime,
) -> OrderCard:  # fmt: skip
    """An order of a customer, who may want to approve each concession on its units; `due_on` says when it is to leave.

    Raises NotFound `customer_unknown`, Invalid of `plain_text`, Conflict `order_taken`.
    """
    require(by, Act.KEEP_ORDERS, at)
    number = plain_text("The order number", number, longest=40)
    customer = customer_by_number(customer_number)
    with transaction.atomic():
        try:
            with transaction.atomic():
                Order.objects.create(
                    number=number, lookup=lookup_key(number), customer_id=customer.id,
                    approves_concessions=approves_concessions, due_on=due_on, by=by, at=at,
                )  # fmt: skip
        except IntegrityError:
            raise Conflict("order_taken", f"There is an order {number} already; use it.") from None
        payload = {"customer": customer.number, "approves_concessions": approves_concessions, "due_on": _day(due_on)}
        audit.record(verb=Verb.ORDER_ADDED, actor=by.uuid, subject=f"order {number}", at=at, payload=payload)
    return order_by_number(number)


@transaction.atomic
def set_due(*, by: Person, order_number: str, due_on: date | None, at: datetime) -> OrderCard:
    """The order, due on another day, or on none.

    Raises NotAllowed, NotFound `order_unknown`, Conflict `due_unchanged`.
    """
    require(by, Act.KEEP_ORDERS, at)
    row = Order.objects.select_for_update().get(pk=order_by_number(order_number).id)
    if row.due_on == due_on:
        raise Conflict("due_unchanged", f"Order {row.number} is due then already; nothing was changed.")
    payload = {"before": _day(row.due_on), "after": _day(due_on)}
    row.due_on = due_on
    row.save(update_fields=["due_on"])
    audit.record(verb=Verb.ORDER_DUE_CHANGED, actor=by.uuid, subject=f"order {row.number}", at=at, payload=payload)
    return order_by_number(row.number)


def _day(day: date | None) -> str | None:
    return None if day is None else day.isoformat()


# -------------------------------------------------------------------------------------------------- dispatch


@transaction.atomic
def dispatch(
    *, proof: Proof, serial: str, order_number: str, certificate_number: str, issue: int, at: datetime
) -> DispatchCard:
    """The unit handed over on an order with this issue of its certificate. A signed act.

    What is built in counts as well: a component, lot or heat that was held since the release keeps the unit here.
    Raises Refused `unit_not_released`, `unit_on_hold`, `unit_is_out`, `unit_not_certified`, `certificate_not_current`,
    `unit_is_installed`, `parts_not_in_order`; NotFound `serial_unknown`, `order_unknown`; NotAllowed.
    """
    require(proof.person, Act.DISPATCH_UNIT, at)
    unit = lock_unit(unit_by_serial(serial).id)
    _check_may_leave(unit)
    order = order_by_number(order_number)
    certificate = _certificate(unit, certificate_number, issue)
    payload = {"order": order.number, "customer": order.customer.number, "certificate": certificate.number}
    covered = payload | {"issue": certificate.issue, "digest": certificate.digest, "serial": unit.serial}
    signature = write_signature(
        proof=proof, act=Act.DISPATCH_UNIT, subject=f"unit {unit.serial}", covers=digest(canonical(covered)), at=at,
        meaning=f"I hand over {unit.serial} on order {order.number} with certificate {certificate.number} "
        f"issue {certificate.issue}.",
    )  # fmt: skip
    Dispatch.objects.create(
        item_id=unit.item_id, order_id=order.id, certificate_id=certificate.id, signature=signature, at=at
    )
    move_unit(by=proof.person, unit_id=unit.id, move="dispatch", reason="", at=at)
    payload |= {"issue": str(certificate.issue), "role": signature.role}
    subject = f"unit {unit.serial}"
    audit.record(verb=Verb.UNIT_DISPATCHED, actor=proof.person.uuid, subject=subject, at=at, payload=payload)
    return dispatches([unit.item_id])[unit.item_id]


def _check_may_leave(unit: UnitCard) -> None:
    """Raises Refused while anything stands against handing the unit over."""
    if unit.on_hold:
        sources = ", ".join(hold.source for hold in open_holds(unit.item_id))
        raise Refused("unit_on_hold", f"{unit.serial} is on hold ({sources}); it stays until the hold is lifted.")
    check_unit_in_the_house(unit)
    if unit.state != "released":
        raise Refused("unit_not_released", f"{unit.serial} is {unit.state_label}; only a released unit leaves.")
    if any(card.removed_at is None for card in installations_of(unit.item_id)):
        raise Refused("unit_is_installed", f"{unit.serial} is a component of another unit and leaves with it.")
    if against := against_parts(unit.item_id):
        message = f"{unit.serial} stays: {'; '.join(against[:SHOWN])}. Have that put in order, or the part replaced."
        raise Refused("parts_not_in_order", message)


def _certificate(unit: UnitCard, number: str, issue: int) -> CertificateCard:
    """The issue handed over, which has to be the current one."""
    cards = certificates_of(unit.item_id)
    if not cards:
        raise Refused("unit_not_certified", f"{unit.serial} has no certificate; have it issued first.")
    chosen = [card for card in cards if card.number == number.strip() and card.issue == issue]
    if not chosen or chosen[0].standing != "current":
        current = next((card for card in cards if card.standing == "current"), None)
        if current is None:
            raise Refused("certificate_not_current", f"No certificate of {unit.serial} stands; have one issued first.")
        number, last = current.number, current.issue
        message = f"{unit.serial} leaves with its current certificate; hand over {number} issue {last}."
        raise Refused("certificate_not_current", message)
    return chosen[0]


# --------------------------------------------------------------------------------------------- service events


@transaction.atomic
def record_event(
    *, by: Person, serial: str, kind: str, happened_on: date, text: str, at: datetime,
    photos: Sequence[tuple[str, bytes]] = (), report_severity: str = "",
) -> EventCard:  # fmt: skip
    """What happened to a unit after it left, with photos; with `report_severity` it raises a report as well.

    Raises Invalid `event_kind`, `event_later`, `too_many_photos`, of `plain_text` and `keep_picture`; NotFound
    `serial_unknown`; and as `raise_by_hand`.
    """
    require(by, Act.RECORD_SERVICE, at)
    if kind not in ServiceEvent.Kind.values:
        raise Invalid("event_kind", "A service event is a complaint, accident, repair, warranty or recall work.")
    if happened_on > site_day(at):
        raise Invalid("event_later", "A service event cannot lie in the future; correct the date.")
    if len(photos) > MOST_PHOTOS:
        raise Invalid("too_many_photos", f"Keep at most {MOST_PHOTOS} photos with one event.")
    text = plain_text("What happened", " ".join(text.split()), longest=600)
    unit = lock_unit(unit_by_serial(serial).id)
    report = _raised(by, unit, text, report_severity, at)
    row = ServiceEvent.objects.create(
        item_id=unit.item_id, kind=kind, happened_on=happened_on, text=text, report=report, by=by, at=at
    )
    kept = [keep_picture(by=by, content=content, name=name, at=at) for name, content in photos]
    for card in kept:
        ServicePhoto.objects.create(event=row, photo_id=card.id)
    payload = {"kind": kind, "on": happened_on.isoformat(), "text": text, "photos": [card.digest for card in kept]}
    payload |= {"report": report}
    audit.record(verb=Verb.SERVICE_RECORDED, actor=by.uuid, subject=f"unit {unit.serial}", at=at, payload=payload)
    return _recorded(unit.item_id, row.uuid)


def _raised(by: Person, unit: UnitCard, text: str, severity: str, at: datetime) -> str:
    if not severity:
        return ""
    title = shorten(f"After dispatch: {text}", LONGEST_TITLE, placeholder=" …")
    return raise_by_hand(by=by, serial=unit.serial, title=title, description=text, severity=severity, at=at)


def _recorded(item_id: int, uuid: UUID) -> EventCard:
    return next(card for card in events_of(item_id) if card.uuid == uuid)
