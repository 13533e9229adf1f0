"""What a gauge that was found out of tolerance has measured, judged again with the error that was found."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

from qcapp.core.checkpoints.counted import together
from qcapp.core.errors import Invalid, NotFound, QcError
from qcapp.core.metrology.quantities import as_text, convert
from qcapp.core.metrology.rejudging import ErrorCurve, ErrorPoint, Finding, judge_again
from qcapp.customers.queries import Shipped, shipped
from qcapp.gauges.queries import CalibrationCard, GaugeCard, calibrations_of, gauge_by_number
from qcapp.inspections.queries.by_gauge import GaugeReading, readings_of_gauge
from qcapp.lib.site_days import day_begins, day_ends
from qcapp.production.queries import held_items, state_label
from qcapp.production.queries.sharing import holders_of

from .models import Recall

Judged = tuple[str, str, str, Finding]  # the values as shown, the error, the corrected value, what can be said
GRAVEST_FIRST = (Finding.OUT_OF_BAND, Finding.DOUBTFUL, Finding.STILL_IN_BAND)


@dataclass(frozen=True)
class ReadingAgain:
    """One answer judged again. `corrected` is empty where the calibration gives no points."""

    number: int
    title: str
    limits: str
    value: str
    error: str
    corrected: str
    finding: Finding
    outcome: str
    recorded_at: datetime

    @property
    def known_then(self) -> bool:
        """Whether the answer was out of band as it was recorded, so that a report stands since."""
        return self.outcome == "out_of_band"


@dataclass(frozen=True)
class AffectedUnit:
    """A unit with what was measured on it, the gravest finding first; where it stands and whether it is held.

    `customer` is the number of who has it, or has the unit that it is in, and `shipped_at` since when; else empty.
    """

    item_id: int
    serial: str
    state: str
    on_hold: bool
    worst: Finding
    readings: tuple[ReadingAgain, ...]
    customer: str = ""
    shipped_at: datetime | None = None


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


def recall_of(number: str, calibration_id: int, *, at: datetime) -> RecallView:
    """What the gauge has measured between its last good calibration and this one, judged again.

    Raises NotFound `gauge_unknown`, `calibration_unknown`, Invalid `gauge_was_right`.
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
    units = _units(readings, _judged(readings, gauge, found, uncertainty))
    note = "" if found.points else NO_POINTS
    return RecallView(gauge, found, since, uncertainty, units, len(readings), _done(found.id), note)


def _judged(
    readings: Sequence[GaugeReading], gauge: GaugeCard, found: CalibrationCard, uncertainty: Decimal
) -> list[ReadingAgain]:
    points = [ErrorPoint(point.reference, point.error_found) for point in found.points]
    curve = ErrorCurve(points) if points else None
    known: dict[tuple[object, ...], Judged] = {}  # thousands of readings show the same few values
    again = []
    for reading in readings:
        key = (id(reading.checkpoint), reading.added, *map(str, reading.values))
        if key not in known:
            known[key] = _judged_once(reading, curve, uncertainty, gauge.unit_of_measure)
        again.append(_again(reading, *known[key]))
    return again


def _again(reading: GaugeReading, shown: str, error: str, corrected: str, finding: Finding) -> ReadingAgain:
    one = reading.checkpoint
    return ReadingAgain(
        one.number, one.title, one.limits_text, shown, error, corrected,
        finding, reading.outcome, reading.recorded_at,
    )  # fmt: skip


def _judged_once(reading: GaugeReading, curve: ErrorCurve | None, uncertainty: Decimal, unit: str) -> Judged:
    """The answer's gravest reading. One in a unit that does not convert to the gauge's stays doubtful."""
    shown, error, corrected, finding = ", ".join(as_text(value) for value in reading.values), "", "", Finding.DOUBTFUL
    if curve is not None:
        try:
            judged = [_one(value, reading, curve, uncertainty, unit) for value in reading.values]
        except QcError:
            judged = []
        if judged:
            gravest = max(judged, key=lambda pair: list(Finding).index(pair[2]))
            error, corrected, finding = gravest
    return shown, error, corrected, finding


def _one(
    value: Decimal, reading: GaugeReading, curve: ErrorCurve, uncertainty: Decimal, unit: str
) -> tuple[str, str, Finding]:
    """Error and corrected value in the checkpoint's unit of measure. The gauge's own unit is that of its points."""
    own, decimals = reading.checkpoint.unit_of_measure, reading.checkpoint.decimals
    if not unit or unit == own:
        width = together(uncertainty, reading.added, decimals) or uncertainty
        again = judge_again(value, reading.checkpoint.band, curve, width)
        return _said(again.error, reading), _said(again.corrected, reading), again.finding
    shown = convert(value, own, unit)
    error = convert(shown, unit, own) - convert(shown - curve.at(shown), unit, own)
    in_own = convert(uncertainty, unit, own) - convert(Decimal(0), unit, own)
    width = together(in_own, reading.added, decimals) or in_own
    again = judge_again(value, reading.checkpoint.band, ErrorCurve([ErrorPoint(Decimal(0), error)]), width)
    return _said(again.error, reading), _said(again.corrected, reading), again.finding


def _said(value: Decimal, reading: GaugeReading) -> str:
    """With one decimal more than the plan asks for: enough to see on which side of a limit it lies."""
    return as_text(value.quantize(Decimal(1).scaleb(-reading.checkpoint.decimals - 1)))


def _units(readings: Sequence[GaugeReading], judged: Sequence[ReadingAgain]) -> tuple[AffectedUnit, ...]:
    by_item: dict[int, list[ReadingAgain]] = defaultdict(list)
    about: dict[int, GaugeReading] = {}
    for reading, again in zip(readings, judged, strict=True):
        by_item[reading.item_id].append(again)
        about[reading.item_id] = reading
    held, sent = held_items(by_item), _sent(by_item)
    units = [
        AffectedUnit(
            item, about[item].serial or "no serial", state_label(about[item].unit_state), item in held,
            min((one.finding for one in some), key=GRAVEST_FIRST.index),
            tuple(sorted(some, key=lambda one: (GRAVEST_FIRST.index(one.finding), one.number))),
            sent[item].customer_number if item in sent else "", sent[item].at if item in sent else None,
        )
        for item, some in by_item.items()
    ]  # fmt: skip
    return tuple(sorted(units, key=lambda unit: (GRAVEST_FIRST.index(unit.worst), unit.serial)))


def _sent(items: Collection[int]) -> dict[int, Shipped]:
    """The dispatch of each item, or of the unit that it is in."""
    holders = holders_of(items)
    found = shipped({*items, *holders.values()})
    return {item: found[outer] for item in items if (outer := holders.get(item, item)) in found}


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
