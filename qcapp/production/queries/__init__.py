"""Readers of families, units, holds and weld records."""

from __future__ import annotations

import difflib
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING
from uuid import UUID

from django.db.models import Exists, OuterRef, QuerySet

from qcapp.core.errors import NotFound
from qcapp.core.identification import SerialPattern, lookup_key, serial_pattern
from qcapp.lib.plain_text import shown

from ..models import Hold, Item, PartFamily, Unit, UnitEvent, WeldRecord
from ..states import UnitState
from .serials import LONGEST_FRAGMENT, keys_by_serial

if TYPE_CHECKING:
    from qcapp.people.models import Person

NEAR_AMONG = 500  # how many of the newest serials are compared when a serial is not known


@dataclass(frozen=True)
class FamilyCard:
    """A part family."""

    id: int
    code: str
    name: str
    serial_pattern: str
    certificate_prefix: str


@dataclass(frozen=True)
class UnitCard:
    """One unit as every room shows it."""

    id: int
    item_id: int
    item_uuid: UUID
    serial: str
    family_id: int
    family_code: str
    family_name: str
    certificate_prefix: str
    number: int
    variant: str
    order_number: str
    state: str
    state_label: str
    opened_at: datetime
    opened_by_name: str
    on_hold: bool
    is_piece: bool = False  # drawn from a lot
    away: bool = False  # sent out for a process and not received back


@dataclass(frozen=True)
class ItemCard:
    """Anything that is inspected: a unit, a lot, a piece of a lot."""

    id: int
    uuid: UUID
    kind: str
    family_id: int
    family_code: str


@dataclass(frozen=True)
class HoldCard:
    """A hold and, when it was lifted, that too. Stages above `from_stage` wait; None holds every stage."""

    id: int
    uuid: UUID
    item_id: int
    from_stage: int | None
    source: str
    reason: str
    by_name: str
    at: datetime
    lifted_at: datetime | None
    lifted_by_name: str
    lift_reason: str

    @property
    def is_open(self) -> bool:
        return self.lifted_at is None


@dataclass(frozen=True)
class WeldCard:
    """Who welded a joint, and when it was written down."""

    joint: str
    welder_id: int
    welder_name: str
    welder_stamp: str
    procedure: str
    by_name: str
    at: datetime


@dataclass(frozen=True)
class UnitEventCard:
    """A change of a unit's state."""

    move: str
    state: str
    state_label: str
    reason: str
    by_name: str
    at: datetime


# ------------------------------------------------------------------------------------------------- families


def families() -> list[FamilyCard]:
    """Every part family, by code."""
    return [_family(row) for row in PartFamily.objects.order_by("code")]


def family_by_code(code: str) -> FamilyCard:
    """The family with this code, its case aside. Raises NotFound `family_unknown`."""
    wanted = code.strip()
    row = None if "\0" in wanted else PartFamily.objects.filter(code__iexact=wanted).first()
    if row is None:
        name = shown(wanted)
        raise NotFound("family_unknown", f"There is no part family {name}; choose one from the list.", family=name)
    return _family(row)


def _family(row: PartFamily) -> FamilyCard:
    return FamilyCard(row.pk, row.code, row.name, row.serial_pattern, row.certificate_prefix)


# ---------------------------------------------------------------------------------------------------- units


def unit_cards(units: QuerySet[Unit]) -> list[UnitCard]:
    """The units of a queryset as cards, in its order; one query, and only what a card holds."""
    return [_unit(*row) for row in with_holds(units).values_list(*OF_A_CARD)]


def with_holds(units: QuerySet[Unit]) -> QuerySet[Unit]:
    """The units with what a card needs joined to them."""
    open_hold = Hold.objects.filter(item=OuterRef("item_id"), lift__isnull=True)
    return units.select_related("item__family", "opened_by").annotate(on_hold=Exists(open_hold))


def unit_by_serial(serial: str) -> UnitCard:
    """The unit with exactly this serial, small letters read as capitals. Raises NotFound `serial_unknown`.

    Its sentence names serials that look alike; no such likeness ever picks a unit by itself.
    """
    wanted = serial.strip().upper()
    rows = [] if "\0" in wanted else unit_cards(Unit.objects.filter(serial=wanted))
    if rows:
        return rows[0]
    name, near = shown(wanted), near_serials(wanted)
    hint = f"Near it: {', '.join(near)}." if near else "Read it again, or open the unit first."
    raise NotFound("serial_unknown", f"There is no unit {name}. {hint}", serial=name, near=near)


def unit_by_id(unit_id: int) -> UnitCard:
    """The unit with this key. Raises NotFound `serial_unknown`."""
    return _only(unit_cards(Unit.objects.filter(pk=unit_id)))


