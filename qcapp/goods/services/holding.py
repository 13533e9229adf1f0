"""A delivery on hold: its heats, lots and units with it, so that nothing of it is issued or used until a signed act."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from typing import TYPE_CHECKING
from uuid import UUID

from django.db import transaction

from qcapp.audit import services as audit
from qcapp.audit.verbs import Verb
from qcapp.core.errors import Conflict, NotFound, Refused
from qcapp.core.sealing import canonical, digest
from qcapp.lib.plain_text import plain_text
from qcapp.people.roles import Act
from qcapp.people.services import require, write_signature
from qcapp.production.queries import UnitCard, open_holds
from qcapp.production.queries.as_built import HeatCard, LotCard, lots_of_heats
from qcapp.production.services import lift_hold_of_source, lock_item, place_hold
from qcapp.production.services.lots import lock_heat, set_heat_state
from qcapp.production.states import HeatState

from ..models import Delivery, DeliveryHold, DeliveryHoldLift, GradeCheck, HeatDecision
from ..queries import DeliveryCard, delivery_by_number, heats_in
from ..queries.held import HeldCard, holds_of_delivery, holds_on_heat, lots_in, open_hold_rows, units_in

if TYPE_CHECKING:
    from qcapp.people.models import Person, Signature
    from qcapp.people.services import Proof

STOPPED = frozenset({HeatState.ENTERED, HeatState.ACCEPTED})


@transaction.atomic
def hold_delivery(*, by: Person, delivery_number: str, reason: str, at: datetime) -> HeldCard:
    """The hold placed by hand; whoever may raise a report may stop a delivery.

    Raises NotAllowed, NotFound `delivery_unknown`, Conflict `delivery_held_already`, Invalid of `plain_text`.
    """
    require(by, Act.RAISE_REPORT, at)
    reason = plain_text("The reason", " ".join(reason.split()), longest=300)
    delivery = delivery_by_number(delivery_number)
    lock_delivery(delivery.id)
    mine = [hold for hold in holds_of_delivery(delivery.id) if hold.by_hand]
    if any(hold.is_open for hold in mine):
        message = f"{delivery.number} is on hold already: {mine[-1].reason} Lift that hold first, or leave it."
        raise Conflict("delivery_held_already", message)
    return place(by, delivery, f"{delivery.number} hold {len(mine) + 1}", reason, at)


def lock_delivery(delivery_id: int) -> None:
    """Lock the delivery, then its heats, then its lots and units, by their keys, till the caller's transaction ends."""
    list(Delivery.objects.select_for_update().filter(pk=delivery_id).values_list("pk"))
    heats = heats_in(delivery_id)
    for heat_id in sorted(heats):
        lock_heat(heat_id)
    for item_id in sorted([*_items(_lots(delivery_id, heats)), *_items(units_in(delivery_id))]):
        lock_item(item_id)


def place(by: Person, delivery: DeliveryCard, source: str, reason: str, at: datetime) -> HeldCard:
    """The hold of `source`. The caller has locked the delivery; the audit entry is the last statement."""
    heats = [lock_heat(heat_id) for heat_id in sorted(heats_in(delivery.id))]
    before = _states_before(heats)
    row = DeliveryHold.objects.create(
        delivery_id=delivery.id, source=source, reason=reason, heats=before, by=by, at=at
    )  # fmt: skip
    for heat_id in before:
        set_heat_state(heat_id=int(heat_id), state=HeatState.HELD)
    lots = _lots(delivery.id, [heat.id for heat in heats])
    said = f"{delivery.number} is on hold: {reason}"[:300]
    units = units_in(delivery.id)
    for item_id in [*_items(lots), *_items(units)]:
        place_hold(by=by, item_id=item_id, from_stage=None, source=source, reason=said, at=at)
    payload: dict[str, object] = {"hold": str(row.uuid), "source": source, "reason": reason}
    payload |= {"heats": [heat.number for heat in heats], "lots": [lot.code for lot in lots]}
    if units:
        payload["units"] = [unit.serial for unit in units]
    audit.record(verb=Verb.DELIVERY_HELD, actor=by.uuid, subject=f"delivery {delivery.number}", at=at, payload=payload)
    return next(card for card in holds_of_delivery(delivery.id) if card.uuid == row.uuid)


def _items(cards: Iterable[LotCard] | Iterable[UnitCard]) -> list[int]:
    return [card.item_id for card in cards]


