"""Where used: a name that somebody reads out, everything that carries it, and the units that each went into."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime

from django.urls import reverse

from qcapp.core.errors import Invalid, NotFound
from qcapp.gauges.queries import gauge_by_number
from qcapp.goods.queries import mill_certificates_by_key, named
from qcapp.inspections.queries.sharing import items_measured_by_gauge, items_noting
from qcapp.lib.plain_text import shown
from qcapp.production.queries import where_used
from qcapp.production.queries.as_built import Node
from qcapp.production.queries.fixtures import fixture_by_number

from .answering import AffectedRow, dressed
from .asking import SOURCES, Term, written

LONGEST = 80


@dataclass(frozen=True)
class Thing:
    """Something that goes into units or that units were made with, under one name.

    `key` tells it from another of the same name; `question` asks who is affected by it, empty where none does.
    """

    key: str
    kind: str
    kind_label: str
    name: str
    detail: str
    url: str
    question: str = ""
    items: frozenset[int] = field(default=frozenset(), repr=False)
    heats: frozenset[int] = field(default=frozenset(), repr=False)


@dataclass(frozen=True)
class Uses:
    """A thing, what holds it from one to the next, and every unit that it reached, as it stands now.

    `cut` says that some of the ways are not drawn; the units are all there.
    """

    thing: Thing
    ways: list[Node]
    cut: bool
    rows: tuple[AffectedRow, ...]


def things_named(text: str, at: datetime) -> list[Thing]:
    """Everything of this name, units first. Raises Invalid `name_missing`, NotFound `nothing_of_that_name`.

    Serials, lots and heats are read as labels are: O and 0, I and 1, spaces and dashes are alike.
    """
    name = " ".join(text.replace("\0", " ").split())
    if not name or len(name) > LONGEST:
        raise Invalid("name_missing", f"Type a name of at most {LONGEST} characters: a heat, a lot, a serial.")
    keys = _keys_named(name)
    found = [thing for kind, look in LOOK.items() if kind in keys for thing in look(name, keys[kind], at)]
    found += _gauges(name, at)
    if not found:
        message = f"Nothing called {shown(name)} is recorded anywhere; read it again."
        raise NotFound("nothing_of_that_name", message, name=shown(name))
    return found


def _keys_named(name: str) -> dict[str, frozenset[int]]:
    """The keys of what is called so, by kind; of fixtures and fillers the items that name them. Two queries."""
    first, *others = [*where_used.kinds_named(name), *named.kinds_named(name)]
    found: dict[str, frozenset[int]] = {}
    for kind, key in first.union(*others):
        found[kind] = found.get(kind, frozenset()) | {key}
    noted = items_noting(name)
    welded_in = found.pop("welded_in", frozenset()) | noted.get("fixture", set())
    fillers = found.pop("filler", frozenset()).union(*(noted[key] for key in noted if key.startswith("filler")))
    if found.pop("fixture", None) or welded_in:
        found["fixture"] = welded_in
    return found | ({"filler": fillers} if fillers else {})


def uses_of(thing: Thing) -> Uses:
    """Where a thing is used now, with what it was taken out of again."""
    pieces = where_used.pieces_of_lots(thing.items) if thing.kind in ("lot", "delivery") else set()
    begun = thing.items | pieces
    ways = where_used.ways_up(item_ids=begun, heat_ids=thing.heats)
    own = thing.items if thing.kind == "component" else frozenset()
    made = thing.kind in ("component", "lot", "heat", "delivery", "certificate")
    tree, cut = where_used.drawn(ways, item_ids=begun, heat_ids=thing.heats) if made else ([], False)
    return Uses(thing, tree, cut, dressed(ways.reached - own, {}, ways.holders))


# ---------------------------------------------------------------------------------------------- what has the name


def _units(name: str, keys: Collection[int], at: datetime) -> Iterable[Thing]:
    for one in where_used.units_named(name):
        url = reverse("history:unit", args=[one.serial])
        detail = f"{one.family_name}, {one.state_label}"
        yield _thing("component", "Unit", one.item_id, one.serial, detail, url, items={one.item_id})


def _lots(name: str, keys: Collection[int], at: datetime) -> Iterable[Thing]:
    for one in where_used.lots_named(name):
        url = reverse("goods:lot", args=[one.code])
        detail = f"{one.family_name}, {one.quantity} pieces, {one.state_label}"
        yield _thing("lot", "Lot", one.id, one.code, detail, url, items={one.item_id})


def _heats(name: str, keys: Collection[int], at: datetime) -> Iterable[Thing]:
    for one in where_used.heats_named(name):
        url = reverse("goods:heat", args=[one.number])
        detail = f"{one.grade} of {one.supplier}, {one.state_label}"
        yield _thing("heat", "Heat", one.id, one.number, detail, url, heats={one.id})


def _deliveries(name: str, keys: Collection[int], at: datetime) -> Iterable[Thing]:
    for key in sorted(keys):
        one = named.brought_by(key)
        url, detail = reverse("goods:delivery", args=[one.number]), f"{one.supplier}, note {one.note_number}"
        yield _thing("delivery", "Delivery", one.id, one.number, detail, url, items=one.lots, heats=one.heats)


def _certificates(name: str, keys: Collection[int], at: datetime) -> Iterable[Thing]:
    for key, number, supplier, paper, heats in mill_certificates_by_key(keys):
        url = reverse("evidence:file", args=[paper])
        yield _thing("certificate", "Mill certificate", key, number, supplier, url, heats=heats)


def _fillers(name: str, items: Collection[int], at: datetime) -> Iterable[Thing]:
    yield _thing("filler", "Filler lot", 0, name, "rod or wire, as said before the arc", "", items=items)


def _gauges(name: str, at: datetime) -> Iterable[Thing]:
    try:
        one = gauge_by_number(name, at)
    except NotFound:
        return
    url = reverse("gauges:gauge", args=[one.number])
    yield _thing(
        "gauge", "Gauge", one.id, one.number, one.sentence, url, items=items_measured_by_gauge(one.id, None, None)
    )


def _fixtures(name: str, items: Collection[int], at: datetime) -> Iterable[Thing]:
    try:
        known = fixture_by_number(name, at)
    except NotFound:
        yield _thing("fixture", "Fixture", 0, name, "named in records, not in the register", "", items=items)
    else:
        url = reverse("production:fixture", args=[known.number])
        yield _thing("fixture", "Fixture", known.id, known.number, known.sentence, url, items=items)


def _thing(
    kind: str, label: str, key: int, name: str, detail: str, url: str, *, items: Iterable[int] = (),
    heats: Iterable[int] = (),
) -> Thing:  # fmt: skip
    question = written(Term(kind, name)) if kind in SOURCES else ""
    return Thing(f"{kind}-{key}", kind, label, name, detail, url, question, frozenset(items), frozenset(heats))


LOOK: Mapping[str, Callable[[str, Collection[int], datetime], Iterable[Thing]]] = {
    "unit": _units,
    "lot": _lots,
    "heat": _heats,
    "delivery": _deliveries,
    "certificate": _certificates,
    "filler": _fillers,
    "fixture": _fixtures,
}
