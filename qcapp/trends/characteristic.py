"""Everything a characteristic's page says, computed from its series: chart, splits, capability, drift, histogram."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy

from qcapp.gauges.studying import StudyCard

from .capability import Fitness, fitness
from .control import Chart, Held, Within, control_chart
from .drift import Drift, drift_of
from .gauging import GaugeShare
from .readings import Series, step_of
from .sampling import SAMPLE_SIZE, Group, Sampled, is_sampled
from .splits import SplitBy, distance_of, split_sentence, splits_of

Axis = Literal["order", "date"]
MEASURING = frozenset({"measured", "derived"})


@dataclass(frozen=True)
class Wanted:
    """How a page was asked for. `samples` is the window of a chart whose points stand for several answers each."""

    last: int = 100
    samples: int | None = None
    base: int | None = None
    limits: Within = "between"
    group: Group = "units"
    size: int = SAMPLE_SIZE
    axis: Axis = "order"  # of the points
    anew: bool = False  # limits computed from what is shown, also where some are frozen

    @property
    def sampled(self) -> Sampled | None:
        return None if self.samples is None else Sampled(self.samples, self.group, self.size)


@dataclass(frozen=True)
class Histogram:
    """Counts between edges; the edges lie between two values that the gauge can show."""

    edges: tuple[float, ...]
    counts: tuple[int, ...]


@dataclass(frozen=True)
class SplitSaid:
    """A split and its sentence."""

    split: SplitBy
    sentence: str


@dataclass(frozen=True)
class Characteristic:
    """The page's matter. Measures of a distribution are None for attributes; `drift` also under its fewest readings."""

    series: Series
    wanted: Wanted
    chart: Chart
    splits: tuple[SplitSaid, ...]
    fitness: Fitness | None
    drift: Drift | None
    drift_sentence: str
    histogram: Histogram | None
    frozen: bool = False  # limits were frozen and signed for this kind of chart, whether they are shown or not
    gauge_shares: tuple[GaugeShare, ...] = ()
    studies: tuple[StudyCard, ...] = ()  # gauge studies kept with the checkpoint, the latest first

    @property
    def sampled(self) -> bool:
        """Whether a point stands for several answers."""
        return is_sampled(self.series.kind, self.wanted.group)

    @property
    def failed(self) -> int:
        """Answers that did not pass when they were given."""
        return sum(r.outcome in {"out_of_band", "does_not_conform"} for r in self.series.readings)

    @property
    def summary(self) -> str:
        """The page in one sentence."""
        count = len(self.series.readings)
        if not count:
            return "No result has been recorded in this window yet."
        first, last = self.series.readings[0].serial, self.series.readings[-1].serial
        if count == 1:
            return f"1 value, {first}; it did not pass." if self.failed else f"1 value, {first}; it passed."
        if self.failed:
            return f"{count} values, {first} to {last}; {self.failed} did not pass."
        return f"{count} values, {first} to {last}; all passed."


def characteristic_of(series: Series, wanted: Wanted, *, people: bool, held: Held | None = None) -> Characteristic:
    """The page of a series. Raises Invalid as `control_chart`. `people` adds the splits by welder and inspector."""
    frozen = None if wanted.anew else held
    chart = control_chart(
        series, base=wanted.base, limits=wanted.limits, group=wanted.group, size=wanted.size, held=frozen
    )
    splits = tuple(_said(split, series) for split in splits_of(series.readings, people=people))
    if series.kind not in MEASURING:
        return Characteristic(series, wanted, chart, splits, None, None, "", None, held is not None)
    band = series.band
    rows = [r.values for r in series.readings] if series.asked_for > 1 else series.values
    lower, upper = working(series)
    drift = drift_of(series.values, lower, upper)
    return Characteristic(
        series, wanted, chart, splits, fitness(rows, band), drift, drift_sentence(drift, series),
        histogram_of(series), held is not None,
    )  # fmt: skip


def working(series: Series) -> tuple[float | None, float | None]:
    """The limits that a part can miss, as floats."""
    band = series.band
    if band is None:
        return None, None
    lower = None if band.lower is None or "lower" in band.natural else float(band.lower)
    upper = None if band.upper is None or "upper" in band.natural else float(band.upper)
    return lower, upper


def _said(split: SplitBy, series: Series) -> SplitSaid:
    unit = "" if series.kind == "attribute" else series.unit_of_measure
    decimals = 2 if series.kind in {"attribute", "count"} else series.decimals + 1
    return SplitSaid(split, split_sentence(split, f"{distance_of(split):.{decimals}f}", unit))


def drift_sentence(drift: Drift | None, series: Series) -> str:
    """Where it is heading, in words a shop uses."""
    if drift is None:
        return "Too few values, or all equal: nothing can be said about a drift."
    if not drift.sure:
        return "No drift that chance could not make."
    unit = f" {series.unit_of_measure}" if series.unit_of_measure else ""
    per = f"{series.number_text(abs(drift.slope) * 100, 1)}{unit}"
    if drift.slope > 0:
        said = f"Rising by about {per} in a hundred {series.noun}"
    else:
        said = f"Falling by about {per} in a hundred {series.noun}"
    if drift.ahead is None:
        return f"{said}; not towards a limit within sight."
    if drift.ahead.units <= 0:
        return f"{said}; the middle of the values has passed the {drift.ahead.side} limit."
    latest = "no end in sight" if drift.ahead.latest is None else str(math.ceil(drift.ahead.latest))
    return (
        f"{said}. At this drift the middle of the values is at the {drift.ahead.side} limit in about "
        f"{math.ceil(drift.ahead.units)} {series.noun}, between {math.floor(drift.ahead.soonest)} and {latest}; "
        "single ones fall out of band before."
    )


def histogram_of(series: Series) -> Histogram | None:
    """Counts of the readings; None for fewer than two different values."""
    values = [value for reading in series.readings for value in reading.values]
    if len(set(values)) < 2:
        return None
    step = step_of(series)
    width = _width(values, step)
    low = min(values) - step / 2
    bins = max(1, math.ceil((max(values) + step / 2 - low) / width - 1e-9))
    edges = [low + index * width for index in range(bins + 1)]
    counts, _ = numpy.histogram(values, bins=edges)
    return Histogram(tuple(edges), tuple(int(count) for count in counts))


def _width(values: Sequence[float], step: float) -> float:
    """A whole number of steps, so that no bar holds more possible values than its neighbour."""
    wanted = (max(values) - min(values) + step) / min(24, max(5, round(math.sqrt(len(values)) * 1.4)))
    return step * max(1, math.ceil(wanted / step - 1e-9))