def _lots(delivery_id: int, heats: Iterable[int]) -> list[LotCard]:
    """The delivered lots and those made of the heats, each once."""
    found = {lot.id: lot for lot in [*lots_in(delivery_id), *lots_of_heats(list(heats))]}
    return [found[key] for key in sorted(found)]


def _states_before(heats: list[HeatCard]) -> dict[str, str]:
    """What each heat that is stopped goes back to: its state, or what an earlier hold that stands remembers."""
    earlier = {key: state for row in open_hold_rows() for key, state in row.heats.items()}
    states = {str(heat.id): earlier.get(str(heat.id), heat.state) for heat in heats}
    return {key: state for key, state in states.items() if state in STOPPED}


# ----------------------------------------------------------------------------------------------------- lifting


@transaction.atomic
def lift_delivery_hold(*, proof: Proof, hold_uuid: UUID, reason: str, at: datetime) -> HeldCard:
    """The hold on a delivery, lifted by a signed act: its lots are free of it, its heats go back to what they were.

    A heat that was held, refused or found of another grade since, or that another delivery's hold stops, stays as it
    is. Raises NotAllowed, NotFound `hold_unknown`, Conflict `hold_lifted_already`, Invalid of `plain_text`.
    """
    require(proof.person, Act.LIFT_HOLD, at)
    reason = plain_text("The reason", " ".join(reason.split()), longest=300)
    row = DeliveryHold.objects.filter(uuid=hold_uuid).select_related("delivery").first()
    if row is None:
        raise NotFound("hold_unknown", "That hold is not known here; look at the delivery again.")
    lock_delivery(row.delivery_id)
    if DeliveryHoldLift.objects.filter(hold=row).exists():
        raise Conflict("hold_lifted_already", f"The hold from {row.source} is lifted already.")
    subject = f"delivery {row.delivery.number}"
    payload = {"hold": str(row.uuid), "source": row.source, "reason": reason}
    signature = write_signature(
        proof=proof, act=Act.LIFT_HOLD, subject=subject, covers=digest(canonical(payload)), at=at,
        meaning=f"I lift the hold from {row.source} on {row.delivery.number}: {reason}"[:300],
    )  # fmt: skip
    DeliveryHoldLift.objects.create(hold=row, reason=reason, signature=signature, at=at)
    _free(row, signature, reason, at)
    audit.record(verb=Verb.DELIVERY_HOLD_LIFTED, actor=proof.person.uuid, subject=subject, at=at, payload=payload)
    return next(card for card in holds_of_delivery(row.delivery_id) if card.uuid == row.uuid)


def _free(row: DeliveryHold, signature: Signature, reason: str, at: datetime) -> None:
    lots, units = _lots(row.delivery_id, heats_in(row.delivery_id)), units_in(row.delivery_id)
    for item_id in [*_items(lots), *_items(units)]:
        lift_hold_of_source(signature=signature, item_id=item_id, source=row.source, reason=reason, at=at)
    for key, state in sorted(row.heats.items()):
        heat = lock_heat(int(key))
        if heat.state == HeatState.HELD and not holds_on_heat(heat.id) and not _stopped_since(heat.id, row.at):
            set_heat_state(heat_id=heat.id, state=HeatState(state))


def _stopped_since(heat_id: int, since: datetime) -> bool:
    """Whether a decision or a grade check that came after the hold stops the heat by itself."""
    checked = GradeCheck.objects.filter(heat=heat_id, conforms=False, at__gte=since).exists()
    against = HeatDecision.objects.filter(heat=heat_id, at__gte=since).exclude(verdict=HeatDecision.Verdict.ACCEPTED)
    return checked or against.exists()


# ---------------------------------------------------------------------------------------------------- refusing


def refuse_held_heat(heat: HeatCard) -> None:
    """Raises Refused `delivery_on_hold` while a delivery that brought the heat is on hold."""
    for hold in holds_on_heat(heat.id):
        message = (
            f"Heat {heat.number} came with {hold.delivery_number}, which is on hold ({hold.source}): {hold.reason}"
        )
        raise Refused("delivery_on_hold", f"{message.rstrip('.')}. Have that hold lifted first.")


def refuse_held_lot(lot: LotCard) -> None:
    """Raises Refused `lot_on_hold` with what holds it."""
    if holds := open_holds(lot.item_id):
        sources = ", ".join(hold.source for hold in holds)
        raise Refused("lot_on_hold", f"Lot {lot.code} is on hold ({sources}); have the hold lifted first.")
