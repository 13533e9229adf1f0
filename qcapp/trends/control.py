"""The control chart that fits a series, or the sentence that says why there is none.

Measured and derived values: individuals with moving ranges; where several readings of one unit are asked for, their
means, with limits from unit to unit or (`limits="within"`) from the spread within a unit, and the ranges beneath.
Attributes: samples of so many units in a row (np), or lots, days or weeks (p). Counts: one unit each (c), or lots, days
or weeks (u).
Limits come from all readings shown or from the first `base` of them, then held for the rest.

Where the step of the values is coarser than their spread, neighbours are often equal, the limits come out too narrow
and runs mean nothing: such a chart keeps its points and limits, says so, and gives no signals (common practice).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy

from qcapp.core.errors import Invalid, QcError
from qcapp.core.statistics import charts
from qcapp.core.statistics.control_chart import FEWEST_POINTS, ControlChart

from .readings import Reading, Series, step_of
from .sampling import SAMPLE_SIZE, Group, samples_by
from .words import Spoken, spoken_signals

Within = Literal["between", "within"]
LARGEST_RANGE = 10  # a range of more readings wastes them: standard deviations then, common practice


@dataclass(frozen=True)
class Held:
    """Control limits that were frozen and signed over a base period. `sigma` is of one point, None for counts."""

    center: float
    sigma: float | None
    points: int
    said: str


@dataclass(frozen=True)
class Sample:
    """What one point of the chart stands for: one unit, or several in a row."""

    name: str
    readings: tuple[Reading, ...]
    value: float

    @property
    def serial(self) -> str:
        return self.readings[-1].serial


@dataclass(frozen=True)
class Chart:
    """A drawn chart: its points with the lines at each of them, and what they break, in words.

    `computed` is None where there is no chart, and `refusal` then says why. `base` is how many points the limits
    come from.
    """

    name: str
    samples: tuple[Sample, ...]
    computed: ControlChart | None
    signals: tuple[Spoken, ...]
    base: int
    refusal: str = ""
    spread_name: str = ""
    notes: tuple[str, ...] = ()
    held_said: str = ""

    @property
    def names(self) -> list[str]:
        return [sample.name for sample in self.samples]

    def line(self, name: str) -> list[float]:
        """`center`, `lower` or `upper` at each point."""
        return [] if self.computed is None else self.computed.at(getattr(self.computed, name)).tolist()

    @property
    def base_sentence(self) -> str:
        if self.held_said:
            return self.held_said
        if self.base < len(self.samples):
            return f"Control limits from the first {self.base} points, held for the rest."
        return f"Control limits from all {len(self.samples)} points shown."


def control_chart(
    series: Series,
    *,
    base: int | None = None,
    limits: Within = "between",
    group: Group = "units",
    size: int = SAMPLE_SIZE,
    held: Held | None = None,
) -> Chart:
    """The chart of a series; `base` takes its limits anew from so many points, else those of `held` count.

    Raises Invalid `base_out_of_range`, `size_out_of_range`.
    """
    if base is not None and base < FEWEST_POINTS:
        raise Invalid("base_out_of_range", f"Take the limits from at least {FEWEST_POINTS} points.", base=base)
    if not 2 <= size <= 100:
        raise Invalid("size_out_of_range", "A sample holds from 2 to 100 units.", size=size)
    if not series.readings:
        return Chart("", (), None, (), 0, "No result has been recorded in this window yet.")
    if series.kind == "attribute":
        return _attribute_chart(series, base or held, group, size)
    if series.kind == "count":
        return _count_chart(series, base or held, group)
    if series.asked_for > 1:
        return _means_chart(series, base or held, limits)
    samples = _single(series.readings)
    floor = natural_floor(series)

    def made(some: Sequence[Sample], center: float | None, sigma: float | None) -> ControlChart:
        chart = _individuals(some, center, sigma)
        return chart if floor is None else replace(chart, lower=numpy.maximum(chart.lower, floor))

    return _drawn("Individuals", samples, base or held, series.noun, made, "Moving range of two", step_of(series))


def chart_key(series: Series, *, limits: Within = "between", group: Group = "units", size: int = SAMPLE_SIZE) -> str:
    """Which kind of chart these choices give: limits frozen for one do not fit another."""
    if series.kind == "attribute":
        return f"np {size}" if group == "units" else f"p {group}"
    if series.kind == "count":
        return "c" if group == "units" else f"u {group}"
    return f"means {limits}" if series.asked_for > 1 else "individuals"


def natural_floor(series: Series) -> float | None:
    """The natural boundary that no value can lie below, such as zero of a flatness: no control limit lies below it."""
    band = series.band
    return float(band.lower) if band is not None and band.lower is not None and "lower" in band.natural else None


def _single(readings: Sequence[Reading]) -> tuple[Sample, ...]:
    return tuple(Sample(reading.serial, (reading,), reading.value) for reading in readings)


def part_of(series: Series, start: int, end: int) -> Series:
    """The series of the readings between two places, both included."""
    return replace(series, readings=series.readings[start : end + 1], events=())


COARSE = (
    "The step of the values is coarser than their spread from unit to unit, so runs and control limits mean little: "
    "take a finer gauge before looking for signals."
)


def is_coarse(sigma: float | None, step: float) -> bool:
    """Whether the smallest step of the values is at least as large as their spread between neighbours."""
    return sigma is not None and 0.0 < sigma < step * (1 - 1e-9)


Make = Callable[[Sequence[Sample], float | None, float | None], ControlChart]
Base = int | Held | None  # so many first points, frozen limits, or all points


def _drawn(
    name: str,
    samples: tuple[Sample, ...],
    base: Base,
    noun: str,
    make: Make,
    spread: str = "",
    step: float = 0.0,
) -> Chart:
    """The chart of the samples; the limits of a base period come from a chart of its own, or are the frozen ones."""
    count = base.points if isinstance(base, Held) else len(samples) if base is None else min(base, len(samples))
    try:
        chart, sigma, notes = _computed(samples, base, count, make)
    except QcError as refusal:
        return Chart(name, samples, None, (), count, _plain(samples, noun, refusal))
    if is_coarse(sigma, step):
        chart = replace(chart, signals=())
        notes = (*notes, COARSE)
    spoken = spoken_signals(chart, [s.name for s in samples], noun)
    said = base.said if isinstance(base, Held) else ""
    return Chart(name, samples, chart, spoken, count, "", spread, notes, said)


def _computed(
    samples: tuple[Sample, ...], base: Base, count: int, make: Make
) -> tuple[ControlChart, float | None, tuple[str, ...]]:
    """The chart, the spread of one point that its limits come from, and what to say about them."""
    if isinstance(base, Held):
        return make(samples, base.center, base.sigma), base.sigma, ()
    first = make(samples[:count], None, None)
    whole = first
    if count < len(samples):
        whole = make(samples, float(first.at(first.center)[0]), first.process_sigma)
    return whole, first.process_sigma, first.warnings


def _plain(samples: Sequence[Sample], noun: str, refusal: QcError) -> str:
    """Why there is no chart, in this page's words."""
    values = {sample.value for sample in samples}
    if len(samples) < FEWEST_POINTS:
        have = "There is one point" if len(samples) == 1 else f"There are {len(samples)} points"
        return f"{have} so far; control limits need at least {FEWEST_POINTS}."
    if len(values) == 1:
        return f"All {len(samples)} points are equal, so there is no spread to draw control limits from."
    return refusal.message


