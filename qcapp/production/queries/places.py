"""Where a unit or lot is, and the marks on a part: its tag, the stamped serial or VIN."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.db.models import Case, Exists, IntegerField, OuterRef, Value, When

from qcapp.core.errors import NotFound
from qcapp.core.identification import lookup_key
from qcapp.lib.plain_text import shown

from ..models import Identity, Installation, Item, Movement, Place, Unit
from ..states import UnitState
from . import UnitCard, unit_by_serial, unit_cards, units_of_items
from .serials import LONGEST_FRAGMENT


@dataclass(frozen=True)
class PlaceCard:
    """Where a unit or lot can be."""

    id: int
    code: str
    name: str


@dataclass(frozen=True)
class WhereCard:
    """Where an item was put, by whom and when."""

    place: PlaceCard
    by_name: str
    at: datetime


@dataclass(frozen=True)
class MarkCard:
    """A mark on the part: tag, serial or VIN."""

    kind: str
    kind_label: str
    text: str
    by_name: str
    read_back_by_name: str
    photo_uuid: UUID | None
    at: datetime


# --------------------------------------------------------------------------------------------------- places


def places() -> list[PlaceCard]:
    """Every place, by code."""
    return [_place(row) for row in Place.objects.order_by("code")]


def place_by_code(code: str) -> PlaceCard:
    """The place on the scanned label. Raises NotFound `place_unknown`."""
    wanted = code.strip()
    row = None if "\0" in wanted else Place.objects.filter(code__iexact=wanted).first()
    if row is None:
        name = shown(wanted)
        raise NotFound("place_unknown", f"There is no place {name}; scan its label again or choose one.", place=name)
    return _place(row)


def _place(row: Place) -> PlaceCard:
    return PlaceCard(row.pk, row.code, row.name)


def whereabouts(item_ids: Iterable[int]) -> dict[int, WhereCard]:
    """Where each item was put last; items that were never put anywhere are left out."""
    rows = Movement.objects.filter(item__in=list(item_ids)).select_related("place", "by").order_by("id")
    return {row.item_id: WhereCard(_place(row.place), row.by.name, row.at) for row in rows}


def moves_of(item_id: int) -> list[WhereCard]:
    """Every place an item was put, the latest first."""
    rows = Movement.objects.filter(item=item_id).select_related("place", "by").order_by("-id")
    return [WhereCard(_place(row.place), row.by.name, row.at) for row in rows]


# ----------------------------------------------------------------------------------------------- marks, search


def marks_of(item_id: int) -> list[MarkCard]:
    """The tag, serial and VIN on the part, the latest first."""
    rows = Identity.objects.filter(item=item_id).select_related("by", "read_back_by", "photo").order_by("-id")
    return [
        MarkCard(
            row.kind,
            row.get_kind_display(),
            row.text,
            row.by.name,
            row.read_back_by.name if row.read_back_by else "",
            row.photo.uuid if row.photo else None,
            row.at,
        )
        for row in rows
    ]


def vin_of(item_id: int) -> str:
    """The VIN stamped on the unit, empty without one."""
    rows = Identity.objects.filter(item=item_id, kind=Identity.Kind.VIN).order_by("-id")
    return rows.values_list("text", flat=True).first() or ""


def tag_of(item_id: int) -> str:
    """The tag on the part, empty without one."""
    rows = Identity.objects.filter(item=item_id, kind=Identity.Kind.TAG).order_by("-id")
    return rows.values_list("text", flat=True).first() or ""


def unit_by_scan(code: str) -> UnitCard:
    """The unit by its serial, or by the very text of the tag it carries until serial or VIN is stamped on it.

    Raises NotFound `serial_unknown`, `tag_replaced`.
    """
    try:
        return unit_by_serial(code)
    except NotFound:
        item_id = _tagged(code)
        if item_id is None:
            raise
    unit = units_of_items([item_id])[item_id]
    if Identity.objects.filter(item=item_id).exclude(kind=Identity.Kind.TAG).exists():
        message = f"That was the tag of {unit.serial} until it was stamped; read the stamp on the part."
        raise NotFound("tag_replaced", message)
    return unit


def _tagged(code: str) -> int | None:
    wanted = code.strip().upper()
    if not wanted or "\0" in wanted:
        return None
    rows = Identity.objects.filter(kind=Identity.Kind.TAG, text=wanted).values_list("item_id", flat=True)
    return rows.first()


def items_marked(fragment: str, limit: int = 40) -> list[tuple[int, str, str]]:
    """Item, kind and text of units' marks that hold the fragment, compared by `lookup_key`; ending with it first."""
    key = lookup_key(fragment.replace("\0", ""))
    if not 0 < len(key) <= LONGEST_FRAGMENT:
        return []
    ends = Case(When(lookup__endswith=key, then=Value(0)), default=Value(1), output_field=IntegerField())
    rows = Identity.objects.filter(lookup__contains=key, item__unit__isnull=False).order_by(ends, "-id")
    columns = rows.values_list("item_id", "kind", "text")[:limit]
    return [(item, str(Identity.Kind(kind).label), text) for item, kind, text in columns]


def units_to_leave(limit: int = 20) -> list[UnitCard]:
    """The released units that are in no other unit, the one opened first in front."""
    inside = Installation.objects.filter(component=OuterRef("item_id"), removal__isnull=True)
    units = Unit.objects.filter(~Exists(inside), item__kind=Item.Kind.UNIT, state=UnitState.RELEASED)
    return unit_cards(units.order_by("opened_at", "id")[:limit])
