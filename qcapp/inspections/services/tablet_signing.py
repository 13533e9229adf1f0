"""A stage signed on a tablet without network: read, held against what is stored now, refused with what to do.

The signature names every typed answer that was on the screen. It is given when exactly those stand: one that has not
arrived, one more, or another in its place refuses it, and the person signs again.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any
from uuid import UUID

from qcapp.core.errors import Conflict, Invalid, NotAllowed, QcError, Refused
from qcapp.people.queries import find_by_badge, is_here
from qcapp.people.roles import Act
from qcapp.people.services import require
from qcapp.people.services.proofs import tablet_proof

from ..models import Result, StageSignOff
from ..queries import Adopted
from ..queries.loading import current_slots, rounds_of
from ..queries.standing import stage_operations
from .operations import VERSION, named_id
from .recording import Verdictlet, rejected

if TYPE_CHECKING:
    from qcapp.people.models import Person

KIND = "sign_off"
LASTS = timedelta(hours=72)  # from signing to arrival
AHEAD = timedelta(minutes=15)  # that a tablet's clock may be
FIELDS = frozenset(
    {"id", "v", "kind", "serial", "revision", "stage", "covers", "meaning", "recorded_at", "recorded_by"}
)
MOST_ANSWERS = 1000
AGAIN = "Sign the stage again with network."


@dataclass(frozen=True)
class TabletSignOff:
    """What a person signed on a tablet; `body` is the record that the signature is over."""

    operation: UUID
    serial: str
    revision: UUID
    stage: int
    covers: frozenset[UUID]
    signed_at: datetime
    badge: str
    body: Mapping[str, Any]


def is_sign_off(body: object) -> bool:
    return isinstance(body, Mapping) and body.get("kind") == KIND


def signed_on_tablet(body: object, *, device: str, at: datetime, proven: frozenset[str]) -> Verdictlet:
    """What became of one signature: applied, duplicate, or rejected with code and sentence."""
    from . import sign_stage

    try:
        signed = read_sign_off(body)
        if signed.body["id"] not in proven:
            raise NotAllowed("signature_not_proven", f"The tablet's key or the PIN behind it has ended. {AGAIN}")
        if (known := _known(signed)) is not None:
            return known
        person = _signer(signed, at)
        sign_stage(
            proof=tablet_proof(person, at), serial=signed.serial, stage_number=signed.stage, at=at, on_tablet=signed
        )
    except QcError as refusal:
        return rejected(named_id(body), refusal)
    return Verdictlet(str(signed.operation), "applied")


def read_sign_off(body: Any) -> TabletSignOff:
    """The record. Raises Invalid (`signature_unreadable`) for whatever is no such record."""
    try:
        if body.keys() != FIELDS or body["v"] != VERSION or len(body["covers"]) > MOST_ANSWERS:
            raise ValueError
        signed_at = datetime.fromisoformat(body["recorded_at"])
        if signed_at.tzinfo is None or type(body["stage"]) is not int or len(body["meaning"]) > 500:
            raise ValueError
        return TabletSignOff(
            operation=UUID(body["id"]),
            serial=str(body["serial"])[:40].upper(),
            revision=UUID(body["revision"]),
            stage=body["stage"],
            covers=frozenset(map(UUID, body["covers"])),
            signed_at=signed_at,
            badge=str(body["recorded_by"])[:20],
            body=body,
        )
    except (ValueError, TypeError, AttributeError) as error:
        message = f"This is no signature that can be read. {AGAIN}"
        raise Invalid("signature_unreadable", message) from error


def _known(signed: TabletSignOff) -> Verdictlet | None:
    """The answer about one that is stored. Raises Conflict (`key_reused`) when another stands under its identifier."""
    row = StageSignOff.objects.filter(uuid=signed.operation).select_related("item__unit", "stage", "signature").first()
    if row is None:
        return None
    same = (row.item.unit.serial, row.stage.number) == (signed.serial, signed.stage)
    if not same or row.signature.person.badge != signed.badge:
        raise Conflict("key_reused", f"Another signature is stored under this identifier. {AGAIN}")
    return Verdictlet(str(signed.operation), "duplicate")


def _signer(signed: TabletSignOff, at: datetime) -> Person:
    """Who signed. Raises Refused (`signature_too_old`, `signature_ahead`) and NotAllowed: what holds today, and what
    held when it was signed.
    """
    if at - signed.signed_at > LASTS:
        raise Refused("signature_too_old", f"It was signed more than 72 hours before it arrived. {AGAIN}")
    if signed.signed_at - at > AHEAD:
        raise Refused("signature_ahead", f"The tablet's clock was ahead when it was signed. {AGAIN}")
    person = find_by_badge(signed.badge)
    if person is None or not is_here(person, at):
        raise NotAllowed("signature_not_proven", "Whoever signed does not work here any more. Another person signs.")
    require(person, Act.SIGN_STAGE, signed.signed_at)
    return person


def check_covers_what_stands(signed: TabletSignOff, item_id: int, plan: Adopted, stage_id: int) -> None:
    """Raises Refused: `entries_missing` while covered answers have not arrived, `stage_changed` when others stand."""
    arrived = set(Result.objects.filter(operation__in=signed.covers).values_list("operation", flat=True))
    if missing := len(signed.covers - arrived):
        which = (
            "One of the entries that it covers has" if missing == 1 else f"{missing} of the entries that it covers have"
        )
        message = f"{which} not arrived. Send it again when all have."
        raise Refused("entries_missing", message, missing=missing)
    typed = [card for card in plan.checkpoints if card.kind != "derived"]
    stand = set(stage_operations(stage_id, typed, rounds_of(item_id), current_slots(item_id)))
    if stand != signed.covers or plan.revision.uuid != signed.revision:
        raise Refused("stage_changed", f"Stage {signed.stage} has changed since it was signed on the tablet. {AGAIN}")


def told(signed: TabletSignOff) -> dict[str, Any]:
    """What the audit keeps of it beside a signature's usual: the record that was signed."""
    return {"signed_on_tablet": dict(signed.body)}
