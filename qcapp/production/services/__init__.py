"""The writers of families, units, holds and weld records.

Any act on a unit begins with `lock_unit`, so that two acts on one unit follow each other.
"""

from __future__ import annotations

import re
from datetime import datetime
from typing import TYPE_CHECKING, Any
from uuid import UUID

from django.db import IntegrityError, transaction

from qcapp.audit import services as audit
from qcapp.audit.verbs import Verb
from qcapp.core.errors import Conflict, Invalid, NotFound, Refused
from qcapp.core.identification import lookup_key, serial_pattern
from qcapp.core.sealing import canonical, digest
from qcapp.lib.plain_text import plain_text, shown
from qcapp.lib.statements import add_row
from qcapp.people.queries import role_names
from qcapp.people.roles import Act, Role
from qcapp.people.services import require, write_signature

from ..models import Hold, HoldLift, Item, PartFamily, Unit, UnitEvent, WeldRecord
from ..queries import (
    FamilyCard,
    HoldCard,
    UnitCard,
    family_by_code,
    holds_of,
    unit_by_id,
    unit_by_serial,
    unit_cards,
)
from ..states import UNIT_STATES, UnitState

if TYPE_CHECKING:
    from qcapp.people.models import Person, Signature
    from qcapp.people.services import Proof

_CODE = re.compile(r"[A-Z0-9][A-Z0-9-]{0,19}")
_PREFIX = re.compile(r"[A-Z0-9]{1,12}")
_JOINT = re.compile(r"W[1-9][0-9]{0,3}")


# ------------------------------------------------------------------------------------------------- families


def add_family(
    *, by: Person, code: str, name: str, serial_pattern: str, certificate_prefix: str, at: datetime
) -> FamilyCard:
    """A new part family. Whoever may import its plan may add it.

    Raises Invalid `family_code`, `certificate_prefix`, `serial_pattern`, a code of `plain_text`, Conflict
    `family_taken`.
    """
    require(by, Act.IMPORT_PLAN, at)
    _check_family(code, serial_pattern, certificate_prefix)
    name = plain_text("The name", name, longest=80)
    details = {"name": name, "serial_pattern": serial_pattern, "certificate_prefix": certificate_prefix}
    with transaction.atomic():
        try:
            with transaction.atomic():
                PartFamily.objects.create(code=code, **details)
        except IntegrityError:
            raise Conflict("family_taken", f"There is a part family {code} already; use it.", family=code) from None
        audit.record(verb=Verb.FAMILY_ADDED, actor=by.uuid, subject=f"family {code}", at=at, payload=details)
    return family_by_code(code)


def _check_family(code: str, pattern: str, certificate_prefix: str) -> None:
    if not _CODE.fullmatch(code):
        raise Invalid("family_code", "A family's code is capitals, digits and dashes, such as FR-200.")
    if not _PREFIX.fullmatch(certificate_prefix):
        raise Invalid("certificate_prefix", "The prefix of certificate numbers is capitals and digits, such as FR.")
    if len(pattern) > 60:
        raise Invalid("serial_pattern", "The pattern of the serials is longer than 60 characters; shorten it.")
    serial_pattern(pattern)


# ---------------------------------------------------------------------------------------------------- units


def create_unit(
    *, by: Person, family_code: str, serial: str, at: datetime, order_number: str = "", variant: str = ""
) -> UnitCard:
    """A unit in build under a serial that nobody has used. The caller's transaction writes the audit entry.

    Raises NotFound `family_unknown`, Invalid `serial_does_not_fit`, a code of `plain_text`, Conflict
    `serial_taken`.
    """
    require(by, Act.OPEN_UNIT, at)
    family = family_by_code(family_code)
    pattern = serial_pattern(family.serial_pattern)
    serial = serial.strip().upper()
    if findings := pattern.check(serial):
        message = shown(" ".join([f"The serial does not fit {family.code}.", findings[0].message]), 300)
        raise Invalid("serial_does_not_fit", message, pattern=family.serial_pattern)
    details: dict[str, Any] = {
        "serial": serial,
        "lookup": lookup_key(serial),
        "number": pattern.number(serial),
        "order_number": plain_text("The order number", order_number, longest=40, needed=False),
        "variant": plain_text("The variant", variant, longest=60, needed=False),
        "state": UnitState.IN_BUILD,
        "opened_by_id": by.pk,
        "opened_at": at,
    }
    return unit_by_id(_insert_unit(family.id, details))


