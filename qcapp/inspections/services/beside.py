"""Photos and remarks at a checkpoint, as a tablet sends them after its results. Sending again is harmless.

Like a result they state a fact, so nothing about the unit's state refuses them.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any
from uuid import UUID

from django.db import IntegrityError, transaction

from qcapp.audit import services as audit
from qcapp.audit.verbs import Verb
from qcapp.core.errors import Conflict, Invalid, NotFound
from qcapp.core.sealing import canonical
from qcapp.evidence.services.keeping import keep_picture
from qcapp.lib.plain_text import plain_text, shown
from qcapp.people.roles import Act
from qcapp.people.services import require
from qcapp.production.queries import unit_by_serial

from ..models import Photo, Remark
from ..queries import adopted

if TYPE_CHECKING:
    from qcapp.people.models import Person
    from qcapp.plans.queries import CheckpointCard
    from qcapp.production.queries import UnitCard

MOST_MARKS = 20
THOUSANDTHS = 1000


@dataclass(frozen=True)
class Spot:
    """Where something belongs: the unit, the checkpoint's key, its round and inspection, and who says so when."""

    operation: UUID
    serial: str
    checkpoint: str
    device: str
    said_at: datetime  # the tablet's clock
    round: int = 1
    inspection: int = 1


def keep_photo(
    *,
    by: Person,
    spot: Spot,
    content: bytes,
    name: str,
    at: datetime,
    marks: Sequence[Sequence[int]] = (),
    note: str = "",
    of_result: UUID | None = None,
) -> bool:
    """Keep a picture taken at a checkpoint; False when it was kept before.

    Raises NotAllowed `not_permitted`; NotFound `serial_unknown`, `checkpoint_unknown`; Invalid `marks_unreadable` and
    of `keep_picture`; Conflict `key_reused`.
    """
    require(by, Act.RECORD_RESULT, at)
    note = plain_text("The note", note, longest=200, needed=False)
    kept_marks = _read_marks(marks)
    unit, card = _place(spot)
    said = {"content": hashlib.sha256(content).hexdigest(), "marks": kept_marks, "note": note, "of": str(of_result)}
    digest = _body_digest(spot, said)
    if _is_known(Photo, spot.operation, digest):
        return False
    file = keep_picture(by=by, content=content, name=name, at=at)

    def row() -> Photo:
        about = _about(spot, unit, card, by, digest, at)
        return Photo(file_id=file.id, marks=kept_marks, note=note, of_result=of_result, taken_at=spot.said_at, **about)

    told = {"file": file.digest, "marks": len(kept_marks), "of_result": str(of_result) if of_result else None}
    return _written(row, digest, spot, Verb.PHOTO_KEPT, by, at, told | {"checkpoint": card.number})


def write_remark(*, by: Person, spot: Spot, kind: str, text: str, at: datetime) -> bool:
    """Write down what was said at a checkpoint; False when it was written before.

    Raises NotAllowed `not_permitted`; NotFound `serial_unknown`, `checkpoint_unknown`; Invalid `remark_kind_unknown`
    and of `plain_text`; Conflict `key_reused`.
    """
    require(by, Act.RECORD_RESULT, at)
    if kind not in Remark.Kind.values:
        raise Invalid("remark_kind_unknown", f"A remark is one of {', '.join(Remark.Kind.values)}.", field="kind")
    text = plain_text("The text", text, longest=300)
    unit, card = _place(spot)
    digest = _body_digest(spot, {"kind": kind, "text": text})
    if _is_known(Remark, spot.operation, digest):
        return False

    def row() -> Remark:
        return Remark(kind=kind, text=text, written_at=spot.said_at, **_about(spot, unit, card, by, digest, at))

    told = {"kind": kind, "text": text, "checkpoint": card.number}
    return _written(row, digest, spot, Verb.REMARK_WRITTEN, by, at, told)


def _written(
    row: Callable[[], Photo | Remark],
    digest: str,
    spot: Spot,
    verb: Verb,
    by: Person,
    at: datetime,
    told: Mapping[str, Any],
) -> bool:
    made = row()
    try:
        with transaction.atomic():
            made.save(force_insert=True)
            payload = {"operation": str(spot.operation), "device": spot.device, **told}
            audit.record(verb=verb, actor=by.uuid, subject=f"unit {spot.serial}", at=at, payload=payload)
    except IntegrityError:  # the same sending arrived twice at once: the other one was first
        return not _is_known(type(made), spot.operation, digest)
    return True


def _place(spot: Spot) -> tuple[UnitCard, CheckpointCard]:
    unit = unit_by_serial(spot.serial)
    for card in adopted(unit.item_id).checkpoints:
        if card.key == spot.checkpoint:
            return unit, card
    name = shown(spot.checkpoint)
    raise NotFound("checkpoint_unknown", f"The plan of {unit.serial} has no checkpoint {name}.", checkpoint=name)


def _about(spot: Spot, unit: UnitCard, card: CheckpointCard, by: Person, digest: str, at: datetime) -> dict[str, Any]:
    return {
        "operation": spot.operation,
        "body_digest": digest,
        "item_id": unit.item_id,
        "checkpoint_id": card.id,
        "round": spot.round,
        "inspection": spot.inspection,
        "person_id": by.pk,
        "device": spot.device,
        "received_at": at,
    }


def _is_known(table: type[Photo] | type[Remark], operation: UUID, digest: str) -> bool:
    """Whether this sending is stored. Raises Conflict `key_reused` when its identifier stands for something else."""
    known = table.objects.filter(operation=operation).values_list("body_digest", flat=True).first()
    if known is not None and known != digest:
        message = "This identifier was used for something else; make a new one for this."
        raise Conflict("key_reused", message, operation=str(operation))
    return known is not None


def _body_digest(spot: Spot, said: Mapping[str, Any]) -> str:
    place = [spot.serial, spot.checkpoint, spot.round, spot.inspection, spot.said_at.isoformat()]
    return hashlib.sha256(canonical({"spot": place, "said": dict(said)}).encode()).hexdigest()


def _read_marks(marks: Sequence[Sequence[int]]) -> list[list[int]]:
    """The points as they are stored. Raises Invalid `marks_unreadable`."""
    inside = all(len(mark) == 2 and all(0 <= part <= THOUSANDTHS for part in mark) for mark in marks)
    if not inside or len(marks) > MOST_MARKS:
        message = f"A mark is two whole numbers from 0 to {THOUSANDTHS}, across and down; at most {MOST_MARKS} of them."
        raise Invalid("marks_unreadable", message, field="marks")
    return [list(mark) for mark in marks]
