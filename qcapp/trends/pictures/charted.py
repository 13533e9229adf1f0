"""The control chart: points by order with links to their units, control limits, limits of the plan, events, signals."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from html import escape
from urllib.parse import quote

from qcapp.core.statistics.control_chart import ControlChart
from qcapp.lib.band_picture import Scale

from ..characteristic import Axis
from ..control import Chart, Sample, natural_floor
from ..readings import Series
from .frame import (
    Across,
    Frame,
    by_date,
    cross,
    date_axis,
    diamond,
    free_foot,
    order_axis,
    picture,
    side_labels,
    stepped,
    value_axis,
    written,
)

WIDTH, HEIGHT, SPREAD_HEIGHT = 1120, 360, 170
HELD_WIDTH = 140  # of the words that mark the end of a base period, about
FAR = 4.0  # a band wider than so many times the rest would press the points into a line: it is cut off and said


def control_picture(series: Series, chart: Chart, identity: str = "chart", *, axis: Axis = "order") -> str:
    """The chart of a series, its points by order or by date; empty where there is none."""
    if not chart.samples or chart.computed is None:
        return ""
    frame = Frame(WIDTH, HEIGHT)
    low, high = _range(series, chart)
    times = times_of(chart) if axis == "date" else []
    x = by_date(frame, times) if times else frame.x(-0.6, len(chart.samples) - 0.4)
    y = frame.y(low, high)
    unit = series.unit_of_measure if series.kind in {"measured", "derived"} else ""
    parts = [
        _plan_band(series, frame, y, chart),
        value_axis(frame, y, unit),
        _plan_limits(series, chart, frame, x, y),
        _base(chart, frame, x, _drawn_at(series, chart, y)),
        _events(series, chart, frame, x),
        *(stepped(x, y, chart.line(name), css) for name, css in LINES),
        _trace(chart, x, y),
        _points(series, chart, x, y),
        _below(frame, chart, x, times),
        side_labels(frame, _labels(series, chart, frame, y)),
    ]
    named = f"{chart.name[0].lower()}{chart.name[1:]}"  # a fixture in it keeps its capitals
    title = TITLES[axis].format(of=f"{series.title}, {series.family_code}", chart=named)
    return picture(frame, identity, title, _described(series, chart), parts)


def times_of(chart: Chart) -> list[datetime]:
    """When each point was measured, the last reading of several."""
    return [sample.readings[-1].recorded_at for sample in chart.samples]


def _below(frame: Frame, chart: Chart, x: Across, times: Sequence[datetime]) -> str:
    if times:
        return date_axis(frame, times)
    return order_axis(frame, x, chart.names, 7 if len(chart.names[0]) < 16 else 4)


TITLES = {"order": "{of}: {chart} by order", "date": "{of}: {chart} by date"}
LINES = (("center", "c-center"), ("lower", "c-control"), ("upper", "c-control"))


def _limits(series: Series) -> list[tuple[str, float]]:
    """The plan's limits of today that lie on this chart's scale."""
    band = series.band
    if band is None or series.kind == "attribute":
        return []
    ends = (("lower", band.lower), ("upper", band.upper))
    return [(side, float(end)) for side, end in ends if end is not None and side not in band.natural]


def _range(series: Series, chart: Chart) -> tuple[float, float]:
    numbers = [sample.value for sample in chart.samples] + chart.line("lower") + chart.line("upper")
    low, high = min(numbers), max(numbers)
    span = (high - low) or 1.0
    for _, limit in _limits(series):
        if low - FAR * span <= limit <= high + FAR * span:
            low, high = min(low, limit), max(high, limit)
    air = 0.06 * ((high - low) or 1.0)
    floor = 0.0 if series.kind == "attribute" else natural_floor(series)
    return (low - air if floor is None else min(low, floor)), high + air


def _plan_band(series: Series, frame: Frame, y: Scale, chart: Chart) -> str:
    limits = dict(_limits(series))
    if not limits or series.asked_for < 1:
        return ""
    top = max(frame.top, min(frame.inner_bottom, y(limits["upper"]))) if "upper" in limits else frame.top
    bottom = max(frame.top, min(frame.inner_bottom, y(limits["lower"]))) if "lower" in limits else frame.inner_bottom
    width = frame.inner_right - frame.left
    return f'<rect class="c-band" x="{frame.left}" y="{top:g}" width="{width}" height="{max(0.0, bottom - top):g}"/>'


def _plan_limits(series: Series, chart: Chart, frame: Frame, x: Across, y: Scale) -> str:
    """Heavy lines; in steps where a plan revision moved a limit."""
    drawn = []
    for side, now in _limits(series):
        values = [now] * len(chart.samples)
        if len(chart.samples) == len(series.readings):
            values = [_limit_then(reading.band, side, now) for reading in series.readings]
        inside = [value for value in values if y.low <= value <= y.high]
        if len(inside) == len(values):
            drawn.append(stepped(x, y, values, "c-limit"))
    return "".join(drawn)


def _limit_then(band: object, side: str, now: float) -> float:
    limit = getattr(band, side, None)
    return now if limit is None else float(limit)


def _drawn_at(series: Series, chart: Chart, y: Scale) -> list[float]:
    """How high the lines lie that go through the whole field."""
    values = [chart.line(name)[-1] for name, _ in LINES] + [limit for _, limit in _limits(series)]
    return [y(value) for value in values if y.low <= value <= y.high]


def _base(chart: Chart, frame: Frame, x: Across, lines: Sequence[float]) -> str:
    """Where the base period ends; its words at the foot, or above the lines that would go through them there."""
    if chart.base >= len(chart.samples):
        return ""
    at = x(chart.base - 0.5)
    room = frame.inner_right - at > HELD_WIDTH  # else the words stand before the line, clear of the names at the right
    place = f'x="{at + 5:g}"' if room else f'x="{at - 5:g}" text-anchor="end"'
    return (
        f'<path class="c-event" d="M{at:g} {frame.top}V{frame.inner_bottom}"/>'
        f'<text class="c-event-name" {place} y="{free_foot(frame, lines):g}">limits held from here</text>'
    )


def _events(series: Series, chart: Chart, frame: Frame, x: Across) -> str:
    """A dotted line for a new plan revision, a wedge on the axis for a calibration, before the point they fall in."""
    drawn = []
    points = {one.result_id: place for place, sample in enumerate(chart.samples) for one in sample.readings}
    for event in series.events:
        place = points.get(series.readings[event.place].result_id)
        if place is None:  # before the first whole sample
            continue
        at = x(place - 0.5)
        if event.kind == "revision":
            drawn.append(
                f'<path class="c-event" d="M{at:g} {frame.top}V{frame.inner_bottom}"/>'
                f'<text class="c-event-name" x="{at + 5:g}" y="{frame.top + 12}">{escape(event.words)}</text>'
            )
        else:
            drawn.append(
                f'<g class="c-calibration"><title>{escape(event.words)}</title>'
                f'<path d="M{at - 6:g} {frame.inner_bottom}h12l-6 -9z"/></g>'
            )
    return "".join(drawn)


def _trace(chart: Chart, x: Across, y: Scale) -> str:
    points = " ".join(f"{x(index):g},{y(sample.value):g}" for index, sample in enumerate(chart.samples))
    return f'<polyline class="c-line" points="{points}"/>'


def _points(series: Series, chart: Chart, x: Across, y: Scale) -> str:
    signalled = {place for signal in chart.signals for place in signal.points}
    return "".join(
        _point(series, sample, x(index), y(sample.value), index in signalled)
        for index, sample in enumerate(chart.samples)
    )


def _point(series: Series, sample: Sample, x: float, y: float, signal: bool) -> str:
    """A link to the unit; ordinary points are left out of the tab order, the table beside names them all."""
    shape, css = _shape(sample, x, y, signal)
    aside = "" if signal or css == "c-out" else ' tabindex="-1"'
    said = escape(point_words(series, sample))
    return (
        f'<a class="c-point {css}" href="/units/{quote(sample.serial)}/" aria-label="{said}"{aside}>'
        f'<title>{said}</title><circle class="c-touch" cx="{x:g}" cy="{y:g}" r="9"/>{shape}</a>'
    )


def _shape(sample: Sample, x: float, y: float, signal: bool) -> tuple[str, str]:
    marks = [mark for reading in sample.readings for mark in reading.marks]
    outcomes = {reading.outcome for reading in sample.readings}
    if "out_of_band" in outcomes:
        return cross(x, y) + (_ring(x, y) if signal else ""), "c-out"
    if signal:
        return diamond(x, y), "c-signal"
    if any(mark.startswith(("corrected", "measured again")) for mark in marks):
        return f'<circle cx="{x:g}" cy="{y:g}" r="4.5"/>', "c-corrected"
    if any(mark.startswith("inspected again") for mark in marks):
        return f'<rect x="{x - 4:g}" y="{y - 4:g}" width="8" height="8"/>', "c-again"
    return f'<circle cx="{x:g}" cy="{y:g}" r="3.5"/>', "c-plain"


def _ring(x: float, y: float) -> str:
    return f'<circle cx="{x:g}" cy="{y:g}" r="9" fill="none"/>'


def point_words(series: Series, sample: Sample) -> str:
    """What hovering or a screen reader says about a point."""
    if len(sample.readings) > 1:
        return (
            f"{sample.name}: {sample.value:g} of {len(sample.readings)}"
            if sample.value >= 1
            else f"{sample.name}: {sample.value:.3g}"
        )
    reading = sample.readings[0]
    words = [f"{reading.serial}: {reading.text} {series.unit_of_measure}".strip(), reading.outcome.replace("_", " ")]
    words += [reading.gauge] if reading.gauge else []
    words += [f"fixture {reading.fixture}"] if reading.fixture else []
    return ", ".join([*words, *reading.marks])


CONTROL_WORDS = {
    "upper": "upper control limit {value}",
    "center": "centre {value}",
    "lower": "lower control limit {value}",
}
LIMIT_WORDS = {"lower": "lower limit {value}", "upper": "upper limit {value}"}


def _labels(series: Series, chart: Chart, frame: Frame, y: Scale) -> list[tuple[float, str, str]]:
    extra = 2 if series.kind in {"attribute", "count"} else series.decimals + 1
    labels = []
    for name, words in CONTROL_WORDS.items():
        value = chart.line(name)[-1]
        if name == "lower" and value <= 0 and series.kind in {"attribute", "count"}:
            continue
        labels.append((y(value), words.format(value=written(value, extra)), "control"))
    for side, limit in _limits(series):
        text = LIMIT_WORDS[side].format(value=written(limit, series.decimals))
        if limit > y.high:
            labels.append((frame.top - 6, f"{text} ↑", "limit"))
        elif limit < y.low:
            labels.append((frame.inner_bottom, f"{text} ↓", "limit"))
        else:
            labels.append((y(limit), text, "limit"))
    return labels


def _described(series: Series, chart: Chart) -> str:
    signals = [signal.sentence for signal in chart.signals[:5]] or ["No signal."]
    return " ".join([f"{len(chart.samples)} points.", chart.base_sentence, *signals])


# ---------------------------------------------------------------------------------------------- spread beneath


def spread_picture(series: Series, chart: Chart, identity: str = "spread", *, axis: Axis = "order") -> str:
    """Moving ranges, or the ranges within a unit, under the same order; empty without such a chart."""
    spread = chart.computed.spread if chart.computed else None
    if spread is None:
        return ""
    frame = Frame(WIDTH, SPREAD_HEIGHT)
    offset = len(chart.samples) - len(spread.points)  # moving ranges begin at the second point
    top = max(float(spread.points.max()), float(spread.at(spread.upper).max())) * 1.08 or 1.0
    times = times_of(chart) if axis == "date" else []
    x = by_date(frame, times) if times else frame.x(-0.6, len(chart.samples) - 0.4)
    y = frame.y(0.0, top)
    beyond = set(spread.beyond_limits())
    points = [(x(index + offset), y(float(value)), index in beyond) for index, value in enumerate(spread.points)]
    lines = (("center", "c-center"), ("upper", "c-control"))
    parts = [
        value_axis(frame, y, series.unit_of_measure),
        *(stepped(x, y, [float(v) for v in spread.at(getattr(spread, name))], css) for name, css in lines),
        f'<polyline class="c-line" points="{" ".join(f"{a:g},{b:g}" for a, b, _ in points)}"/>',
        _dots(points),
        _below(frame, chart, x, times),
        side_labels(frame, _spread_labels(spread, y, series.decimals + 1)),
    ]
    said = f"{len(beyond)} of {len(points)} above the upper control limit."
    return picture(frame, identity, f"{chart.spread_name}: {series.title}", said, parts)


def _spread_labels(spread: ControlChart, y: Scale, decimals: int) -> list[tuple[float, str, str]]:
    found = []
    for name, line in (("upper", spread.upper), ("center", spread.center)):
        value = float(spread.at(line)[-1])
        found.append((y(value), CONTROL_WORDS[name].format(value=written(value, decimals)), "control"))
    return found


def _dots(points: Sequence[tuple[float, float, bool]]) -> str:
    plain = "".join(f'<circle cx="{x:g}" cy="{y:g}" r="3"/>' for x, y, signal in points if not signal)
    signals = "".join(diamond(x, y) for x, y, signal in points if signal)
    return f'<g class="c-plain">{plain}</g><g class="c-signal">{signals}</g>'
