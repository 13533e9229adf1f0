"""The answer to "who is affected": each term asked of the room that knows it, the sets combined, the units dressed.

A unit is affected by what it holds: a fork with the heat in it makes its frame answer too, and a lot its units.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass
from datetime import datetime

from qcapp.core.errors import NotFound
from qcapp.customers.queries import Shipped, items_dispatched, shipped
from qcapp.gauges.queries import gauge_by_number
from qcapp.goods.queries import suppliers
from qcapp.inspections.queries import sharing as inspected
from qcapp.lib.site_days import day_begins, day_ends
from qcapp.people.queries import people_by_mark
from qcapp.plans.queries.recorded import RecordedCharacteristic, recorded_characteristics
from qcapp.production.queries import sharing as made

from .asking import SOURCES, Both, Either, Term, Tree, Without, terms_of, written

Found = set[int] | None
STANDINGS = {"in_build": "in build", "released": "in stock", "dispatched": "shipped", "scrapped": "scrapped"}
OUTSIDE = "out for a process"
ORDER = ("in build", "in stock", "shipped", "scrapped")


@dataclass(frozen=True, slots=True)
class AffectedRow:
    """One unit of the answer, as it stands when asked.

    `standing` is that of the outermost unit it is in, `holder`, where it is in one; customer and day likewise.
    `because` are the wanted terms that it answers.
    """

    item_id: int
    serial: str
    family: str
    standing: str
    holder: str
    on_hold: bool
    place: str
    order: str
    customer: str
    shipped_at: datetime | None
    because: tuple[str, ...]


@dataclass(frozen=True)
class Answer:
    """A question in its notation with its units: in build, in stock, shipped, scrapped; by serial in each."""

    question: str
    rows: tuple[AffectedRow, ...]

    @property
    def counts(self) -> list[tuple[str, int]]:
        """How many units stand where; what nobody is in is left out but for the first three."""
        found = Counter(row.standing for row in self.rows)
        return [(name, found[name]) for name in ORDER if found[name] or name != "scrapped"]

    @property
    def held(self) -> int:
        return sum(row.on_hold for row in self.rows)


# --------------------------------------------------------------------------------------------- one term, one set


def _texts(which: Callable[[RecordedCharacteristic], bool]) -> list[int]:
    return [one.id for one in recorded_characteristics() if which(one)]


def _since(term: Term) -> datetime | None:
    return day_begins(term.since) if term.since else None


def _until(term: Term) -> datetime | None:
    return day_ends(term.until) if term.until else None


def _merged(known: Found, also: set[int]) -> Found:
    """Both; None where the registry does not know the name and nobody ever wrote it down."""
    return (known or set()) | also if known is not None or also else None


def _heat(term: Term) -> Found:
    noted = inspected.items_recorded(_texts(lambda one: "heat" in one.forms), term.value)
    return _merged(made.items_of_heat_number(term.value), noted)


def _lot(term: Term) -> Found:
    noted = inspected.items_recorded(
        _texts(lambda one: one.key.endswith("_lot") and not one.key.startswith("filler")), term.value
    )
    return _merged(made.items_of_lot(term.value), noted)


def _component(term: Term) -> Found:
    return made.items_of_serial(term.value)


def _supplier(term: Term) -> Found:
    heats = made.items_of_supplier(term.value, suppliers.heats_delivered_by(term.value))
    others = made.items_of_lots(suppliers.lots_delivered_by(term.value)) | suppliers.items_processed_by(term.value)
    if heats is None and not others and suppliers.supplier_known(term.value):
        return set()
    return _merged(heats, others)


def _filler_notes() -> list[int]:
    return _texts(lambda one: one.key.startswith("filler"))


def _fixture_notes() -> list[int]:
    return _texts(lambda one: one.key == "fixture")


def _filler(term: Term) -> Found:
    return _in_time(term, made.items_with_filler, _filler_notes())


def _fixture(term: Term) -> Found:
    return _in_time(term, made.items_in_fixture, _fixture_notes())


def _in_time(term: Term, said: Callable[[str, datetime | None, datetime | None], set[int]], noted: list[int]) -> Found:
    """By what was said before the arc and by what was recorded; None where the name was never written down."""

    def ask(since: datetime | None, until: datetime | None) -> set[int]:
        return said(term.value, since, until) | inspected.items_recorded(noted, term.value, since, until)

    found = ask(_since(term), _until(term))
    return found if found or ask(None, None) else None


def _gauge(term: Term) -> Found:
    try:
        gauge = gauge_by_number(term.value)
    except NotFound:
        return None
    return inspected.items_measured_by_gauge(gauge.id, _since(term), _until(term))


def _welder(term: Term) -> Found:
    people = people_by_mark(term.value)
    return made.items_welded(people, _since(term), _until(term)) if people else None


def _inspector(term: Term) -> Found:
    people = people_by_mark(term.value)
    return inspected.items_inspected_by(people, _since(term), _until(term)) if people else None


def _plan(term: Term) -> Found:
    family, _, letter = term.value.rpartition("/")
    return inspected.items_on_plan(family.strip(), letter.strip()) or None


def _family(term: Term) -> Found:
    return made.items_of_family(term.value)


def _opened(term: Term) -> Found:
    return made.items_opened(_since(term), _until(term))


def _dispatched(term: Term) -> Found:
    return items_dispatched(_since(term), _until(term))


ASK: Mapping[str, Callable[[Term], Found]] = {
    "heat": _heat,
    "lot": _lot,
    "component": _component,
    "supplier": _supplier,
    "filler": _filler,
    "gauge": _gauge,
    "fixture": _fixture,
    "welder": _welder,
    "inspector": _inspector,
    "plan": _plan,
    "family": _family,
    "opened": _opened,
    "dispatched": _dispatched,
}


def items_of(term: Term) -> set[int]:
    """What one term names, with everything that holds it. Raises NotFound `nothing_of_that_name`.

    A name that nobody knows is refused: an empty answer to a slip of the pen would say that nobody is affected.
    """
    source = SOURCES[term.source]
    found = ASK[term.source](term)
    if found is None:
        name = f"{source.label.lower()} {term.value}"
        raise NotFound("nothing_of_that_name", f"No {name} is recorded anywhere; read it again.", about=name)
    return made.and_holders(found) if source.carried else found


# ------------------------------------------------------------------------------------------------ the whole answer


def answer(tree: Tree) -> Answer:
    """The units that the question names as the records stand now. Raises NotFound `nothing_of_that_name`."""
    sets = {term: items_of(term) for term in dict.fromkeys(terms_of(tree))}
    chosen = _combined(tree, sets, made.unit_items() if _excludes(tree) else frozenset())
    wanted = {written(term): sets[term] for term in dict.fromkeys(terms_of(tree, wanted_only=True))}
    return Answer(written(tree), dressed(chosen, wanted))


def _excludes(tree: Tree) -> bool:
    if isinstance(tree, Without):
        return True
    return isinstance(tree, Both | Either) and any(_excludes(part) for part in tree.parts)


def _combined(tree: Tree, sets: Mapping[Term, set[int]], every: frozenset[int] | set[int]) -> set[int]:
    if isinstance(tree, Term):
        return sets[tree]
    if isinstance(tree, Without):
        return set(every - _combined(tree.inner, sets, every))
    parts = [_combined(part, sets, every) for part in tree.parts]
    return set.intersection(*parts) if isinstance(tree, Both) else set.union(*parts)


def dressed(
    items: Collection[int], wanted: Mapping[str, set[int]], above: Mapping[int, int] | None = None
) -> tuple[AffectedRow, ...]:
    """Those of the items that are units, with where they stand; each with the wanted terms that it answers.

    `above` is what each component is in, where the caller knows it.
    """
    units = made.unit_rows(items)
    keys = {unit.item_id for unit in units}
    holders = made.holders_of(keys) if above is None else made.outermost_of(keys, above)
    further = set(holders.values()) - keys
    outermost = {row.item_id: row for row in [*units, *(made.unit_rows(further) if further else ())]}
    sent = shipped(keys | outermost.keys())
    held, places = made.on_hold_among(keys), made.places_of(keys)
    rows = [_row(unit, outermost.get(holders.get(unit.item_id, 0)), sent, held, places, wanted) for unit in units]
    return tuple(sorted(rows, key=lambda row: ORDER.index(row.standing)))


def _row(
    unit: made.UnitRow,
    holder: made.UnitRow | None,
    sent: Mapping[int, Shipped],
    held: set[int],
    places: Mapping[int, str],
    wanted: Mapping[str, set[int]],
) -> AffectedRow:
    outer = holder or unit
    left = sent.get(outer.item_id) if outer.state == "dispatched" else None
    return AffectedRow(
        item_id=unit.item_id,
        serial=unit.serial,
        family=unit.family_code,
        standing=STANDINGS[unit.state if unit.state == "scrapped" else outer.state],
        holder=holder.serial if holder else "",
        on_hold=unit.item_id in held,
        place="" if holder or left else OUTSIDE if unit.away else places.get(unit.item_id, ""),
        order=left.order_number if left else unit.order_number,
        customer=left.customer_number if left else "",
        shipped_at=left.at if left else None,
        because=tuple(name for name, found in wanted.items() if unit.item_id in found),
    )
