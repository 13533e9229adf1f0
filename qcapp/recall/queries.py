"""What a gauge that was found out of tolerance has measured, judged again with the error that was found."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime
from decimal import Decimal
from typing import TYPE_CHECKING

from qcapp.core.errors import Invalid, NotFound
from qcapp.core.metrology.rejudging import Finding
from qcapp.customers.queries import Shipped, shipped
from qcapp.gauges.points import curves_of
from qcapp.gauges.queries import CalibrationCard, GaugeCard, calibrations_of, gauge_by_number
from qcapp.inspections.queries.by_gauge import (
    ComputedReading,
    GaugeReading,
    computed_from,
    readings_of_gauge,
    secret_readings,
)
from qcapp.lib.site_days import day_begins, day_ends
from qcapp.production.queries import held_items, state_label
from qcapp.production.queries.as_built import lots_of_pieces
from qcapp.production.queries.sharing import holders_of, places_of, serials_and_states

from .judging import GRAVEST_FIRST, Again, Judge, ReadingAgain, told
from .models import Recall

if TYPE_CHECKING:
    from qcapp.people.models import Person

GRAVENESS = {finding: place for place, finding in enumerate(GRAVEST_FIRST)}
Place = tuple[int, int, int]  # item, checkpoint, round


@dataclass(frozen=True)
class AffectedUnit:
    """A unit with what was measured on it, the gravest finding first; where it stands and whether it is held.

    `customer` is the number of who has it, or has the unit that it is in, and `shipped_at` since when; else `holder`
    is the unit that it is in now, and `place` where it, or that, was put last. `lot` is the lot of a drawn piece.
    """

    item_id: int
    serial: str
    state: str
    on_hold: bool
    worst: Finding
    readings: tuple[ReadingAgain, ...]
    customer: str = ""
    shipped_at: datetime | None = None
    holder: str = ""
    place: str = ""
    lot: str = ""


@dataclass(frozen=True)
class RecallCard:
    """A hold that was placed because of this calibration."""

    report: str
    reason: str
    units: int
    by_name: str
    at: datetime


@dataclass(frozen=True)
class RecallView:
    """Everything about one calibration that found the gauge wrong. `since` is the last good one before it."""

    gauge: GaugeCard
    calibration: CalibrationCard
    since: date | None
    uncertainty: Decimal
    units: tuple[AffectedUnit, ...]
    readings: int
    done: tuple[RecallCard, ...]
    note: str

    @property
    def counts(self) -> list[tuple[str, int]]:
        """How many units stand with each finding, the gravest first."""
        found = Counter(unit.worst for unit in self.units)
        return [(finding.value, found[finding]) for finding in GRAVEST_FIRST]

    @property
    def proven(self) -> list[AffectedUnit]:
        return [unit for unit in self.units if unit.worst == Finding.STILL_IN_BAND]

    @property
    def in_doubt(self) -> list[AffectedUnit]:
        return [unit for unit in self.units if unit.worst != Finding.STILL_IN_BAND]


NO_POINTS = (
    "The calibration gives no points, so how wrong the gauge was is not known: every reading since the last good "
    "calibration is doubtful."
)
NO_VALUE = (
    "A {kind} shows no value of its own, so nothing can be judged again by numbers: everything that it was used for "
    "since the last good calibration is doubtful."
)
NOT_IN_ORDER = "Looked at and not in order: {questions}. How much that did to a reading is not known; none is proven."


def recall_of(number: str, calibration_id: int, *, at: datetime, viewer: Person | None = None) -> RecallView:
    """What the gauge has measured between its last good calibration and this one, judged again.

    With `viewer`, first answers that wait for this person's second inspection are kept back. Raises NotFound
    `gauge_unknown`, `calibration_unknown`, Invalid `gauge_was_right`.
    """
    gauge = gauge_by_number(number, at)
    every = calibrations_of(gauge.id)
    found = next((one for one in every if one.id == calibration_id), None)
    if found is None:
        raise NotFound("calibration_unknown", f"Gauge {gauge.number} has no such calibration; open it from its page.")
    if not found.found_out:
        message = f"Gauge {gauge.number} was within its limits of error then, so nothing that it measured is in doubt."
        raise Invalid("gauge_was_right", message)
    since = next((one.done_on for one in every if one.done_on < found.done_on and one.outcome == "passed"), None)
    begin = None if since is None else day_begins(since)
    readings = readings_of_gauge(gauge.id, begin, day_ends(found.done_on))
    uncertainty = found.expanded_uncertainty or Decimal(0)
    units = _units(_judged(readings, _judge(gauge, found, uncertainty), viewer, at))
    return RecallView(
        gauge, found, since, uncertainty, units, len(readings), _done(found.id), " ".join(_notes(gauge, found))
    )


def _judge(gauge: GaugeCard, found: CalibrationCard, uncertainty: Decimal) -> Judge:
    curves = curves_of(found.points) if gauge.profile.reads else []
    return Judge(curves, uncertainty, gauge.unit_of_measure, doubted=bool(found.not_in_order))


def _notes(gauge: GaugeCard, found: CalibrationCard) -> Iterable[str]:
    """Why something is doubtful whatever the numbers say."""
    if not gauge.profile.reads:
        yield NO_VALUE.format(kind=gauge.kind_name)
    elif not found.points:
        yield NO_POINTS
    if found.not_in_order:
        yield NOT_IN_ORDER.format(questions="; ".join(found.not_in_order))


Listed = tuple[int, ReadingAgain]  # the item, and one answer of it


def _judged(readings: list[GaugeReading], judge: Judge, viewer: Person | None, at: datetime) -> list[Listed]:
    """Every answer with its item: those that were read, then those that were computed from them."""
    computed = judge.computed(computed_from(readings), readings)
    every: list[GaugeReading | ComputedReading] = [*readings, *(one for one, _ in computed)]
    secret = secret_readings({_place(one) for one in every} if viewer else (), viewer=viewer, at=at)
    again: list[tuple[GaugeReading | ComputedReading, Again]] = [
        *((one, judge.reading(one)) for one in readings), *computed
    ]  # fmt: skip
    return [(one.item_id, told(one, found, hidden=bool(secret) and _place(one) in secret)) for one, found in again]


def _place(one: GaugeReading | ComputedReading) -> Place:
    return one.item_id, one.checkpoint.id, one.round


def _units(listed: Iterable[Listed]) -> tuple[AffectedUnit, ...]:
    by_item: dict[int, list[ReadingAgain]] = defaultdict(list)
    for item, again in listed:
        by_item[item].append(again)
    held, where = held_items(by_item), _whereabouts(by_item)
    units = [where.put(_unit(item, some, item in held, where.known.get(item))) for item, some in by_item.items()]
    return tuple(sorted(units, key=lambda unit: (GRAVENESS[unit.worst], unit.serial)))


def _unit(item: int, some: Collection[ReadingAgain], held: bool, known: tuple[str, str] | None) -> AffectedUnit:
    ordered = tuple(sorted(some, key=lambda one: (GRAVENESS[one.finding], one.number)))
    serial, state = known or ("no serial", "")
    return AffectedUnit(item, serial, state_label(state), held, ordered[0].finding, ordered)


@dataclass(frozen=True)
class _Where:
    """Where each of many items is: shipped, in another unit, at a place, of which lot."""

    known: Mapping[int, tuple[str, str]]  # serial and state of all of them, and of what holds them
    holders: Mapping[int, int]
    sent: Mapping[int, Shipped]
    places: Mapping[int, str]
    lots: Mapping[int, str]

    def put(self, unit: AffectedUnit) -> AffectedUnit:
        """The unit with where it is."""
        outer = self.holders.get(unit.item_id, unit.item_id)
        left, (holding, _) = self.sent.get(outer), self.known.get(outer, ("", ""))
        holder = holding if outer != unit.item_id else ""
        if left is not None:
            return replace(unit, customer=left.customer_number, shipped_at=left.at, holder=holder)
        return replace(unit, holder=holder, place=self.places.get(outer, ""), lot=self.lots.get(unit.item_id, ""))


def _whereabouts(items: Collection[int]) -> _Where:
    holders = holders_of(items)
    outer = {*items, *holders.values()}
    return _Where(serials_and_states(outer), holders, shipped(outer), places_of(outer), lots_of_pieces(items))


def _done(calibration_id: int) -> tuple[RecallCard, ...]:
    rows = Recall.objects.filter(calibration=calibration_id).select_related("signature__person").order_by("-id")
    return tuple(
        RecallCard(row.report, row.reason, len(row.held_items), row.signature.person.name, row.at) for row in rows
    )


def chosen_units(view: RecallView, item_ids: Collection[int]) -> list[AffectedUnit]:
    """The units of the view with these keys. Raises Invalid `units_not_affected`, `no_unit_chosen`."""
    wanted = set(item_ids)
    if not wanted:
        raise Invalid("no_unit_chosen", "Choose at least one unit to put on hold.")
    found = [unit for unit in view.units if unit.item_id in wanted]
    if len(found) != len(wanted):
        raise Invalid("units_not_affected", "Some of these units were not measured with it; open the list again.")
    return found