def unit_of_item(item_id: int) -> UnitCard:
    """The unit that the item is. Raises NotFound `serial_unknown`."""
    return _only(unit_cards(Unit.objects.filter(item=item_id)))


def units_of_items(item_ids: Iterable[int]) -> dict[int, UnitCard]:
    """The units that these items are, by item, in the order in which they were opened; one query."""
    units = Unit.objects.filter(item__in=list(item_ids)).order_by("pk")
    return {card.item_id: card for card in unit_cards(units)}


def item_by_uuid(uuid: UUID) -> ItemCard:
    """The item of any kind with this uuid. Raises NotFound `item_unknown`."""
    row = Item.objects.filter(uuid=uuid).select_related("family").first()
    if row is None:
        raise NotFound("item_unknown", "That lot is not known here; look it up by its label.")
    return ItemCard(row.pk, row.uuid, row.kind, row.family_id, row.family.code)


def hold_by_uuid(uuid: UUID) -> HoldCard:
    """A hold, lifted or not. Raises NotFound `hold_unknown`."""
    row = Hold.objects.filter(uuid=uuid).select_related("by", "lift__signature__person").first()
    if row is None:
        raise NotFound("hold_unknown", "That hold is not known here; look at the unit again.")
    return _hold(row)


def _only(cards: list[UnitCard]) -> UnitCard:
    if not cards:
        raise NotFound("serial_unknown", "That unit is not known here; look it up by its serial.")
    return cards[0]


def _units() -> QuerySet[Unit]:
    """Units only: a drawn piece of a lot is found by its own code, and listed with its lot."""
    return Unit.objects.filter(item__kind=Item.Kind.UNIT)


def recent_units(limit: int = 20) -> list[UnitCard]:
    """The units opened last, the newest first."""
    return unit_cards(_units().order_by("-opened_at", "-id")[:limit])


def find_units(fragment: str, limit: int = 20) -> list[UnitCard]:
    """Units whose serial holds the fragment, as `keys_by_serial` finds them; best match first."""
    chosen = keys_by_serial(fragment, limit)
    cards = {card.id: card for card in unit_cards(Unit.objects.filter(pk__in=chosen))} if chosen else {}
    return [cards[pk] for pk in chosen]


def near_serials(serial: str, limit: int = 3) -> list[str]:
    """Serials that hold the text, or else resemble it, among the newest units."""
    if holding := [card.serial for card in find_units(serial, limit)]:
        return holding
    newest = Unit.objects.order_by("-opened_at", "-id").values_list("lookup", "serial")[:NEAR_AMONG]
    known = dict(newest)
    alike = difflib.get_close_matches(lookup_key(serial)[:LONGEST_FRAGMENT], known, n=limit, cutoff=0.75)
    return [known[key] for key in alike]


def last_number(family_id: int) -> int:
    """The highest running number of the family's serials; 0 before its first unit."""
    found = Unit.objects.filter(item__family=family_id).order_by("-number").values_list("number", flat=True).first()
    return found or 0


def propose_serial(family_code: str, year: int) -> str:
    """The serial after the highest one of the family (of that year, where the year stands in the serial).

    Raises NotFound `family_unknown` and what `SerialPattern.next` raises. Somebody else may take it first.
    """
    family = family_by_code(family_code)
    pattern = serial_pattern(family.serial_pattern)
    first = pattern.next(None, year=year)
    before, after = _around_number(pattern, first)
    taken = Unit.objects.filter(item__family=family.id, serial__startswith=before, serial__endswith=after)
    last = taken.order_by("-number").values_list("serial", flat=True).first()
    return pattern.next(last, year=year)


def _around_number(pattern: SerialPattern, serial: str) -> tuple[str, str]:
    """What stands before and after the running number."""
    start = 0
    for kind, content in pattern.parts:
        if kind == "number":
            break
        start += len(content) if kind == "text" else int(content)
    return serial[:start], serial[start + pattern.digits :]


def events_of(unit_id: int) -> list[UnitEventCard]:
    """What changed a unit's state, the latest first."""
    rows = UnitEvent.objects.filter(unit=unit_id).select_related("by").order_by("-at", "-id")
    return [
        UnitEventCard(row.move, row.state, UnitState(row.state).label, row.reason, row.by.name, row.at) for row in rows
    ]


OF_A_CARD = (
    "pk", "item_id", "item__uuid", "serial", "item__family_id", "item__family__code", "item__family__name",
    "item__family__certificate_prefix", "number", "variant", "order_number", "state", "opened_at", "opened_by__name",
    "on_hold", "item__kind", "away",
)  # fmt: skip


