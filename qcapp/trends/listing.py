"""The numbers behind each picture as rows, for the tables beside them and for CSV."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from .characteristic import Characteristic
from .control import Chart
from .watch import Watched

Rows = list[Sequence[object]]
POINTS = ("point", "value", "units", "lower_control_limit", "centre", "upper_control_limit", "signals")
RANGES = ("point", "value", "centre", "upper_control_limit")
BARS = ("from", "to", "values")
LEVELS = ("level", "values", "mean", "from", "to")
WATCHED = (
    "number", "title", "why", "sentence", "values", "last", "lower_control_limit", "centre", "upper_control_limit",
    "looked_into",
)  # fmt: skip


def point_rows(chart: Chart) -> Rows:
    """Every point of a chart with its lines and the signals it is part of; empty lines where there is no chart."""
    lines: list[Sequence[object]] = [
        chart.line(name) or [""] * len(chart.samples) for name in ("lower", "center", "upper")
    ]
    said: dict[int, list[str]] = {}
    for signal in chart.signals:
        for place in signal.points:
            said.setdefault(place, []).append(signal.sentence)
    return [
        (one.name, one.value, len(one.readings), *(line[place] for line in lines), " ".join(said.get(place, [])))
        for place, one in enumerate(chart.samples)
    ]


def range_rows(chart: Chart) -> Rows:
    """The points of the spread beneath a chart; nothing without one."""
    spread = chart.computed.spread if chart.computed else None
    if spread is None:
        return []
    names = chart.names[len(chart.samples) - len(spread.points) :]  # moving ranges begin at the second point
    columns = (spread.points, spread.at(spread.center), spread.at(spread.upper))
    return list(zip(names, *(column.tolist() for column in columns), strict=True))


def bar_rows(found: Characteristic) -> Rows:
    """The bars of the histogram."""
    histogram = found.histogram
    return [] if histogram is None else list(zip(histogram.edges, histogram.edges[1:], histogram.counts, strict=False))


def level_rows(found: Characteristic, factor: str) -> Rows:
    """The levels of a split with their means; nothing for a split that is not shown."""
    levels = next((said.split.levels for said in found.splits if said.split.factor == factor), ())
    return [
        (
            one.name, len(one.values), one.mean, one.interval.lower if one.interval else "",
            one.interval.upper if one.interval else "",
        )
        for one in levels
    ]  # fmt: skip


SHOWN: dict[str, tuple[Sequence[str], Callable[[Characteristic], Rows]]] = {
    "chart": (POINTS, lambda found: point_rows(found.chart)),
    "spread": (RANGES, lambda found: range_rows(found.chart)),
    "histogram": (BARS, bar_rows),
}


def rows_of(found: Characteristic, which: str) -> tuple[Sequence[str], Rows]:
    """Columns and rows of one picture of a characteristic's page; no rows where there is no such picture."""
    columns, rows = SHOWN.get(which, (LEVELS, lambda one: level_rows(one, which)))
    return columns, rows(found)


def watched_row(one: Watched, *, written: bool = False) -> Sequence[object]:
    """One small chart of the watch page: what it shows last, and its lines; `written` with as many decimals as fit."""
    samples, readings = one.chart.samples, one.series.readings
    known = [samples[-1].value if samples else readings[-1].value if readings else None]
    known += [next(iter(one.chart.line(name)[-1:]), None) for name in ("lower", "center", "upper")]
    extra = 2 if one.series.kind in {"attribute", "count"} else 1
    numbers: list[object] = ["" if number is None else number for number in known]
    if written:
        numbers = ["–" if number is None else one.series.number_text(number, extra) for number in known]
    return (
        one.series.number, one.series.title, one.why, one.said, len(one.series.readings), *numbers,
        " ".join(one.looked_into),
    )  # fmt: skip
