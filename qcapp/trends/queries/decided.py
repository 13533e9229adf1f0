"""What people decided about charts: frozen limits, points left out, signals acknowledged."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection
from dataclasses import dataclass, replace
from datetime import datetime
from decimal import Decimal

from qcapp.core.metrology.quantities import convert
from qcapp.lib.site_days import site_day

from ..control import Held, chart_key
from ..models import Acknowledgement, BasePeriod, PointExclusion
from ..readings import LeftOut, Series


@dataclass(frozen=True)
class Acknowledged:
    """A signal that somebody looked into: `points` is how long its episode was then."""

    rule: str
    fixture: str
    first_result_id: int
    points: int
    sentence: str
    reason: str
    action: str
    by_name: str
    at: datetime


@dataclass(frozen=True)
class Decisions:
    """What changes how charts of some characteristics are computed. `mark` is another when something was decided."""

    bases: dict[tuple[int, str], BasePeriod]
    left_out: dict[int, dict[int, PointExclusion]]
    mark: tuple[int, int]

    def held(self, series: Series, chart: str = "") -> Held | None:
        """The limits frozen last for this kind of chart of the series (its usual one), in its unit of measure."""
        row = self.bases.get((series.characteristic_id, chart or chart_key(series)))
        return None if row is None else _held(row, series.unit_of_measure)

    def apply(self, series: Series) -> Series:
        """The series without the readings that were left out; they stand beside it with their reasons."""
        rows = self.left_out.get(series.characteristic_id, {})
        gone = [reading for reading in series.readings if reading.result_id in rows]
        if not gone:
            return series
        kept = tuple(reading for reading in series.readings if reading.result_id not in rows)
        said = [(reading, rows[reading.result_id]) for reading in gone]
        excluded = tuple(LeftOut(reading, row.reason, row.by.name, row.at) for reading, row in said)
        return replace(series, readings=kept, excluded=excluded)


def decisions_on(characteristic_ids: Collection[int]) -> Decisions:
    """Frozen limits and points left out of these characteristics; two queries."""
    bases = BasePeriod.objects.filter(characteristic__in=characteristic_ids).order_by("id")
    points = PointExclusion.objects.filter(characteristic__in=characteristic_ids).order_by("id")
    frozen = list(bases.select_related("signature__person"))
    latest = {row.result_id: row for row in points.select_related("by")}
    left_out: dict[int, dict[int, PointExclusion]] = defaultdict(dict)
    for row in latest.values():
        if row.left_out:
            left_out[row.characteristic_id][row.result_id] = row
    mark = (max((row.pk for row in frozen), default=0), max((row.pk for row in latest.values()), default=0))
    return Decisions({(row.characteristic_id, row.chart): row for row in frozen}, dict(left_out), mark)


def _held(row: BasePeriod, unit: str) -> Held:
    center, sigma = row.center, row.sigma
    if row.unit_of_measure != unit:
        center = _in(row.center, row.unit_of_measure, unit)
        sigma = None if sigma is None else _in(row.center + sigma, row.unit_of_measure, unit) - center
    signed, day = row.signature, site_day(row.at)
    said = (
        f"Control limits frozen over {row.points} points, {row.first_serial} to {row.last_serial}, signed by "
        f"{signed.person.name} on {day.day} {day:%b %Y}: {row.reason}."
    )
    return Held(center, sigma, row.points, said)


def _in(value: float, unit: str, other: str) -> float:
    return float(convert(Decimal(repr(value)), unit, other))


@dataclass(frozen=True)
class BaseCard:
    """A base period as it was signed."""

    chart: str
    center: float
    sigma: float | None
    points: int
    first_serial: str
    last_serial: str
    unit_of_measure: str
    reason: str
    by_name: str
    at: datetime


def base_periods_of(characteristic_id: int) -> list[BaseCard]:
    """Every base period that was signed for a characteristic, the latest first; one query."""
    rows = BasePeriod.objects.filter(characteristic=characteristic_id).select_related("signature__person")
    return [
        BaseCard(
            row.chart, row.center, row.sigma, row.points, row.first_serial, row.last_serial, row.unit_of_measure,
            row.reason, row.signature.person.name, row.at,
        )
        for row in rows.order_by("-id")
    ]  # fmt: skip


def acknowledgements_of(characteristic_ids: Collection[int]) -> dict[int, list[Acknowledged]]:
    """What was acknowledged of each characteristic, the latest first; one query."""
    rows = Acknowledgement.objects.filter(characteristic__in=characteristic_ids).select_related("by").order_by("-id")
    found: dict[int, list[Acknowledged]] = defaultdict(list)
    for row in rows:
        one = Acknowledged(
            rule=row.rule, fixture=row.fixture, first_result_id=row.first_result_id, points=row.points,
            sentence=row.sentence, reason=row.reason, action=row.action, by_name=row.by.name, at=row.at,
        )  # fmt: skip
        found[row.characteristic_id].append(one)
    return dict(found)