def _unit(
    pk: int, item: int, uuid: UUID, serial: str, family: int, code: str, name: str, prefix: str, number: int,
    variant: str, order: str, state: str, opened_at: datetime, opened_by: str, on_hold: bool, kind: str, away: bool,
) -> UnitCard:  # fmt: skip
    return UnitCard(
        id=pk,
        item_id=item,
        item_uuid=uuid,
        serial=serial,
        family_id=family,
        family_code=code,
        family_name=name,
        certificate_prefix=prefix,
        number=number,
        variant=variant,
        order_number=order,
        state=state,
        state_label=UnitState(state).label,
        opened_at=opened_at,
        opened_by_name=opened_by,
        on_hold=on_hold,
        is_piece=kind == Item.Kind.PIECE,
        away=away,
    )


# --------------------------------------------------------------------------------------------- holds, welds


def open_holds(item_id: int) -> list[HoldCard]:
    """The holds of an item that nobody has lifted, the oldest first."""
    return [_hold(row) for row in _holds(item_id).filter(lift__isnull=True)]


def held_items(item_ids: Collection[int]) -> frozenset[int]:
    """Those of the items that are on hold now; one query."""
    rows = Hold.objects.filter(item__among=item_ids, lift__isnull=True)
    return frozenset(rows.values_list("item_id", flat=True))


def state_label(state: str) -> str:
    """A unit's state in words; empty for what is not a unit."""
    return UnitState(state).label if state else ""


def holds_of(item_id: int) -> list[HoldCard]:
    """Every hold of an item, lifted ones too, the oldest first."""
    return [_hold(row) for row in _holds(item_id)]


def holds_by_item(item_ids: Collection[int]) -> dict[int, list[HoldCard]]:
    """The holds of several items, the oldest first; one query."""
    found: dict[int, list[HoldCard]] = {}
    rows = Hold.objects.filter(item__in=item_ids).select_related("by", "lift__signature__person").order_by("at", "id")
    for row in rows:
        found.setdefault(row.item_id, []).append(_hold(row))
    return found


def _holds(item_id: int) -> QuerySet[Hold]:
    return Hold.objects.filter(item=item_id).select_related("by", "lift__signature__person").order_by("at", "id")


def _hold(row: Hold) -> HoldCard:
    lift = getattr(row, "lift", None)  # a hold without a lift has no such attribute
    return HoldCard(
        id=row.pk,
        uuid=row.uuid,
        item_id=row.item_id,
        from_stage=row.from_stage,
        source=row.source,
        reason=row.reason,
        by_name=row.by.name,
        at=row.at,
        lifted_at=lift.at if lift else None,
        lifted_by_name=lift.signature.person.name if lift else "",
        lift_reason=lift.reason if lift else "",
    )


def welds_of(item_id: int) -> list[WeldCard]:
    """Every weld record of an item, the latest first; the first one of a joint counts."""
    rows = WeldRecord.objects.filter(item=item_id).select_related("welder", "by").order_by("-id")
    return [
        WeldCard(row.joint, row.welder_id, row.welder.name, row.welder.stamp, row.procedure, row.by.name, row.at)
        for row in rows
    ]


def welder_of(item_id: int, joint: str) -> Person | None:
    """Who welded the joint by its latest record; None when nothing is written down."""
    row = WeldRecord.objects.filter(item=item_id, joint=joint).select_related("welder").order_by("-id").first()
    return row.welder if row else None


def welders_of(item_id: int) -> dict[str, int]:
    """The key of the person who welded each joint, by its latest record."""
    rows = WeldRecord.objects.filter(item=item_id).order_by("id").values_list("joint", "welder_id")
    return dict(rows)


def items_welded_by(welder_id: int, joint: str, item_ids: Collection[int]) -> set[int]:
    """Those of the items on which the joint was welded by this person, by its latest record."""
    rows = WeldRecord.objects.filter(item__in=item_ids, joint=joint).order_by("id").values_list("item_id", "welder_id")
    return {item for item, welder in dict(rows).items() if welder == welder_id}


def items_opened_between(family_id: int, after_item: int, until_item: int) -> list[int]:
    """Units of a family by the order in which they were opened: after one item, up to another and with it."""
    rows = Item.objects.filter(family=family_id, kind=Item.Kind.UNIT, id__gt=after_item, id__lte=until_item)
    return list(rows.order_by("id").values_list("id", flat=True))


def units_in_build(limit: int = 20) -> list[UnitCard]:
    """The units that are being built, the one opened last first: the floor's list."""
    return unit_cards(_units().filter(state=UnitState.IN_BUILD).order_by("-opened_at", "-id")[:limit])
