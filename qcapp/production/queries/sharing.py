"""Which items share a heat, a lot, a weld, a filler lot: sets of keys, asked over the whole history, along indexes."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import Max, Q, QuerySet

from ..models import (
    Consumption,
    Heat,
    Hold,
    Installation,
    Item,
    Lot,
    Movement,
    PartFamily,
    Piece,
    Unit,
    WeldRecord,
    WeldStart,
)
from .as_built import DEEPEST


@dataclass(frozen=True, slots=True)
class UnitRow:
    """A unit as far as a long list shows it."""

    item_id: int
    serial: str
    family_code: str
    state: str
    order_number: str
    away: bool


# ------------------------------------------------------------------------------------- who shares, as sets of items


def items_of_heat_number(number: str) -> set[int] | None:
    """What a heat of this number went into, whoever supplied it; None where no such heat is entered."""
    return _of_heats(Heat.objects.filter(number__iexact=number))


def items_of_supplier(name: str, delivered: Collection[int]) -> set[int] | None:
    """What the heats of a supplier went into, and those `delivered` by it; None where there is no such heat."""
    return _of_heats(Heat.objects.filter(Q(supplier__iexact=name) | Q(id__in=delivered)))


def _of_heats(heats: QuerySet[Heat]) -> set[int] | None:
    keys = list(heats.values_list("id", flat=True))
    if not keys:
        return None
    return set(Consumption.objects.filter(heat__in=keys).values_list("item_id", flat=True))


def items_of_lot(code: str) -> set[int] | None:
    """The lot itself; None where there is no such lot."""
    found = Lot.objects.filter(code__iexact=code).values_list("item_id", flat=True)
    return set(found) or None


def items_of_lots(lot_ids: Iterable[int]) -> set[int]:
    """The items that these lots are."""
    return set(Lot.objects.filter(id__in=list(lot_ids)).values_list("item_id", flat=True))


def items_of_serial(serial: str) -> set[int] | None:
    """The unit itself; None where there is no such serial."""
    return set(Unit.objects.filter(serial=serial.upper()).values_list("item_id", flat=True)) or None


def items_welded(welder_ids: Collection[int], since: datetime | None, until: datetime | None) -> set[int]:
    """What these welders welded in this time, by the weld records and by what was said before an arc."""
    found: set[int] = set()
    for model in (WeldRecord, WeldStart):
        rows: Any = model.objects.filter(_between(since, until), welder__in=welder_ids)
        found |= set(rows.values_list("item_id", flat=True))
    return found


def items_in_fixture(number: str, since: datetime | None, until: datetime | None) -> set[int]:
    """What was welded in a fixture in this time."""
    return _started(Q(fixture__iexact=number), since, until)


def items_with_filler(lot: str, since: datetime | None, until: datetime | None) -> set[int]:
    """What was welded with a filler lot in this time."""
    return _started(Q(filler_lot__iexact=lot), since, until)


def _started(which: Q, since: datetime | None, until: datetime | None) -> set[int]:
    rows = WeldStart.objects.filter(which, _between(since, until))
    return set(rows.values_list("item_id", flat=True))


def items_of_family(code: str) -> set[int] | None:
    """Every unit of a family; None where there is no such family."""
    family = PartFamily.objects.filter(code__iexact=code).values_list("id", flat=True).first()
    return None if family is None else set(_units().filter(item__family=family).values_list("item_id", flat=True))


def items_opened(since: datetime | None, until: datetime | None) -> set[int]:
    """The units opened in this time."""
    return set(_units().filter(_between(since, until, "opened_at")).values_list("item_id", flat=True))


def unit_items() -> set[int]:
    """Every unit; pieces of lots are left out."""
    return set(_units().values_list("item_id", flat=True))


def _units() -> QuerySet[Unit]:
    return Unit.objects.filter(item__kind=Item.Kind.UNIT)


def _between(since: datetime | None, until: datetime | None, column: str = "at") -> Q:
    """`until` is left out, as the instant at which the last day ends."""
    which = Q()
    if since is not None:
        which &= Q(**{f"{column}__gte": since})
    if until is not None:
        which &= Q(**{f"{column}__lt": until})
    return which


def and_holders(item_ids: Iterable[int]) -> set[int]:
    """The items with everything that holds them now: units through components and lots, lots through their pieces.

    What is true of a lot is true of its numbered pieces, which may have been built in by themselves.
    """
    seen = set(item_ids)
    frontier = set(seen)
    for _ in range(DEEPEST):
        inside = Installation.objects.filter(component__among=frontier, removal__isnull=True).values_list("item_id")
        of_lots = Consumption.objects.filter(lot__item__among=frontier).values_list("item_id")
        pieces = Piece.objects.filter(item__among=frontier).values_list("lot__item_id")
        siblings = Piece.objects.filter(lot__item__among=frontier).values_list("item_id")
        above = {row[0] for row in inside.union(of_lots, pieces, siblings, all=True)}
        frontier = above - seen
        if not frontier:
            break
        seen |= frontier
    return seen


# --------------------------------------------------------------------------------------------------- long lists


def unit_rows(item_ids: Collection[int]) -> list[UnitRow]:
    """Those of the items that are units, by serial; two queries, none for no item."""
    if not item_ids:
        return []
    # Two statements: with both tables in one, PostgreSQL reads every item to join thousands of them.
    of_units = Item.objects.filter(id__among=item_ids, kind=Item.Kind.UNIT).order_by()
    families = dict(of_units.values_list("id", "family__code"))
    rows = Unit.objects.filter(item__among=item_ids).order_by()
    found = [
        UnitRow(item, serial, families[item], state, order, away)
        for item, serial, state, order, away in rows.values_list("item_id", "serial", "state", "order_number", "away")
        if item in families
    ]
    return sorted(found, key=lambda row: row.serial)


def serials_and_states(item_ids: Collection[int]) -> dict[int, tuple[str, str]]:
    """Serial and state of those of the items that have one: units, serialized components, drawn pieces; one query."""
    rows = Unit.objects.filter(item__among=item_ids).order_by()
    return {item: (serial, state) for item, serial, state in rows.values_list("item_id", "serial", "state")}


def on_hold_among(item_ids: Collection[int]) -> set[int]:
    """Those of the items that are on hold now."""
    return set(Hold.objects.filter(item__among=item_ids, lift__isnull=True).values_list("item_id", flat=True))


def places_of(item_ids: Collection[int]) -> dict[int, str]:
    """The name of the place where each item was put last; one query."""
    moved = Movement.objects.filter(item__among=item_ids).order_by().values("item")
    last = moved.annotate(last=Max("id")).values("last")
    return dict(Movement.objects.filter(id__in=last).values_list("item_id", "place__name"))


def outermost_of(item_ids: Collection[int], above: Mapping[int, int]) -> dict[int, int]:
    """As `holders_of`, where it is known already what each component is in."""
    return {item: _outermost(item, above) for item in item_ids if item in above}


def holders_of(item_ids: Collection[int]) -> dict[int, int]:
    """The outermost unit that each item is in now; items that are in nothing are left out."""
    direct = _directly(item_ids)
    above = dict(direct)
    frontier = set(direct.values())
    for _ in range(DEEPEST):
        further = _directly(frontier - above.keys())
        if not further:
            break
        above |= further
        frontier = set(further.values())
    return {item: _outermost(item, above) for item in direct}


def _outermost(item: int, above: Mapping[int, int]) -> int:
    for _ in range(DEEPEST):
        if item not in above:
            break
        item = above[item]
    return item


def _directly(item_ids: Collection[int]) -> dict[int, int]:
    if not item_ids:
        return {}
    rows = Installation.objects.filter(component__among=item_ids, removal__isnull=True)
    return dict(rows.values_list("component_id", "item_id"))
