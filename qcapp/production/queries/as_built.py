"""What went into a unit: components, lots, heats; and where a component, lot or heat went."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from uuid import UUID

from django.db.models import Q, QuerySet

from qcapp.core.errors import NotFound
from qcapp.lib.plain_text import shown

from ..models import Consumption, Heat, Installation, Lot, Piece, Unit
from ..states import USABLE_LOTS, HeatState, LotState
from . import UnitCard, units_of_items

DEEPEST = 12  # levels of a tree; a frame has three


@dataclass(frozen=True)
class HeatCard:
    """A melt of steel and what was decided about it."""

    id: int
    number: str
    supplier: str
    grade: str
    state: str
    state_label: str
    entered_at: datetime

    @property
    def usable(self) -> bool:
        return self.state == HeatState.ACCEPTED


@dataclass(frozen=True)
class LotCard:
    """Parts made together; `usable` once its inspection accepted it or every piece was sorted, while in the house."""

    id: int
    item_id: int
    item_uuid: UUID
    code: str
    family_id: int
    family_code: str
    family_name: str
    number: int
    quantity: int
    state: str
    state_label: str
    opened_by_name: str
    opened_at: datetime
    away: bool = False  # sent out for a process and not received back

    @property
    def usable(self) -> bool:
        return self.state in USABLE_LOTS and not self.away


@dataclass(frozen=True)
class InstalledCard:
    """A component in a unit; `removed_at` is None while it is there."""

    uuid: UUID
    item_id: int
    component_item_id: int
    serial: str
    family_name: str
    component_state: str
    link: str
    link_label: str
    place_code: str
    by_name: str
    at: datetime
    removed_at: datetime | None
    removed_by_name: str
    removed_reason: str


@dataclass(frozen=True)
class UsedCard:
    """A heat or lot that went into an item."""

    item_id: int
    heat: HeatCard | None
    lot: LotCard | None
    use: str
    quantity: int | None
    by_name: str
    at: datetime


@dataclass
class Node:
    """One thing in the tree of a unit: a component with what is below it, a lot with its heats, or a heat."""

    kind: str  # "unit", "lot", "heat"
    name: str
    detail: str
    state: str
    link: str = ""
    at: datetime | None = None
    by_name: str = ""
    below: list[Node] = field(default_factory=list)
    heat_id: int = 0  # of a heat: its key

    @property
    def size(self) -> int:
        """How many things are below it, at every level."""
        return sum(1 + node.size for node in self.below)


# -------------------------------------------------------------------------------------------- heats and lots


def heat_by_number(number: str, supplier: str = "") -> HeatCard:
    """The heat with this number, of this supplier where two have it. Raises NotFound `heat_unknown`.

    Where only a number can be typed, "H4711 of Brook Tube" says whose it is.
    """
    wanted = number.strip()
    rows = [] if "\0" in wanted + supplier else list(_heats(wanted, supplier)[:2])
    if not rows and not supplier and " of " in wanted and "\0" not in wanted:
        rows = list(_heats(*(part.strip() for part in wanted.split(" of ", 1)))[:2])
    if len(rows) != 1:
        name = shown(wanted)
        message = f"There is no heat {name}; read the mark again or enter its mill certificate first."
        if rows:
            message = f"Two suppliers have a heat {name}; say whose it is, such as “{name} of {rows[0].supplier}”."
        raise NotFound("heat_unknown", message, heat=name)
    return heat_card(rows[0])


def _heats(number: str, supplier: str) -> QuerySet[Heat]:
    rows = Heat.objects.filter(number__iexact=number).order_by("-id")
    return rows.filter(supplier__iexact=supplier.strip()) if supplier.strip() else rows


def heats(limit: int = 200) -> list[HeatCard]:
    """The heats entered last, the newest first."""
    return [heat_card(row) for row in Heat.objects.order_by("-id")[:limit]]


def heat_card(row: Heat) -> HeatCard:
    """The card of a row already read."""
    label = HeatState(row.state).label
    return HeatCard(row.pk, row.number, row.supplier, row.grade, row.state, label, row.entered_at)


def lot_by_code(code: str) -> LotCard:
    """The lot with this code. Raises NotFound `lot_unknown`."""
    wanted = code.strip().upper()
    row = None if "\0" in wanted else _lots().filter(code=wanted).first()
    if row is None:
        name = shown(wanted)
        raise NotFound("lot_unknown", f"There is no lot {name}; read its label again.", lot=name)
    return lot_card(row)


def lots(limit: int = 200) -> list[LotCard]:
    """The lots opened last, the newest first."""
    return [lot_card(row) for row in _lots().order_by("-id")[:limit]]


def lots_by_id(lot_ids: Iterable[int]) -> list[LotCard]:
    """These lots, in the order opened."""
    return [lot_card(row) for row in _lots().filter(pk__in=list(lot_ids)).order_by("id")]


def lots_of_heats(heat_ids: Collection[int]) -> list[LotCard]:
    """The lots made of one of the heats, in the order opened."""
    rows = Consumption.objects.filter(heat__in=heat_ids, item__lot__isnull=False)
    return lots_by_id(rows.values_list("item__lot", flat=True)) if heat_ids else []


def _lots() -> QuerySet[Lot]:
    return Lot.objects.select_related("item__family", "opened_by")


def lot_card(row: Lot) -> LotCard:
    """The card of a row already read with its family."""
    family = row.item.family
    return LotCard(
        row.pk, row.item_id, row.item.uuid, row.code, family.pk, family.code, family.name, row.number, row.quantity,
        row.state, LotState(row.state).label, row.opened_by.name, row.opened_at, row.away,
    )  # fmt: skip


def lot_of_piece(item_id: int) -> LotCard | None:
    """The lot that a numbered piece was drawn from; None for an item that is no piece of a lot."""
    code = Piece.objects.filter(item=item_id).values_list("lot__code", flat=True).first()
    return lot_by_code(code) if code else None


def lots_of_pieces(item_ids: Collection[int]) -> dict[int, str]:
    """The code of the lot of each of these items that is a numbered piece of one; one query."""
    return dict(Piece.objects.filter(item__among=item_ids).values_list("item_id", "lot__code"))


def pieces_of(lot_id: int) -> list[tuple[int, UnitCard]]:
    """The numbered pieces of a lot that were drawn, each as what is inspected."""
    rows = dict(Piece.objects.filter(lot=lot_id).order_by("number").values_list("item_id", "number"))
    cards = units_of_items(rows)
    return [(number, cards[item]) for item, number in rows.items()]


def used_in(item_ids: Iterable[int]) -> list[UsedCard]:
    """The heats and lots that went into these items, the oldest first."""
    rows = Consumption.objects.filter(item__in=list(item_ids)).order_by("id")
    rows = rows.select_related("heat", "lot__item__family", "lot__opened_by", "by")
    return [
        UsedCard(
            row.item_id,
            heat_card(row.heat) if row.heat else None,
            lot_card(row.lot) if row.lot else None,
            row.use,
            row.quantity,
            row.by.name,
            row.at,
        )
        for row in rows
    ]


# ------------------------------------------------------------------------------------------------ components


def installed_in(item_ids: Iterable[int], *, removed: bool = False) -> list[InstalledCard]:
    """The components in these items, the oldest first; with `removed` also those taken out since."""
    return _installed(Q(item__in=list(item_ids)), removed)


def installations_of(component_item_id: int) -> list[InstalledCard]:
    """Every unit that a component was in, the oldest first."""
    return _installed(Q(component=component_item_id), True)


def holder_of(component_item_id: int) -> str:
    """The serial of the unit that the component is in now; empty for one that is in none."""
    rows = Installation.objects.filter(component=component_item_id, removal__isnull=True)
    return rows.order_by("-id").values_list("item__unit__serial", flat=True).first() or ""


def _installed(which: Q, removed: bool) -> list[InstalledCard]:
    rows = Installation.objects.filter(which).order_by("id")
    if not removed:
        rows = rows.filter(removal__isnull=True)
    rows = rows.select_related("component__unit", "component__family", "place", "by", "removal__by")
    return [_installed_card(row) for row in rows]


def _installed_card(row: Installation) -> InstalledCard:
    removal = getattr(row, "removal", None)  # an installation that stands has none
    return InstalledCard(
        uuid=row.uuid,
        item_id=row.item_id,
        component_item_id=row.component_id,
        serial=row.component.unit.serial,
        family_name=row.component.family.name,
        component_state=row.component.unit.state,
        link=row.link,
        link_label=row.get_link_display(),
        place_code=row.place.code if row.place else "",
        by_name=row.by.name,
        at=row.at,
        removed_at=removal.at if removal else None,
        removed_by_name=removal.by.name if removal else "",
        removed_reason=removal.reason if removal else "",
    )


def tree_of(unit: UnitCard) -> Node:
    """The unit with everything below it: components, the lots and heats of each; four queries a level."""
    root = Node("unit", unit.serial, unit.family_name, unit.state_label)
    level = {unit.item_id: [root]}
    for _ in range(DEEPEST):
        if not level:
            break
        level = _next_level(level)
    return root


def _next_level(level: dict[int, list[Node]]) -> dict[int, list[Node]]:
    """Hangs what is directly below the nodes on them; gives the new nodes by item."""
    deeper: dict[int, list[Node]] = {}
    units = [item for item, nodes in level.items() if nodes[0].kind == "unit"]  # a lot has no components
    for card in installed_in(units) if units else ():
        state = card.component_state.replace("_", " ")
        node = Node("unit", card.serial, card.family_name, state, card.link_label, card.at, card.by_name)
        deeper.setdefault(card.component_item_id, []).append(node)
        for above in level[card.item_id]:
            above.below.append(node)
    for used in used_in(level):
        node, item = _used_node(used)
        if item is not None:
            deeper.setdefault(item, []).append(node)
        for above in level[used.item_id]:
            above.below.append(node)
    return deeper


def _used_node(used: UsedCard) -> tuple[Node, int | None]:
    if used.lot is not None:
        detail = f"{used.lot.family_name}, lot of {used.lot.quantity}" + (f", {used.use}" if used.use else "")
        return Node("lot", used.lot.code, detail, used.lot.state_label, "", used.at, used.by_name), used.lot.item_id
    heat = used.heat
    assert heat is not None  # noqa: S101 - the table's constraint: a heat or a lot
    detail = f"{heat.grade}, {heat.supplier}" + (f", {used.use}" if used.use else "")
    return Node("heat", heat.number, detail, heat.state_label, "", used.at, used.by_name, heat_id=heat.id), None


# ------------------------------------------------------------------------------------------------ where used


def items_above(item_ids: Iterable[int]) -> set[int]:
    """The units that these items are in now, directly or through another component or lot; not the items themselves."""
    begun = set(item_ids)
    return set(begun.union(*_edges_above(begun).values())) - begun


def holders_by_item(item_ids: Collection[int]) -> dict[int, set[int]]:
    """As `items_above`, for each of the items by itself; those that are in nothing are left out."""
    edges = _edges_above(set(item_ids))
    return {item: _reached(item, edges) for item in item_ids if item in edges}


def _reached(item: int, edges: Mapping[int, set[int]]) -> set[int]:
    found: set[int] = set()
    frontier = {item}
    while frontier:
        above = {holder for one in frontier for holder in edges.get(one, ())}
        frontier = above - found
        found |= above
    return found - {item}


def _edges_above(begun: set[int]) -> dict[int, set[int]]:
    """What each item is in, and that in turn; one query for each level."""
    edges: dict[int, set[int]] = {}
    asked, frontier = set(begun), begun
    for _ in range(DEEPEST):
        if not frontier:
            break
        inside = Installation.objects.filter(component__among=frontier, removal__isnull=True)
        of_lots = Consumption.objects.filter(lot__item__among=frontier).values_list("lot__item_id", "item_id")
        for below, above in inside.values_list("component_id", "item_id").union(of_lots):
            edges.setdefault(below, set()).add(above)
        frontier = set().union(*edges.values()) - asked
        asked |= frontier
    return edges


def items_of_heat(heat_id: int) -> set[int]:
    """Every item that holds the heat, directly or through a lot or component."""
    return items_of_heats([heat_id])


def items_of_heats(heat_ids: Collection[int]) -> set[int]:
    """Every item that holds one of the heats, directly or through a lot, a piece of one, or a component."""
    direct = set(Consumption.objects.filter(heat__in=heat_ids).values_list("item_id", flat=True))
    if not direct:
        return set()
    direct |= set(Piece.objects.filter(lot__item__in=direct).values_list("item_id", flat=True))
    return direct | items_above(direct)


def items_that_are_units(item_ids: Collection[int]) -> list[int]:
    """Those of the items that are units, the newest first; one query."""
    rows = Unit.objects.filter(item__in=list(item_ids)).order_by("-item_id")
    return list(rows.values_list("item_id", flat=True))
