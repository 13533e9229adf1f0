"""Finding a unit by anything the caller can read out: serial, VIN, tag, order, customer, component, certificate.

For looking up only: what is found here never decides which unit an answer lands on.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from qcapp.certificates.queries import items_certified
from qcapp.core.identification import lookup_key
from qcapp.production.queries import (
    UnitCard,
    find_units,
    units_of_items,
)
from qcapp.production.queries.as_built import holders_by_item
from qcapp.production.queries.orders import units_by_order_fragment, units_of_orders
from qcapp.production.queries.places import items_marked
from qcapp.production.queries.sharing import places_of

from .queries import customers_holding, items_of_orders

FOUND_BY = ("serial", "stamped serial", "VIN", "tag", "certificate", "order", "component")  # the nearest first
MARKS = {"serial stamped": "stamped serial", "VIN stamped": "VIN", "stamped tag": "tag"}


@dataclass(frozen=True)
class Found:
    """A unit, and by what it was found: "order S-1184". Names of customers only for those who may see them."""

    unit: UnitCard
    by: str
    text: str
    rank: tuple[int, int]
    customer: str = ""
    place: str = ""


def look_up(fragment: str, *, names: bool, limit: int = 40) -> list[Found]:
    """Every unit that the fragment leads to, best match first; O and 0, I and 1, spaces and dashes are alike.

    With `names` customers are searched and named too. Nine queries at most, however many units there are.
    """
    key = lookup_key(fragment.replace("\0", ""))
    if not key:
        return []
    hits = [*_serials(fragment, limit), *_marks(fragment, limit), *_certificates(fragment, limit)]
    hits += [*_orders(fragment, limit, names=names), *_holders(hits)]
    best: dict[int, Found] = {}
    for unit, by, text in hits:
        rank = (_nearness(lookup_key(text), key), FOUND_BY.index(by))
        if unit.id not in best or rank < best[unit.id].rank:
            best[unit.id] = Found(unit, by, text, rank)
    chosen = sorted(best.values(), key=lambda found: found.rank)[:limit]
    return _dressed(chosen, names=names)


Hit = tuple[UnitCard, str, str]


def _nearness(written: str, key: str) -> int:
    """0 for the whole text, 1 for its end, 2 for its beginning, 3 for any part."""
    if written == key:
        return 0
    return 1 if written.endswith(key) else 2 if written.startswith(key) else 3


def _serials(fragment: str, limit: int) -> list[Hit]:
    return [(unit, "serial", unit.serial) for unit in find_units(fragment, limit)]


def _marks(fragment: str, limit: int) -> list[Hit]:
    rows = items_marked(fragment, limit)
    units = units_of_items(item for item, _, _ in rows) if rows else {}
    return [(units[item], MARKS[kind], text) for item, kind, text in rows if item in units]


def _certificates(fragment: str, limit: int) -> list[Hit]:
    rows = items_certified(fragment, limit)
    units = units_of_items(item for item, _ in rows) if rows else {}
    return [(units[item], "certificate", number) for item, number in rows]


def _orders(fragment: str, limit: int, *, names: bool) -> list[Hit]:
    found: list[Hit] = [(unit, "order", unit.order_number) for unit in units_by_order_fragment(fragment, limit)]
    rows = dict(items_of_orders(fragment, limit, names=names))
    for unit in units_of_orders(rows, limit) if rows else []:
        found.append((unit, "order", rows[unit.order_number] or unit.order_number))
    return found


def _holders(hits: list[Hit]) -> list[Hit]:
    """The units that hold what was found: a component's serial leads to its frame too."""
    near = hits[:5]
    above = holders_by_item({unit.item_id for unit, _, _ in near})
    holders = units_of_items(set().union(*above.values())) if above else {}
    return [
        (holders[item], "component", text)
        for unit, _, text in near
        for item in sorted(above.get(unit.item_id, ()))
        if item in holders
    ]


def _dressed(chosen: list[Found], *, names: bool) -> list[Found]:
    items = [found.unit.item_id for found in chosen]
    sent = customers_holding(items) if names and items else {}
    here = [found.unit.item_id for found in chosen if found.unit.state != "dispatched"]
    where = places_of(here) if here else {}
    return [
        replace(one, customer=sent.get(one.unit.item_id, ""), place=where.get(one.unit.item_id, "")) for one in chosen
    ]
