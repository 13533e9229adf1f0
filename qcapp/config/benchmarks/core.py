"""The computing core against the bare arithmetic that it cannot do without."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Iterator
from decimal import Decimal
from itertools import cycle, islice

import numpy

from qcapp.core.metrology.bands import Band
from qcapp.core.metrology.decision import judge, judge_many
from qcapp.core.statistics.capability import capability
from qcapp.core.statistics.charts import individuals
from qcapp.core.statistics.readings import FloatArray
from qcapp.plans.plan_file import COLUMNS
from qcapp.plans.plan_rules import Numbering, read_plan

from .registry import Effort, Measurement, alternate, benchmark

VALUES = 200_000
MANY = 1_000_000
ROWS = 160
LEAST_PER_SECOND = 200_000
MOST_TIMES_COMPARISON = 10
MOST_TIMES_PASSES = 3
MOST_MILLISECONDS = 200
BAND = Band(Decimal("25.400"), Decimal("25.421"), Decimal("25.4"))
GUARDED = Band(Decimal("25.400"), Decimal("25.421"), Decimal("25.4"), guard=Decimal("0.003"))
SEED = 20_260_317


@benchmark("core", name="judge")
def judge_one_by_one(effort: Effort) -> Iterator[Measurement]:
    """Verdicts on single decimals, against the two comparisons that any verdict needs."""
    values = [Decimal(25_390 + step % 41).scaleb(-3) for step in range(effort.of(VALUES))]
    lower, upper = Decimal("25.400"), Decimal("25.421")

    def ours() -> None:
        for value in values:
            judge(value, BAND)

    def theirs() -> None:
        for value in values:
            lower <= value <= upper  # noqa: B015 - the comparison itself is what is timed

    mine, bare = (len(values) / seconds for seconds in alternate(ours, theirs, effort.repeats))
    yield Measurement(
        "judge, one value at a time",
        mine,
        "values/s",
        bare,
        bare / mine,
        f"at least {LEAST_PER_SECOND} values/s",
        mine >= LEAST_PER_SECOND,
        "lower <= value <= upper on the same Decimals",
    )


@benchmark("core", name="judge_many")
def judge_scaled(effort: Effort) -> Iterator[Measurement]:
    """Verdicts on scaled integers with a guard zone, against two comparisons of the array."""
    values = numpy.random.default_rng(SEED).integers(25_390, 25_431, effort.of(MANY), dtype=numpy.int64)

    def theirs() -> object:
        return (values < 25_400) | (values > 25_421)

    yield _against(
        f"judge_many, {values.size} values",
        lambda: judge_many(values, GUARDED, 3),
        theirs,
        effort,
        MOST_TIMES_COMPARISON,
        "(values < lower) | (values > upper)",
    )


@benchmark("core", name="capability")
def capability_of_many(effort: Effort) -> Iterator[Measurement]:
    """Indices with intervals and warnings, against the passes over the array that they cannot do without."""
    values = _readings(effort.of(MANY, least=100))
    yield _against(
        f"capability, {values.size} readings",
        lambda: capability(values, BAND),
        lambda: _capability_passes(values),
        effort,
        MOST_TIMES_PASSES,
        "sum; mean, x − mean, its mean and dot product; diff, abs, mean; two comparisons, or, count_nonzero",
    )


@benchmark("core", name="individuals")
def individuals_of_many(effort: Effort) -> Iterator[Measurement]:
    """A chart of individuals with the usual run rules and its chart of ranges, against the passes it needs."""
    values = _readings(effort.of(MANY, least=100))
    yield _against(
        f"individuals chart and run rules, {values.size} readings",
        lambda: individuals(values),
        lambda: _individuals_passes(values),
        effort,
        MOST_TIMES_PASSES,
        "sum, mean; diff, abs, mean; (x − centre)/sigma; for each rule and side one comparison, sums of two or more "
        "neighbours in a row, flatnonzero; the same first rule for the ranges",
    )


@benchmark("core", name="import_plan")
def plan_of_160_rows(effort: Effort) -> Iterator[Measurement]:
    """A plan file read, its notations turned into limits and the whole plan checked; no database."""
    rows = effort.of(ROWS, least=len(NOTATIONS))
    text = plan_text(rows)

    def ours() -> None:
        plan = read_plan(text, gauge_kinds={"caliper"}, numbering=Numbering())
        if plan.findings:
            raise ValueError(f"The plan of the benchmark cannot be read: {plan.findings[0].message}")

    mine, bare = (1000 * seconds for seconds in alternate(ours, lambda: _csv_only(text), effort.repeats))
    yield Measurement(
        f"import_plan, {rows} rows with notations, read and checked",
        mine,
        "ms",
        bare,
        mine / bare,
        f"under {MOST_MILLISECONDS} ms",
        mine < MOST_MILLISECONDS,
        "csv.reader over the same text",
    )


def _against(
    name: str, ours: Callable[[], object], theirs: Callable[[], object], effort: Effort, most: float, against: str
) -> Measurement:
    """A measurement in milliseconds whose goal is a ratio."""
    mine, bare = (1000 * seconds for seconds in alternate(ours, theirs, effort.repeats))
    ratio = mine / bare
    return Measurement(name, mine, "ms", bare, ratio, f"within {most}×", ratio <= most, against)


def _readings(count: int) -> FloatArray:
    return numpy.random.default_rng(SEED).normal(25.41, 0.003, count)


def _capability_passes(x: FloatArray) -> object:
    """Finite at all; mean and standard deviation in two passes; moving ranges; points beyond the limits.

    Written as sparingly as numpy allows: results go into an array that is there already where one is.
    """
    x.sum()
    mean = x.mean()
    apart = x - mean
    apart.mean()
    spread = apart @ apart
    steps = numpy.subtract(x[1:], x[:-1], out=apart[1:])
    sigma = numpy.abs(steps, out=steps).mean() / 1.128
    return spread, numpy.count_nonzero((x > mean + 3 * sigma) | (x < mean - 3 * sigma))


def _individuals_passes(x: FloatArray) -> object:
    """Centre and sigma from moving ranges, then the four usual rules on both sides, then the chart of ranges."""
    x.sum()
    ranges = numpy.diff(x)
    numpy.abs(ranges, out=ranges)
    center, sigma = x.mean(), ranges.mean() / 1.128
    z = x - center
    z /= sigma
    found = [numpy.flatnonzero((z > 3) | (z < -3))]
    for distance, window, enough in ((2, 3, 2), (1, 5, 4), (0, 8, 8)):
        for hits in (z > distance, z < -distance):
            near = hits.view(numpy.int8)
            count = near.copy()
            for back in range(1, window):
                count[back:] += near[:-back]
            found.append(numpy.flatnonzero(count >= enough))
    apart = numpy.subtract(ranges, ranges.mean(), out=z[1:])
    apart /= sigma
    found.append(numpy.flatnonzero((apart > 3) | (apart < -3)))
    return found


NOTATIONS = (
    ("30", "H7", "mm"),
    ("25", "g6", "mm"),
    ("400", "ISO 13920-B", "mm"),
    ("120", "ISO 2768-m", "mm"),
    ("", "ISO 13920-F flatness 640", "mm"),
    ("196.0", "+0.3/-0.1", "mm"),
    ("62.00", "±0°30′", "°"),
    ("", "max 0.5", "mm"),
    ("", "25.0 to 25.4", "mm"),
    ("1.250", "H8", "in"),
)


def plan_text(rows: int) -> str:
    """A plan file of so many measured checkpoints in nine stages, the notations in turn."""
    out = io.StringIO()
    writer = csv.DictWriter(out, COLUMNS, restval="", lineterminator="\n")
    writer.writeheader()
    for place, (nominal, notation, unit) in enumerate(islice(cycle(NOTATIONS), rows)):
        stage = 1 + place * 9 // rows
        writer.writerow(
            {
                "stage_number": stage, "stage_name": f"stage {stage}", "number": 100 * stage + place,
                "key": f"k{place}", "title": f"checkpoint {place}", "kind": "measured", "nominal": nominal,
                "limits": notation,
                "unit_of_measure": unit, "criticality": "major", "gauge_kinds": "caliper", "frequency": "every",
            }
        )  # fmt: skip
    return out.getvalue()


def _csv_only(text: str) -> list[list[str]]:
    return list(csv.reader(io.StringIO(text)))