def _insert_unit(family_id: int, details: dict[str, Any]) -> int:
    try:
        with transaction.atomic():
            item = Item.objects.create(kind=Item.Kind.UNIT, family_id=family_id)
            unit = Unit.objects.create(item=item, **details)
            UnitEvent.objects.create(
                unit=unit,
                move="open",
                state=unit.state,
                by_id=details["opened_by_id"],
                at=details["opened_at"],
            )
    except IntegrityError:
        serial = details["serial"]
        message = f"The serial {serial} is taken; take the next one, or look up the unit that has it."
        raise Conflict("serial_taken", message, serial=serial) from None
    return unit.pk


def lock_unit(unit_id: int) -> UnitCard:
    """The unit as it stands, its row locked until the end of the caller's transaction.

    Raises NotFound `serial_unknown`.
    """
    cards = unit_cards(Unit.objects.select_for_update(of=("self",)).filter(pk=unit_id))
    if not cards:
        raise NotFound("serial_unknown", "That unit is not known here; look it up by its serial.")
    return cards[0]


def set_unit_away(*, unit_id: int, away: bool) -> None:
    """Whether the unit is out for a process. Inside the transaction of the act that audits it."""
    Unit.objects.filter(pk=unit_id).update(away=away)


def check_unit_in_the_house(unit: UnitCard) -> None:
    """Raises Refused `unit_is_out` for a unit that was sent out and not received back."""
    if unit.away:
        message = f"{unit.serial} is out for a process, not in the house; receive it back with its certificate first."
        raise Refused("unit_is_out", message)


def move_unit(*, by: Person, unit_id: int, move: str, reason: str, at: datetime) -> UnitCard:
    """The unit after a move of UNIT_STATES.

    Inside the caller's transaction, which has checked the right and audits.

    Raises TransitionNotAllowed, Invalid with a code of `plain_text`.
    """
    reason = plain_text("The reason", reason, longest=300, needed=False)
    with transaction.atomic():
        state = UNIT_STATES.next(lock_unit(unit_id).state, move)
        UnitEvent.objects.create(unit_id=unit_id, move=move, state=state, reason=reason, by_id=by.pk, at=at)
        Unit.objects.filter(pk=unit_id).update(state=state)
    return unit_by_id(unit_id)


# ---------------------------------------------------------------------------------------------------- holds


def place_hold(*, by: Person, item_id: int, from_stage: int | None, source: str, reason: str, at: datetime) -> HoldCard:
    """The hold that `source` places on the item; asking again gives the same one, even when lifted since.

    Inside the transaction of the act that holds the unit, whose audit entry covers it. Stages with a higher
    number than `from_stage` may not be signed. Raises Invalid with a code of `plain_text`.
    """
    source = plain_text("What places the hold", source, longest=60)
    reason = plain_text("The reason", reason, longest=300)
    with transaction.atomic():
        lock_item(item_id)
        if not Hold.objects.filter(item=item_id, source=source).exists():
            Hold.objects.create(
                item_id=item_id, from_stage=from_stage, source=source, reason=reason, by_id=by.pk, at=at
            )
    return _hold_from(item_id, source)


def place_new_hold(*, by: Person, item_id: int, from_stage: int | None, source: str, reason: str, at: datetime) -> None:
    """The same for a source that is as new as the transaction, on an item that the caller has locked: one statement."""
    source = plain_text("What places the hold", source, longest=60)
    reason = plain_text("The reason", reason, longest=300)
    add_row(Hold, item_id=item_id, from_stage=from_stage, source=source, reason=reason, by_id=by.pk, at=at)


def hold_unit(*, by: Person, serial: str, from_stage: int | None, source: str, reason: str, at: datetime) -> HoldCard:
    """A hold placed by hand, with an audit entry of its own. Whoever may raise a report may stop a unit.

    Raises NotFound `serial_unknown`, Conflict `hold_exists`, Invalid with a code of `plain_text`.
    """
    require(by, Act.RAISE_REPORT, at)
    with transaction.atomic():
        unit = lock_unit(unit_by_serial(serial).id)
        if any(hold.source == source.strip() for hold in holds_of(unit.item_id)):
            raise Conflict("hold_exists", f"{unit.serial} has a hold from {source.strip()} already; name another.")
        hold = place_hold(by=by, item_id=unit.item_id, from_stage=from_stage, source=source, reason=reason, at=at)
        payload = {"source": hold.source, "from_stage": from_stage, "reason": hold.reason}
        audit.record(verb=Verb.UNIT_HELD, actor=by.uuid, subject=f"unit {unit.serial}", at=at, payload=payload)
    return hold


