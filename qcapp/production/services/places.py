"""Places, moves to them, and the marks on a part: its tag first, then the stamped serial or VIN."""

from __future__ import annotations

import re
from datetime import datetime
from typing import TYPE_CHECKING

from django.db import IntegrityError, transaction

from qcapp.audit import services as audit
from qcapp.audit.verbs import Verb
from qcapp.core.errors import Conflict, Invalid, NotFound, Refused
from qcapp.core.identification import check_vin, lookup_key
from qcapp.lib.plain_text import plain_text, shown
from qcapp.people.roles import Act
from qcapp.people.services import require

from ..models import Identity, Movement, Place
from ..queries import UnitCard, unit_by_serial
from ..queries.as_built import lot_by_code
from ..queries.places import MarkCard, PlaceCard, WhereCard, marks_of, place_by_code, whereabouts
from ..states import UnitState
from . import lock_unit
from .lots import check_in_the_house

if TYPE_CHECKING:
    from qcapp.people.models import Person

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

    Raises NotFound `code_unknown`, `place_unknown`, Refused `unit_dispatched`, `lot_is_out`.
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
        unit = lock_unit(unit_by_serial(code).id)
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
    return f"unit {unit.serial}", unit.item_id


@transaction.atomic
def mark_part(
    *, by: Person, serial: str, kind: str, text: str, at: datetime, read_back_by: Person | None = None,
    photo_id: int | None = None,
) -> MarkCard:  # fmt: skip
    """A mark on the part. A stamped serial or VIN is read back against the tag by another person, with a photo.

    `photo_id` is the key of an EvidenceCard. Raises Invalid `mark_kind`, `mark_differs`, `vin_invalid`, of
    `plain_text`; Refused `read_back_missing`, `photo_missing`; NotAllowed; Conflict `mark_taken`.
    """
    require(by, Act.BUILD_IN, at)
    if kind not in Identity.Kind.values:
        raise Invalid("mark_kind", "A mark is a tag, a serial or a vin; choose one.")
    text = plain_text("The mark", text, longest=40).upper()
    unit = lock_unit(unit_by_serial(serial).id)
    if kind != Identity.Kind.TAG:
        _check_stamped(unit, kind, text)
        _check_read_back(by, read_back_by, photo_id, at)
    reader = read_back_by.pk if read_back_by else None
    _insert_mark(
        item_id=unit.item_id, kind=kind, text=text, lookup=lookup_key(text), photo_id=photo_id, by_id=by.pk,
        read_back_by_id=reader, at=at,
    )  # fmt: skip
    payload = {"kind": kind, "text": text, "read_back_by": str(read_back_by.uuid) if read_back_by else ""}
    audit.record(verb=Verb.UNIT_MARKED, actor=by.uuid, subject=f"unit {unit.serial}", at=at, payload=payload)
    return marks_of(unit.item_id)[0]


def _check_stamped(unit: UnitCard, kind: str, text: str) -> None:
    if kind == Identity.Kind.SERIAL and text != unit.serial:
        message = f"“{shown(text)}” was stamped and the unit is {unit.serial}; put it aside and raise a report."
        raise Invalid("mark_differs", message)
    if kind == Identity.Kind.VIN and (findings := check_vin(text, north_america=False)):
        raise Invalid("vin_invalid", findings[0].message)


def _check_read_back(by: Person, reader: Person | None, photo_id: int | None, at: datetime) -> None:
    if reader is None or reader.pk == by.pk:
        message = "A stamped mark is read back by another person than the one who stamped it; name that person."
        raise Refused("read_back_missing", message)
    require(reader, Act.BUILD_IN, at)
    if photo_id is None:
        raise Refused("photo_missing", "A stamped mark needs a photo of it; take one.")


def _insert_mark(**columns: object) -> None:
    try:
        with transaction.atomic():
            Identity.objects.create(**columns)
    except IntegrityError:
        message = f"{columns['text']} is on another part already; read it again."
        raise Conflict("mark_taken", message) from None
