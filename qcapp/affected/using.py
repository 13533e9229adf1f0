"""Where used: a name that somebody reads out, everything that carries it, and the units that each went into."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from datetime import datetime

from django.urls import reverse

from qcapp.core.errors import Invalid, NotFound
from qcapp.gauges.queries import gauge_by_number
from qcapp.goods.queries import delivery_by_number, heats_in, mill_certificates_named
from qcapp.goods.queries.held import lots_in
from qcapp.lib.plain_text import shown
from qcapp.production.queries import sharing
from qcapp.production.queries.as_built import Node
from qcapp.production.queries.fixtures import fixture_by_number
from qcapp.production.queries.where_used import (
    heats_into,
    heats_named,
    lots_named,
    pieces_of_lots,
    units_named,
    uses_above,
)

from .answering import AffectedRow, dressed, items_of
from .asking import SOURCES, Term, checked, written

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
    found = [thing for look in LOOK for thing in look(name, at)]
    if not found:
        message = f"Nothing called {shown(name)} is recorded anywhere; read it again."
        raise NotFound("nothing_of_that_name", message, name=shown(name))
    return found


def uses_of(thing: Thing) -> Uses:
    """Where a thing is used now, with what it was taken out of again."""
    begun = thing.items | pieces_of_lots(thing.items)
    direct = begun | heats_into(thing.heats) if thing.heats else begun
    reached = sharing.and_holders(direct | pieces_of_lots(direct))
    own = thing.items if thing.kind == "component" else frozenset()
    made = thing.kind in ("component", "lot", "heat", "delivery", "certificate")
    ways, cut = uses_above(item_ids=begun, heat_ids=thing.heats) if made else ([], False)
    return Uses(thing, ways, cut, dressed(reached - own, {}))


# ---------------------------------------------------------------------------------------------- what has the name


def _units(name: str, at: datetime) -> Iterable[Thing]:
    for one in units_named(name):
        url = reverse("history:unit", args=[one.serial])
        detail = f"{one.family_name}, {one.state_label}"
        yield _thing("component", "Unit", one.item_id, one.serial, detail, url, items={one.item_id})


def _lots(name: str, at: datetime) -> Iterable[Thing]:
    for one in lots_named(name):
        url = reverse("goods:lot", args=[one.code])
        detail = f"{one.family_name}, {one.quantity} pieces, {one.state_label}"
        yield _thing("lot", "Lot", one.id, one.code, detail, url, items={one.item_id})


def _heats(name: str, at: datetime) -> Iterable[Thing]:
    for one in heats_named(name):
        url = reverse("goods:heat", args=[one.number])
        detail = f"{one.grade} of {one.supplier}, {one.state_label}"
        yield _thing("heat", "Heat", one.id, one.number, detail, url, heats={one.id})


def _deliveries(name: str, at: datetime) -> Iterable[Thing]:
    try:
        one = delivery_by_number(name)
    except NotFound:
        return
    lots = {lot.item_id for lot in lots_in(one.id)}
    url, detail = reverse("goods:delivery", args=[one.number]), f"{one.supplier}, note {one.note_number}"
    yield _thing("delivery", "Delivery", one.id, one.number, detail, url, items=lots, heats=heats_in(one.id))


def _certificates(name: str, at: datetime) -> Iterable[Thing]:
    for key, number, supplier, paper, heats in mill_certificates_named(name):
        url = reverse("evidence:file", args=[paper])
        yield _thing("certificate", "Mill certificate", key, number, supplier, url, heats=heats)


def _gauges(name: str, at: datetime) -> Iterable[Thing]:
    try:
        one = gauge_by_number(name, at)
    except NotFound:
        return
    url = reverse("gauges:gauge", args=[one.number])
    yield _thing("gauge", "Gauge", one.id, one.number, one.sentence, url, items=items_of(Term("gauge", one.number)))


def _fixtures(name: str, at: datetime) -> Iterable[Thing]:
    try:
        known = fixture_by_number(name, at)
    except NotFound:
        known = None
    items = _noted("fixture", name)
    if known is not None:
        url = reverse("production:fixture", args=[known.number])
        yield _thing("fixture", "Fixture", known.id, known.number, known.sentence, url, items=items)
    elif items:
        yield _thing("fixture", "Fixture", 0, name, "named in records, not in the register", "", items=items)


def _fillers(name: str, at: datetime) -> Iterable[Thing]:
    if items := _noted("filler", name):
        yield _thing("filler", "Filler lot", 0, name, "rod or wire, as said before the arc", "", items=items)


def _noted(source: str, name: str) -> set[int]:
    """The items with this name by what was recorded; none where nobody wrote it down."""
    try:
        return items_of(checked(Term(source, name)))
    except (NotFound, Invalid):
        return set()


def _thing(
    kind: str, label: str, key: int, name: str, detail: str, url: str, *, items: Iterable[int] = (),
    heats: Iterable[int] = (),
) -> Thing:  # fmt: skip
    question = written(Term(kind, name)) if kind in SOURCES else ""
    return Thing(f"{kind}-{key}", kind, label, name, detail, url, question, frozenset(items), frozenset(heats))


LOOK: tuple[Callable[[str, datetime], Iterable[Thing]], ...] = (
    _units,
    _lots,
    _heats,
    _deliveries,
    _certificates,
    _fillers,
    _gauges,
    _fixtures,
)
