"""The same dimension before and after welding, unit by unit: what welding moves, by how much, on which fixture.

The differences are charted, so that what both readings share (the part itself) drops out. Spread and mean have
intervals for independent, normal differences; whether welding moves the dimension at all is the paired test of
Student (1908).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from qcapp.core.metrology.quantities import as_text
from qcapp.core.statistics.distributions import stats
from qcapp.core.statistics.intervals import Interval, mean_interval, standard_deviation_interval

from .control import Chart, control_chart
from .readings import Reading, Series
from .splits import SplitBy, distance_of, split_by, split_sentence

FEWEST = 2


@dataclass(frozen=True)
class Distortion:
    """One dimension before and after. `differences` is the series after minus before, in the unit of after."""

    before: Series
    after: Series
    differences: Series
    shift: Interval | None
    spread: Interval | None
    p_value: float | None
    chart: Chart
    splits: tuple[tuple[SplitBy, str], ...]
    sentence: str


def distortion_of(before: Series, after: Series, *, people: bool) -> Distortion:
    """The pair over the units that have both. `people` adds the split by welder."""
    differences = differences_of(before, after)
    values = differences.values
    shift = spread = p_value = None
    if len(values) >= FEWEST:
        shift, spread = mean_interval(values), standard_deviation_interval(values)
        p_value = _p_value(values)
    splits = tuple(_split(differences, factor) for factor in (("fixture", "welder") if people else ("fixture",)))
    sentence = _sentence(differences, shift, p_value)
    return Distortion(before, after, differences, shift, spread, p_value, control_chart(differences), splits, sentence)


def differences_of(before: Series, after: Series) -> Series:
    """After minus before for each unit with both, exactly; a unit of measure that differs was converted before."""
    earlier = {reading.item_id: reading for reading in before.readings}
    readings = tuple(
        _difference(earlier[reading.item_id], reading) for reading in after.readings if reading.item_id in earlier
    )
    return replace(
        after, title=f"{after.title}, after minus before", limits_text="", band=None, readings=readings, events=(),
        asked_for=1, decimals=max(after.decimals, before.decimals),
    )  # fmt: skip


def _difference(before: Reading, after: Reading) -> Reading:
    exact = _mean(after) - _mean(before)
    text = as_text(exact)
    return replace(
        after, text=text, value=float(exact), values=(float(exact),), outcome="recorded", band=None,
        marks=tuple(dict.fromkeys((*before.marks, *after.marks))),
    )  # fmt: skip


def _mean(reading: Reading) -> Decimal:
    numbers = [Decimal(text) for text in reading.text.split(", ")]
    return sum(numbers, Decimal(0)) / len(numbers)


def _p_value(values: Sequence[float]) -> float | None:
    if min(values) == max(values):
        return None
    return float(stats().ttest_1samp(values, 0.0).pvalue)


def _split(differences: Series, factor: str) -> tuple[SplitBy, str]:
    split = split_by(differences.readings, factor)
    number = f"{distance_of(split):.{differences.decimals + 1}f}"
    return split, split_sentence(split, number, differences.unit_of_measure)


def _sentence(differences: Series, shift: Interval | None, p_value: float | None) -> str:
    count = len(differences.readings)
    if shift is None:
        if not count:
            return "No unit has both readings yet; a comparison takes two or more."
        return "One unit has both readings yet; a comparison takes two or more."
    unit = f" {differences.unit_of_measure}" if differences.unit_of_measure else ""
    number = differences.number_text
    if p_value is None:
        return f"Welding moved all {count} {differences.noun} alike, by {number(shift.estimate)}{unit}."
    if p_value >= 0.05:
        return f"Over {count} {differences.noun} welding makes no shift that chance could not make."
    low, high = sorted((abs(shift.lower), abs(shift.upper)))
    by, span = f"{number(abs(shift.estimate), 1)}{unit}", f"{number(low, 1)} to {number(high, 1)}"
    if shift.estimate > 0:
        return f"Welding moves it up by about {by} ({span}), over {count} {differences.noun}."
    return f"Welding moves it down by about {by} ({span}), over {count} {differences.noun}."


def relative_shift(one: Distortion) -> float:
    """The shift over the width of the band after welding, for ordering; 0 without either."""
    band = one.after.band
    width = float(band.width) if band is not None and band.width else 0.0
    return abs(one.shift.estimate) / width if one.shift is not None and width and math.isfinite(width) else 0.0


def pairs_in(keys: Mapping[str, str]) -> list[tuple[str, str]]:
    """Keys before and after: as the plan pairs them, else by the ending `_before`. `keys`: key to `paired_with`."""
    found = [(paired, key) for key, paired in keys.items() if paired and paired in keys]
    named = {after for _, after in found}
    found += [(f"{key}_before", key) for key in keys if key not in named and not keys[key] and f"{key}_before" in keys]
    return found