def lift_hold(*, proof: Proof, hold_uuid: UUID, reason: str, at: datetime) -> HoldCard:
    """The hold, lifted by a signed act.

    Raises NotFound `hold_unknown`, Conflict `hold_lifted_already`, Invalid with a code of `plain_text`.
    """
    require(proof.person, Act.LIFT_HOLD, at)
    reason = plain_text("The reason", reason, longest=300)
    with transaction.atomic():
        hold = Hold.objects.filter(uuid=hold_uuid).select_related("item__unit").first()
        if hold is None:
            raise NotFound("hold_unknown", "That hold is not known here; look at the unit again.")
        lock_item(hold.item_id)
        if HoldLift.objects.filter(hold=hold).exists():
            raise Conflict("hold_lifted_already", f"The hold from {hold.source} is lifted already.")
        unit = getattr(hold.item, "unit", None)
        subject = f"lot {hold.item.uuid}" if unit is None else f"unit {unit.serial}"
        payload = {"hold": str(hold.uuid), "source": hold.source, "reason": reason}
        signature = write_signature(
            proof=proof, act=Act.LIFT_HOLD, meaning=f"I lift the hold from {hold.source}: {reason}"[:300],
            subject=subject, covers=digest(canonical(payload)), at=at,
        )  # fmt: skip
        HoldLift.objects.create(hold=hold, reason=reason, signature=signature, at=at)
        audit.record(verb=Verb.UNIT_HOLD_LIFTED, actor=proof.person.uuid, subject=subject, at=at, payload=payload)
    return _hold_from(hold.item_id, hold.source)


def lift_hold_of_source(
    *, signature: Signature, item_id: int, source: str, reason: str, at: datetime
) -> HoldCard | None:
    """The hold that `source` placed, lifted under the caller's signature; None when it placed none.

    Inside the caller's transaction, whose audit entry covers it. A hold lifted already stays as it is.
    """
    reason = plain_text("The reason", reason, longest=300)
    with transaction.atomic():
        lock_item(item_id)
        hold = Hold.objects.filter(item=item_id, source=source).first()
        if hold is None:
            return None
        if not HoldLift.objects.filter(hold=hold).exists():
            HoldLift.objects.create(hold=hold, reason=reason, signature=signature, at=at)
    return _hold_from(item_id, source)


def lock_item(item_id: int) -> None:
    """Lock the unit that the item is, or the item itself when it is a lot; until the caller's transaction ends."""
    if not list(Unit.objects.select_for_update().filter(item=item_id).values_list("pk")):
        list(Item.objects.select_for_update().filter(pk=item_id).values_list("pk"))


def _hold_from(item_id: int, source: str) -> HoldCard:
    return next(hold for hold in holds_of(item_id) if hold.source == source)


# ---------------------------------------------------------------------------------------------------- welds


def record_weld(
    *,
    by: Person,
    welder: Person,
    serial: str,
    joints: list[str],
    at: datetime,
    procedure: str = "",
    welded_at: datetime | None = None,
) -> UnitCard:
    """Who welded these joints of a unit, now or at `welded_at`. A later record of a joint counts, both stay.

    Raises NotFound `serial_unknown`, Invalid `joint_unreadable`, a code of `plain_text`, Refused
    `not_a_welder`, `unit_not_in_build`.
    """
    require(by, Act.RECORD_RESULT, at)
    procedure = plain_text("The procedure", procedure, longest=40, needed=False)
    check_joints(joints)
    welded_at = welded_at or at
    if Role.WELDER not in role_names(welder, welded_at):
        raise Refused("not_a_welder", f"{welder.name} is no welder on that day; name the one who welded.")
    with transaction.atomic():
        unit = lock_unit(unit_by_serial(serial).id)
        if unit.state != UnitState.IN_BUILD:
            message = f"{unit.serial} is {unit.state_label}; joints are recorded while a unit is in build."
            raise Refused("unit_not_in_build", message)
        WeldRecord.objects.bulk_create(
            WeldRecord(
                item_id=unit.item_id,
                joint=joint,
                welder_id=welder.pk,
                procedure=procedure,
                by_id=by.pk,
                at=welded_at,
            )
            for joint in joints
        )
        payload = {"welder": str(welder.uuid), "joints": list(joints), "procedure": procedure}
        audit.record(verb=Verb.UNIT_WELDED, actor=by.uuid, subject=f"unit {unit.serial}", at=at, payload=payload)
    return unit


def check_joints(joints: list[str]) -> None:
    """Raises Invalid `joint_unreadable` for a joint that is none, or named twice."""
    wrong = [joint for joint in joints if not _JOINT.fullmatch(joint)]
    if not joints or wrong or len(set(joints)) < len(joints):
        unread = f" “{shown(wrong[0], 12)}” cannot be read." if wrong else ""
        raise Invalid("joint_unreadable", f"Name each joint once, as W1 or W24.{unread}")
