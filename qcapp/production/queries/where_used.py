"""Where a thing went: from a heat, lot or component up to the units that hold it, with how, when and by whom."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from typing import Any, NamedTuple

from django.db.models import BigIntegerField, F, IntegerField, QuerySet, Value
from django.db.models.functions import Coalesce

from qcapp.core.identification import lookup_key

from ..models import Consumption, Fixture, Heat, Installation, Lot, Piece, Unit, WeldStart
from ..states import LotState, UnitState
from .as_built import DEEPEST, HeatCard, LotCard, Node, heat_card, lot_card

MOST = 200  # drawn at a level, each way; the units are listed in full beside
IN_UNIT, OF_LOT, OF_HEAT, PIECE = range(4)  # what an edge is


@dataclass(frozen=True)
class UnitNamed:
    """A unit or component as its label names it."""

    item_id: int
    serial: str
    family_name: str
    state_label: str


def kinds_named(text: str) -> list[QuerySet[Any, tuple[str, int]]]:
    """What is called so, as parts of a union: "unit", "lot", "heat", "fixture" with the key of the row.

    "filler" and "welded_in" with the item that was welded with this lot of filler, or in a fixture of this name.
    """
    parts = [("unit", _alike(Unit, text), "pk"), ("lot", _alike(Lot, text), "pk"), ("heat", _alike(Heat, text), "pk")]
    parts += [("fixture", Fixture.objects.filter(number__iexact=text), "pk")]
    parts += [("filler", WeldStart.objects.filter(filler_lot__iexact=text), "item_id")]
    parts += [("welded_in", WeldStart.objects.filter(fixture__iexact=text), "item_id")]
    return [rows.order_by().annotate(what=Value(kind)).values_list("what", key) for kind, rows, key in parts]


def heats_named(text: str) -> list[HeatCard]:
    """The heats of this number, of every supplier; O and 0, I and 1, spaces and dashes are alike."""
    return [heat_card(row) for row in _alike(Heat, text).order_by("-id")]


def lots_named(text: str) -> list[LotCard]:
    """The lots of this code, likewise."""
    return [lot_card(row) for row in _alike(Lot, text).select_related("item__family", "opened_by").order_by("-id")]


def units_named(text: str) -> list[UnitNamed]:
    """The units of this serial, likewise; drawn pieces of lots among them."""
    rows = _alike(Unit, text).select_related("item__family").order_by("-id")
    return [UnitNamed(row.item_id, row.serial, row.item.family.name, UnitState(row.state).label) for row in rows]


def _alike(model: type[Any], text: str) -> QuerySet[Any]:
    """The rows of a model with a `lookup` that reads like the text."""
    key = lookup_key(text.replace("\0", ""))
    found: QuerySet[Any] = model.objects.filter(lookup=key) if key else model.objects.none()
    return found


def pieces_of_lots(item_ids: Iterable[int]) -> set[int]:
    """The numbered pieces of those of the items that are lots: what is true of the lot is true of each."""
    return set(Piece.objects.filter(lot__item__in=list(item_ids)).values_list("item_id", flat=True))


# ------------------------------------------------------------------------------------------------- the ways up


class Edge(NamedTuple):
    """One row that put something into something; `below` and `above` are items, of OF_HEAT `below` is the heat.

    `removal` is the key of the row that took it out again, 0 while it is there.
    """

    kind: int
    row: int
    below: int
    above: int
    removal: int


@dataclass(frozen=True)
class WaysUp:
    """Everything that some items and heats went into, as edges.

    `reached` is the items themselves with all that holds them now; what is true of a lot is true of its pieces.
    `holders` is the unit that each component among them is in now.
    """

    edges: tuple[Edge, ...]
    reached: frozenset[int]
    holders: Mapping[int, int]


def ways_up(*, item_ids: Collection[int] = (), heat_ids: Collection[int] = ()) -> WaysUp:
    """The edges from these items and heats upward; one query a level."""
    edges: list[Edge] = []
    seen, frontier, heats = set(item_ids), set(item_ids), set(heat_ids)
    for _ in range(DEEPEST):
        if not frontier and not heats:
            break
        found = _edges_from(frontier, heats)
        edges += found
        frontier = {edge.above for edge in found if not edge.removal} - seen
        seen |= frontier
        heats = set()
    holders = {edge.below: edge.above for edge in edges if edge.kind == IN_UNIT and not edge.removal}
    return WaysUp(tuple(edges), frozenset(seen), holders)


def _edges_from(items: Collection[int], heats: Collection[int]) -> list[Edge]:
    parts: list[tuple[int, QuerySet[Any], str, str]] = []
    if items:
        parts = [
            (IN_UNIT, Installation.objects.filter(component__among=items), "component_id", "item_id"),
            (OF_LOT, Consumption.objects.filter(lot__item__among=items), "lot__item_id", "item_id"),
            (PIECE, Piece.objects.filter(item__among=items), "item_id", "lot__item_id"),
            (PIECE, Piece.objects.filter(lot__item__among=items), "lot__item_id", "item_id"),
        ]
    if heats:
        parts += [(OF_HEAT, Consumption.objects.filter(heat__among=heats), "heat_id", "item_id")]
    first, *others = [_as_edges(*part) for part in parts]
    return [Edge(*row) for row in first.union(*others, all=True)]


def _as_edges(kind: int, rows: QuerySet[Any], below: str, above: str) -> QuerySet[Any, tuple[Any, ...]]:
    gone = Coalesce("removal", 0) if kind == IN_UNIT else Value(0, output_field=BigIntegerField())
    told = rows.order_by().annotate(
        what=Value(kind, output_field=IntegerField()), row=F("pk"), below=F(below), above=F(above), gone=gone
    )
    return told.values_list("what", "row", "below", "above", "gone")


def drawn(ways: WaysUp, *, item_ids: Collection[int] = (), heat_ids: Collection[int] = ()) -> tuple[list[Node], bool]:
    """What these went into, and in turn what holds that, the latest first; and whether some were left out.

    What was taken out again stands there with the reason and is not followed. Two queries, however deep.
    """
    levels, cut = _levels(ways.edges, item_ids)
    nodes = _nodes([edge for level in levels for edge in level])
    root = Node("", "", "", "")
    hanging: dict[int, list[Node]] = {item: [root] for item in item_ids}
    for edge in levels[0]:
        root.below.append(nodes[edge.kind, edge.row])
        hanging.setdefault(edge.above, []).append(nodes[edge.kind, edge.row])
    for level in levels[1:]:
        deeper: dict[int, list[Node]] = {}
        for edge in level:
            for below in hanging[edge.below]:
                below.below.append(nodes[edge.kind, edge.row])
            if not edge.removal:
                deeper.setdefault(edge.above, []).append(nodes[edge.kind, edge.row])
        hanging = deeper
    return root.below, cut


def _levels(edges: Collection[Edge], items: Collection[int]) -> tuple[list[list[Edge]], bool]:
    """The edges to draw: those from heats, then level by level those from the items and from what was drawn before."""
    from_item: dict[int, list[Edge]] = {}
    for edge in edges:
        if edge.kind in (IN_UNIT, OF_LOT):
            from_item.setdefault(edge.below, []).append(edge)
    level, cut = _latest([edge for edge in edges if edge.kind == OF_HEAT])
    levels, seen = [level], set(items)
    frontier = seen | {edge.above for edge in level}
    while found := [edge for item in frontier for edge in from_item.get(item, ())]:
        level, more = _latest(found)
        levels.append(level)
        cut = cut or more
        frontier = {edge.above for edge in level if not edge.removal} - seen
        seen |= frontier
    return levels, cut


def _latest(edges: Collection[Edge]) -> tuple[list[Edge], bool]:
    """The latest MOST of each kind, components first, and whether there were more."""
    ordered = sorted(edges, key=lambda edge: (edge.kind, -edge.row))
    by_kind = [[edge for edge in ordered if edge.kind == kind] for kind in (IN_UNIT, OF_LOT, OF_HEAT)]
    return [edge for found in by_kind for edge in found[:MOST]], any(len(found) > MOST for found in by_kind)


def _nodes(edges: Collection[Edge]) -> dict[tuple[int, int], Node]:
    """What the rows of these edges put something into, by kind and row."""
    installed = [edge.row for edge in edges if edge.kind == IN_UNIT]
    consumed = {edge.row: edge.kind for edge in edges if edge.kind != IN_UNIT}
    found: dict[tuple[int, int], Node] = {}
    if installed:
        rows: QuerySet[Any] = Installation.objects.filter(pk__among=installed)
        found = {(IN_UNIT, row.pk): _installed(row) for row in _with_holder(rows, "place", "removal")}
    if consumed:
        uses: QuerySet[Any] = Consumption.objects.filter(pk__among=list(consumed))
        found |= {(consumed[row.pk], row.pk): _consumed(row) for row in _with_holder(uses)}
    return found


def _with_holder(rows: QuerySet[Any], *also: str) -> QuerySet[Any]:
    return rows.select_related("item__unit", "item__lot", "item__family", "by", *also)


def _installed(row: Installation) -> Node:
    removal = getattr(row, "removal", None)  # an installation that stands has none
    how = row.get_link_display()
    if row.place:
        how += f" at {row.place.code}"
    if removal is not None:
        how += f", taken out {removal.at.day} {removal.at:%b %Y}: {removal.reason}"
    return _holder(row, how)


def _consumed(row: Consumption) -> Node:
    pieces = f"{row.quantity} piece{'s' if row.quantity != 1 else ''}" if row.quantity else ""
    return _holder(row, ", ".join(part for part in (pieces, row.use) if part))


def _holder(row: Any, how: str) -> Node:
    """The unit or lot that the row put something into."""
    family = row.item.family.name
    if hasattr(row.item, "lot"):
        lot = row.item.lot
        detail = f"{family}, lot of {lot.quantity}"
        return Node("lot", lot.code, detail, LotState(lot.state).label, how, row.at, row.by.name)
    unit = row.item.unit
    return Node("unit", unit.serial, family, UnitState(unit.state).label, how, row.at, row.by.name)