def _individuals(samples: Sequence[Sample], center: float | None, sigma: float | None) -> ControlChart:
    return charts.individuals([sample.value for sample in samples], center=center, sigma=sigma)


# ------------------------------------------------------------------------------------- several readings of a unit


def _means_chart(series: Series, base: Base, limits: Within) -> Chart:
    whole = tuple(r for r in series.readings if len(r.values) == series.asked_for)
    samples = _single(whole)
    ranges = series.asked_for <= LARGEST_RANGE
    within = charts.xbar_r if ranges else charts.xbar_s
    spread = "Range within a unit" if ranges else "Standard deviation within a unit"

    def from_within(some: Sequence[Sample], center: float | None, sigma: float | None) -> ControlChart:
        return within([sample.readings[0].values for sample in some], center=center, sigma=sigma)

    def from_unit_to_unit(some: Sequence[Sample], center: float | None, sigma: float | None) -> ControlChart:
        means = _individuals(some, center, sigma)
        ranges_beneath = from_within(some, None, None).spread
        return ControlChart(
            means.points, means.center, means.lower, means.upper, means.sigma, means.signals, means.process_sigma,
            ranges_beneath, means.warnings,
        )  # fmt: skip

    make = from_within if limits == "within" else from_unit_to_unit
    how = "within a unit" if limits == "within" else "from unit to unit"
    name = f"Means of {series.asked_for} readings, limits from the spread {how}"
    return _drawn(name, samples, base, series.noun, make, spread)


