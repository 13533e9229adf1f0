"""Places, moves to them, and the marks on a part: its tag first, then the stamped serial or VIN."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

from django.db import IntegrityError, transaction

from qcapp.audit import services as audit
from qcapp.audit.verbs import Verb
from qcapp.core.errors import Conflict, Invalid, NotFound, Refused
from qcapp.core.identification import check_vin, lookup_key
from qcapp.core.sealing import canonical, digest
from qcapp.lib.plain_text import plain_text, shown
from qcapp.people.roles import Act
from qcapp.people.services import require, write_signature

from ..models import Identity, Movement, Place
from ..queries import UnitCard, unit_by_serial
from ..queries.as_built import lot_by_code
from ..queries.places import MarkCard, PlaceCard, WhereCard, marks_of, place_by_code, tag_of, unit_by_scan, whereabouts
from ..states import UnitState
from . import check_unit_in_the_house, lock_unit
from .lots import check_in_the_house

if TYPE_CHECKING:
    from qcapp.people.models import Person
    from qcapp.people.services import Proof

_CODE = re.compile(r"[A-Z0-9][A-Z0-9-]{0,19}")


def add_place(*, by: Person, code: str, name: str, at: datetime) -> PlaceCard:
    """A new place under the code on its label.

    Raises Invalid `place_code`, of `plain_text`, Conflict `place_taken`.
    """
    require(by, Act.KEEP_PLACES, at)
    code = code.strip().upper()
    if not _CODE.fullmatch(code):
        raise Invalid("place_code", "The code of a place is capitals, digits and dashes, such as YARD-2.")
    name = plain_text("The name", name, longest=80)
    with transaction.atomic():
        try:
            with transaction.atomic():
                Place.objects.create(code=code, name=name)
        except IntegrityError:
            raise Conflict("place_taken", f"There is a place {code} already; use it.", place=code) from None
        payload = {"code": code, "name": name}
        audit.record(verb=Verb.PLACE_ADDED, actor=by.uuid, subject=f"place {code}", at=at, payload=payload)
    return place_by_code(code)


@transaction.atomic
def move_item(*, by: Person, code: str, place_code: str, at: datetime) -> WhereCard:
    """The unit or lot with this scanned code, put in the place.

    Raises NotFound `code_unknown`, `place_unknown`, Refused `unit_dispatched`, `unit_is_out`, `lot_is_out`.
    """
    require(by, Act.MOVE_ITEM, at)
    place = place_by_code(place_code)
    subject, item_id = _scanned(code)
    Movement.objects.create(item_id=item_id, place_id=place.id, by=by, at=at)
    verb = Verb.UNIT_MOVED if subject.startswith("unit ") else Verb.LOT_MOVED
    audit.record(verb=verb, actor=by.uuid, subject=subject, at=at, payload={"place": place.code, "name": place.name})
    return whereabouts([item_id])[item_id]


def _scanned(code: str) -> tuple[str, int]:
    """The audit's name and the item of a scanned unit or lot. A unit comes locked."""
    try:
        unit = lock_unit(unit_by_scan(code).id)
    except NotFound:
        try:
            lot = lot_by_code(code)
        except NotFound:
            name = shown(code)
            raise NotFound("code_unknown", f"There is no unit or lot {name}; scan its label again.") from None
        check_in_the_house(lot)
        return f"lot {lot.code}", lot.item_id
    if unit.state == UnitState.DISPATCHED:
        raise Refused("unit_dispatched", f"{unit.serial} has left the workshop; it is moved no more.")
    check_unit_in_the_house(unit)
    return f"unit {unit.serial}", unit.item_id


@dataclass(frozen=True)
class ReadBack:
    """What another person, proven to be at the keyboard, read on the part: the stamp, and the tag it still carries."""

    proof: Proof
    text: str
    tag: str


