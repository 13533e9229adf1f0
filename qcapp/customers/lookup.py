"""Finding a unit by anything the caller can read out: serial, VIN, tag, order, customer, component, certificate.

For looking up only: what is found here never decides which unit an answer lands on.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from qcapp.certificates.queries import items_certified
from qcapp.core.identification import lookup_key
from qcapp.production.queries import UnitCard, units_of_items
from qcapp.production.queries.as_built import holders_by_item
from qcapp.production.queries.orders import items_by_order_fragment, items_of_orders
from qcapp.production.queries.places import items_marked
from qcapp.production.queries.serials import items_by_serial
from qcapp.production.queries.sharing import places_of

from . import queries

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
    best: dict[int, tuple[tuple[int, int], str, str]] = {}
    for item, by, text in hits:
        rank = (_nearness(lookup_key(text), key), FOUND_BY.index(by))
        if item not in best or rank < best[item][0]:
            best[item] = (rank, by, text)
    return _dressed(_chosen(best, limit), names=names)


Hit = tuple[int, str, str]  # item, by what, the text


def _chosen(best: dict[int, tuple[tuple[int, int], str, str]], limit: int) -> list[Found]:
    """The best as cards, asked once for those that are shown; what holds a component may be a lot, and is left out."""
    ordered = sorted(best, key=lambda item: best[item][0])
    lots = sum(by == "component" for _, by, _ in best.values())
    cards = units_of_items(ordered[: limit + lots]) if ordered else {}
    found = [Found(cards[item], by, text, rank) for item in ordered if item in cards for rank, by, text in [best[item]]]
    return found[:limit]


def _nearness(written: str, key: str) -> int:
    """0 for the whole text, 1 for its end, 2 for its beginning, 3 for any part."""
    if written == key:
        return 0
    return 1 if written.endswith(key) else 2 if written.startswith(key) else 3


def _serials(fragment: str, limit: int) -> list[Hit]:
    return [(item, "serial", serial) for item, serial in items_by_serial(fragment, limit)]


def _marks(fragment: str, limit: int) -> list[Hit]:
    return [(item, MARKS[kind], text) for item, kind, text in items_marked(fragment, limit)]


def _certificates(fragment: str, limit: int) -> list[Hit]:
    return [(item, "certificate", number) for item, number in items_certified(fragment, limit)]


def _orders(fragment: str, limit: int, *, names: bool) -> list[Hit]:
    found: list[Hit] = [(item, "order", number) for item, number in items_by_order_fragment(fragment, limit)]
    rows = dict(queries.items_of_orders(fragment, limit, names=names))
    for item, number in items_of_orders(rows, limit) if rows else []:
        found.append((item, "order", rows[number] or number))
    return found


def _holders(hits: list[Hit]) -> list[Hit]:
    """What holds what was found: a component's serial leads to its frame too."""
    near = hits[:5]
    above = holders_by_item({item for item, _, _ in near})
    return [(holder, "component", text) for item, _, text in near for holder in sorted(above.get(item, ()))]


def _dressed(chosen: list[Found], *, names: bool) -> list[Found]:
    items = [found.unit.item_id for found in chosen]
    sent = queries.customers_holding(items) if names and items else {}
    here = [found.unit.item_id for found in chosen if found.unit.state != "dispatched"]
    where = places_of(here) if here else {}
    return [
        replace(one, customer=sent.get(one.unit.item_id, ""), place=where.get(one.unit.item_id, "")) for one in chosen
    ]
