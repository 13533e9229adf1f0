"""Where a thing went: from a heat, lot or component up to the units that hold it, with how, when and by whom."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from typing import Any

from django.db.models import QuerySet

from qcapp.core.identification import lookup_key

from ..models import Consumption, Heat, Installation, Lot, Piece, Unit
from ..states import LotState, UnitState
from .as_built import DEEPEST, HeatCard, LotCard, Node, heat_card, lot_card

MOST = 200  # drawn at a level, each way; the units are listed in full beside


@dataclass(frozen=True)
class UnitNamed:
    """A unit or component as its label names it."""

    item_id: int
    serial: str
    family_name: str
    state_label: str


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


def heats_into(heat_ids: Collection[int]) -> set[int]:
    """The units and lots that a heat of these went into directly."""
    return set(Consumption.objects.filter(heat__in=heat_ids).values_list("item_id", flat=True))


def uses_above(*, item_ids: Collection[int] = (), heat_ids: Collection[int] = ()) -> tuple[list[Node], bool]:
    """What these went into, and in turn what holds that, the latest first; and whether some were left out.

    What was taken out again stands there with the reason and is not followed. Two queries a level, one for heats.
    """
    root = Node("", "", "", "")
    level: dict[int, list[Node]] = {item: [root] for item in item_ids}
    cut = _draw_heats(root, heat_ids, level) if heat_ids else False
    seen = set(item_ids)
    for _ in range(DEEPEST):
        if not level:
            break
        level, more = _next_above(level)
        level = {item: nodes for item, nodes in level.items() if item not in seen}
        seen |= level.keys()
        cut = cut or more
    return root.below, cut


def _draw_heats(root: Node, heat_ids: Collection[int], level: dict[int, list[Node]]) -> bool:
    rows, more = _some(Consumption.objects.filter(heat__in=list(heat_ids)))
    for row in rows:
        node = _consumed(row)
        root.below.append(node)
        level.setdefault(row.item_id, []).append(node)
    return more


def _next_above(level: dict[int, list[Node]]) -> tuple[dict[int, list[Node]], bool]:
    """Hangs what directly holds the nodes on them; gives the new nodes by item, and whether some were left out."""
    deeper: dict[int, list[Node]] = {}
    installed, more = _some(Installation.objects.filter(component__in=list(level)), "place", "removal")
    for row in installed:
        node = _installed(row)
        for below in level[row.component_id]:
            below.below.append(node)
        if not hasattr(row, "removal"):
            deeper.setdefault(row.item_id, []).append(node)
    consumed, more_consumed = _some(Consumption.objects.filter(lot__item__in=list(level)), "lot")
    for use in consumed:
        node = _consumed(use)
        for below in level[use.lot.item_id]:
            below.below.append(node)
        deeper.setdefault(use.item_id, []).append(node)
    return deeper, more or more_consumed


def _some(rows: QuerySet[Any], *also: str) -> tuple[list[Any], bool]:
    found = list(
        rows.select_related("item__unit", "item__lot", "item__family", "by", *also).order_by("-id")[: MOST + 1]
    )
    return found[:MOST], len(found) > MOST


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