@transaction.atomic
def mark_part(
    *, by: Person, serial: str, kind: str, text: str, at: datetime, read_back: ReadBack | None = None,
    photo_id: int | None = None,
) -> MarkCard:  # fmt: skip
    """A mark on the part. A stamped serial or VIN is read back against the tag by another person, with a photo.

    The other person signs for what was read. `photo_id` is the key of an EvidenceCard. Raises Invalid `mark_kind`,
    `mark_differs`, `vin_invalid`, of `plain_text`; Refused `tag_missing`, `read_back_missing`, `read_back_differs`,
    `tag_differs`, `photo_missing`, `unit_is_out`; NotAllowed; Conflict `mark_taken`.
    """
    require(by, Act.BUILD_IN, at)
    if kind not in Identity.Kind.values:
        raise Invalid("mark_kind", "A mark is a tag, a serial or a vin; choose one.")
    text = plain_text("The mark", text, longest=40).upper()
    unit = lock_unit(unit_by_serial(serial).id)
    check_unit_in_the_house(unit)
    reader: Person | None = None
    if kind != Identity.Kind.TAG:
        _check_stamped(unit, kind, text)
        reader = _read_back(unit, by, text, read_back, photo_id, at)
    _insert_mark(
        item_id=unit.item_id, kind=kind, text=text, lookup=lookup_key(text), photo_id=photo_id, by_id=by.pk,
        read_back_by_id=reader.pk if reader else None, at=at,
    )  # fmt: skip
    payload = {"kind": kind, "text": text, "read_back_by": str(reader.uuid) if reader else ""}
    audit.record(verb=Verb.UNIT_MARKED, actor=by.uuid, subject=f"unit {unit.serial}", at=at, payload=payload)
    return marks_of(unit.item_id)[0]


def _check_stamped(unit: UnitCard, kind: str, text: str) -> None:
    if kind == Identity.Kind.SERIAL and text != unit.serial:
        message = f"“{shown(text)}” was stamped and the unit is {unit.serial}; put it aside and raise a report."
        raise Invalid("mark_differs", message)
    if kind == Identity.Kind.VIN and (findings := check_vin(text, north_america=False)):
        raise Invalid("vin_invalid", findings[0].message)


def _read_back(
    unit: UnitCard, by: Person, text: str, read: ReadBack | None, photo_id: int | None, at: datetime
) -> Person:
    """The other person, whose signature under what was read is written. Raises as `mark_part`."""
    tag = tag_of(unit.item_id)
    if not tag:
        message = f"{unit.serial} carries no tag here, and a stamp is read back against it; record the tag first."
        raise Refused("tag_missing", message)
    if read is None or read.proof.person.pk == by.pk:
        message = "A stamped mark is read back by another person than the one who stamped it; that person signs."
        raise Refused("read_back_missing", message)
    require(read.proof.person, Act.BUILD_IN, at)
    if photo_id is None:
        raise Refused("photo_missing", "A stamped mark needs a photo of it; take one.")
    if read.text.strip().upper() != text:
        message = f"{text} was stamped and “{shown(read.text)}” was read back. Look again, both; then raise a report."
        raise Refused("read_back_differs", message)
    if read.tag.strip().upper() != tag:
        message = f"The tag of {unit.serial} is {tag} and “{shown(read.tag)}” was read. Put the part aside and ask."
        raise Refused("tag_differs", message)
    payload = {"stamp": text, "tag": tag}
    write_signature(
        proof=read.proof, act=Act.BUILD_IN, meaning=f"I read {text} stamped on the part with the tag {tag}.",
        subject=f"unit {unit.serial}", covers=digest(canonical(payload)), at=at,
    )  # fmt: skip
    return read.proof.person


def _insert_mark(**columns: object) -> None:
    try:
        with transaction.atomic():
            Identity.objects.create(**columns)
    except IntegrityError:
        message = f"{columns['text']} is on another part already; read it again."
        raise Conflict("mark_taken", message) from None