# ------------------------------------------------------------------------------------------ attributes and counts


def _attribute_chart(series: Series, base: Base, group: Group, size: int) -> Chart:
    if group != "units":
        return _drawn_by(f"Share that does not conform, by {group[:-1]}", series, base, group, _shares)
    whole = len(series.readings) // size
    readings = series.readings[len(series.readings) - whole * size :]
    parts = [readings[start : start + size] for start in range(0, len(readings), size)]
    samples = tuple(_sample(f"{part[0].serial} to {part[-1].serial}", part, share=False) for part in parts)
    name = f"Units that do not conform, of {size} in a row"

    def numbers(some: Sequence[Sample], center: float | None, sigma: float | None) -> ControlChart:
        return charts.np([sample.value for sample in some], size, center=center)

    return _drawn(name, samples, base, "samples", numbers) if samples else _too_few(name, series, size)


def _too_few(name: str, series: Series, size: int) -> Chart:
    have = len(series.readings)
    return Chart(name, (), None, (), 0, f"There are {have} answers so far; one sample takes {size}.")


REQUIRED = (
    "This is a number that has to be there, not something that turns up by chance; a chart of counts does not fit."
)


def _count_chart(series: Series, base: Base, group: Group) -> Chart:
    if natural_floor(series) is None:
        return Chart("Count on each unit", _single(series.readings), None, (), 0, REQUIRED)
    what = series.counted or "count"
    if group == "units":
        name = f"Number of {what} on each unit" if series.counted else "Count on each unit"

        def counted(some: Sequence[Sample], center: float | None, sigma: float | None) -> ControlChart:
            return charts.c([sample.value for sample in some], center=center)

        return _drawn(name, _single(series.readings), base, series.noun, counted)
    return _drawn_by(f"{what[0].upper()}{what[1:]} per unit, by {group[:-1]}", series, base, group, _per_unit)


NO_LOT = "None of these units was drawn from a lot; choose another sample."


def _drawn_by(name: str, series: Series, base: Base, group: Group, make: Make) -> Chart:
    samples = tuple(_sample(said, some, share=True) for said, some in samples_by(series.readings, group))
    return _drawn(name, samples, base, group, make) if samples else Chart(name, (), None, (), 0, NO_LOT)


def _sample(name: str, readings: Sequence[Reading], *, share: bool) -> Sample:
    found = sum(reading.value for reading in readings)
    return Sample(name, tuple(readings), found / len(readings) if share else found)


def _shares(samples: Sequence[Sample], center: float | None, sigma: float | None) -> ControlChart:
    return charts.p(_found(samples), _sizes(samples), center=center)


def _per_unit(samples: Sequence[Sample], center: float | None, sigma: float | None) -> ControlChart:
    return charts.u(_found(samples), _sizes(samples), center=center)


def _found(samples: Sequence[Sample]) -> list[float]:
    return [sum(reading.value for reading in sample.readings) for sample in samples]


def _sizes(samples: Sequence[Sample]) -> list[float]:
    return [float(len(sample.readings)) for sample in samples]
