"""Readers of gauges: which may be used on a day, and why another may not.

A gauge may be used from the day of a passed calibration up to and including its due date. Dates are days of
the site's zone. A reading is judged by the gauge's state on the day it was taken, not by today's.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from uuid import UUID

from django.db.models import OuterRef, QuerySet, Subquery

from qcapp.core.errors import NotFound
from qcapp.core.metrology.quantities import as_text
from qcapp.lib.plain_text import shown
from qcapp.lib.site_days import day_ends, site_day

from .models import Calibration, Gauge, GaugeKind, GaugeUse
from .points import Point, found_good
from .usual_kinds import KindProfile, profile_of

OVERDUE = "gauge_overdue"
FAILED = "gauge_failed"
OUT_OF_USE = "gauge_out_of_use"
RETIRED = "gauge_retired"
NEVER_CALIBRATED = "gauge_never_calibrated"
_WORST_FIRST = (OVERDUE, FAILED, NEVER_CALIBRATED, OUT_OF_USE, "", RETIRED)


@dataclass(frozen=True)
class GaugeState:
    """Whether a gauge may be used on a day; `reason` is empty or the code that a result is flagged with."""

    usable: bool
    reason: str
    sentence: str
    due_on: date | None
    expanded_uncertainty: Decimal | None


@dataclass(frozen=True)
class GaugeCard:
    """One gauge with its state on the day that was asked about."""

    id: int
    uuid: UUID
    number: str
    kind_key: str
    kind_name: str
    description: str
    unit_of_measure: str
    range_lower: Decimal | None
    range_upper: Decimal | None
    resolution: Decimal | None
    interval_months: int
    needs_calibration: bool
    due_on: date | None
    usable: bool
    reason: str
    sentence: str
    expanded_uncertainty: Decimal | None

    @property
    def profile(self) -> KindProfile:
        """What its kind asks."""
        return profile_of(self.kind_key)

    @property
    def retired(self) -> bool:
        return self.reason == RETIRED

    @property
    def range_text(self) -> str:
        """The measuring range with its unit of measure, such as "0 to 150 mm"; empty when none is known."""
        ends = [as_text(end) for end in (self.range_lower, self.range_upper) if end is not None]
        return f"{' to '.join(ends)} {self.unit_of_measure}".strip() if ends else ""


@dataclass(frozen=True)
class KindCard:
    """A kind of gauge: the key that plan files write, the name that people read, and what its kind asks.

    `series` are what its points are taken on, `questions` what is looked at in each calibration. One that does not
    `reads` shows no value: what it measured is judged again by nobody but a person.
    """

    key: str
    name: str
    unit_of_measure: str = ""
    interval_months: int = 12
    series: tuple[str, ...] = ()
    questions: tuple[str, ...] = ()
    reads: bool = True
    adjustable: bool = True


@dataclass(frozen=True)
class CalibrationCard:
    """One recorded calibration."""

    done_on: date
    due_on: date
    outcome: str
    expanded_uncertainty: Decimal | None
    certificate: str
    done_by: str
    recorded_by_name: str
    recorded_at: datetime
    id: int = 0
    points: tuple[Point, ...] = ()
    looked_at: tuple[tuple[str, bool], ...] = ()

    @property
    def not_in_order(self) -> tuple[str, ...]:
        """The questions of its kind that were answered by no."""
        return tuple(question for question, good in self.looked_at if not good)

    @property
    def found_out(self) -> bool:
        """Whether the gauge was found out of tolerance: what it measured since the calibration before is in doubt."""
        if self.not_in_order:
            return True
        return not found_good(self.points) if self.points else self.outcome == Calibration.Outcome.FAILED


@dataclass(frozen=True)
class UseCard:
    """A gauge taken out of use or put back, with the reason."""

    kind: str
    label: str
    reason: str
    by_name: str
    at: datetime


def gauge_kinds() -> list[KindCard]:
    """Every kind of gauge, by name."""
    return [kind_card(kind.key, kind.name) for kind in GaugeKind.objects.order_by("name")]


def kind_card(key: str, name: str) -> KindCard:
    """A kind with what belongs to it."""
    one = profile_of(key)
    return KindCard(
        key, name, one.unit_of_measure, one.interval_months, one.series, one.questions, one.reads, one.adjustable
    )


def kind_names() -> dict[str, str]:
    """The name of each kind by its key."""
    return dict(GaugeKind.objects.values_list("key", "name"))


def usable_gauges(kind_keys: Collection[str], at: datetime) -> list[GaugeCard]:
    """The gauges of these kinds that may be used at `at`, by number."""
    on = site_day(at)
    rows = _with_state(Gauge.objects.filter(kind__key__in=kind_keys), on).order_by("number")
    return [card for card in (_card(row, on) for row in rows) if card.usable]


def gauge_by_number(number: str, at: datetime | None = None) -> GaugeCard:
    """The gauge with this number on its label, its case aside, with its state at `at` (now when left out).

    Raises NotFound `gauge_unknown`.
    """
    on = site_day(at)
    wanted = number.strip()
    row = None if "\0" in wanted else _with_state(Gauge.objects.filter(number__iexact=wanted), on).first()
    if row is None:
        name = shown(wanted)
        raise NotFound("gauge_unknown", f"There is no gauge {name}; read the number on its label again.", number=name)
    return _card(row, on)


def gauges_by_number(numbers: Iterable[str], at: datetime) -> dict[str, GaugeCard]:
    """The known ones among these numbers, exactly as written, with their state at `at`; one query."""
    on = site_day(at)
    wanted = {number for number in numbers if "\0" not in number}
    return {row.number: _card(row, on) for row in _with_state(Gauge.objects.filter(number__in=wanted), on)}


def gauge_state(gauge_id: int, on: date) -> GaugeState:
    """The state of one gauge on a day. Raises NotFound `gauge_unknown`."""
    states = gauge_states([gauge_id], on)
    if gauge_id not in states:
        raise NotFound("gauge_unknown", "That gauge is not known here; choose one from the list.")
    return states[gauge_id]


def gauge_states(ids: Iterable[int], on: date) -> dict[int, GaugeState]:
    """The state of each of these gauges on a day, in one query; unknown ids are left out."""
    rows = _with_state(Gauge.objects.filter(id__in=list(ids)), on)
    return {row.id: _state(row, on) for row in rows}


def all_gauges(at: datetime) -> list[GaugeCard]:
    """Every gauge: overdue ones first, then the others that may not be used, then by due date."""
    on = site_day(at)
    cards = [_card(row, on) for row in _with_state(Gauge.objects.all(), on)]
    return sorted(cards, key=lambda card: (_WORST_FIRST.index(card.reason), card.due_on or date.max, card.number))


def calibrations_of(gauge_id: int) -> list[CalibrationCard]:
    """Every calibration of a gauge, the latest first."""
    rows = Calibration.objects.filter(gauge=gauge_id).select_related("recorded_by").prefetch_related("points")
    return [
        CalibrationCard(
            row.done_on, row.due_on, row.outcome, row.expanded_uncertainty, row.certificate, row.done_by,
            row.recorded_by.name, row.recorded_at, row.pk,
            tuple(Point(one.reference, one.as_found, one.as_left, one.limit, one.series) for one in row.points.all()),
            tuple((str(question), bool(good)) for question, good in row.looked_at),
        )
        for row in rows.order_by("-done_on", "-id")
    ]  # fmt: skip


def uses_of(gauge_id: int) -> list[UseCard]:
    """When a gauge was taken out of use, put back or retired, the latest first."""
    rows = GaugeUse.objects.filter(gauge=gauge_id).select_related("by").order_by("-at", "-id")
    return [UseCard(row.kind, GaugeUse.Kind(row.kind).label, row.reason, row.by.name, row.at) for row in rows]


def _with_state(gauges: QuerySet[Gauge], on: date) -> QuerySet[Gauge]:
    """The gauges with the last calibration and the last use known on that day."""
    calibrations = Calibration.objects.filter(gauge=OuterRef("pk"), done_on__lte=on).order_by("-done_on", "-id")
    uses = GaugeUse.objects.filter(gauge=OuterRef("pk"), at__lt=day_ends(on)).order_by("-at", "-id")
    return gauges.select_related("kind").annotate(
        last_due=Subquery(calibrations.values("due_on")[:1]),
        last_outcome=Subquery(calibrations.values("outcome")[:1]),
        last_uncertainty=Subquery(calibrations.values("expanded_uncertainty")[:1]),
        last_use=Subquery(uses.values("kind")[:1]),
        last_use_reason=Subquery(uses.values("reason")[:1]),
    )


def _state(row: Gauge, on: date) -> GaugeState:
    found: Mapping[str, object] = vars(row)
    due_on, outcome, uncertainty = row.last_due, row.last_outcome, row.last_uncertainty  # type: ignore[attr-defined]
    reason, sentence = "", f"Gauge {row.number} may be used."
    if found["last_use"] == GaugeUse.Kind.RETIRED:
        reason = RETIRED
        sentence = f"Gauge {row.number} is retired: {found['last_use_reason']}. Choose another."
    elif found["last_use"] == GaugeUse.Kind.OUT:
        reason = OUT_OF_USE
        sentence = f"Gauge {row.number} is out of use: {found['last_use_reason']}. Choose another."
    elif row.needs_calibration:
        reason, sentence = _calibration_state(row.number, due_on, outcome, on)
    return GaugeState(not reason, reason, sentence, due_on, uncertainty)


def _calibration_state(number: str, due_on: date | None, outcome: str | None, on: date) -> tuple[str, str]:
    if due_on is None:
        return NEVER_CALIBRATED, f"Gauge {number} has no calibration yet; choose another or record one."
    if outcome == Calibration.Outcome.FAILED:
        return FAILED, f"Gauge {number} failed its last calibration; choose another."
    if due_on < on:
        return OVERDUE, f"Gauge {number} was due on {_day(due_on)}; choose another or record its calibration."
    return "", f"Gauge {number} may be used until {_day(due_on)}."


def _day(day: date) -> str:
    return f"{day.day} {day:%b %Y}"


def _card(row: Gauge, on: date) -> GaugeCard:
    state = _state(row, on)
    return GaugeCard(
        id=row.id,
        uuid=row.uuid,
        number=row.number,
        kind_key=row.kind.key,
        kind_name=row.kind.name,
        description=row.description,
        unit_of_measure=row.unit_of_measure,
        range_lower=row.range_lower,
        range_upper=row.range_upper,
        resolution=row.resolution,
        interval_months=row.interval_months,
        needs_calibration=row.needs_calibration,
        due_on=state.due_on,
        usable=state.usable,
        reason=state.reason,
        sentence=state.sentence,
        expanded_uncertainty=state.expanded_uncertainty,
    )
