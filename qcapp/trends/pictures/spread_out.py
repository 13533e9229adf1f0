"""Histogram with the band, and the splits: every level of a split as a row of dots on one scale."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from qcapp.lib.band_picture import Scale

from ..characteristic import Histogram
from ..readings import Series
from ..splits import MOST_LEVELS, Level, SplitBy
from .frame import Frame, label, picture, ticks, written

ROW = 34


def _limits(series: Series) -> dict[str, float]:
    band = series.band
    if band is None or series.kind == "attribute":
        return {}
    ends = (("lower", band.lower), ("upper", band.upper))
    return {side: float(end) for side, end in ends if end is not None and side not in band.natural}


def _ends(series: Series, values: Sequence[float]) -> tuple[float, float]:
    """The stretch of the value axis: the values, and limits that are not far away."""
    low, high = min(values), max(values)
    span = (high - low) or abs(high) * 0.1 or 1.0
    for limit in _limits(series).values():
        if low - 4 * span <= limit <= high + 4 * span:
            low, high = min(low, limit), max(high, limit)
    air = 0.05 * ((high - low) or span)
    return low - air, high + air


def _across(frame: Frame, x: Scale, series: Series) -> str:
    """Value axis at the bottom with the band behind everything."""
    found, decimals = ticks(x.low, x.high, 6)
    below = frame.inner_bottom + 18
    numbers = "".join(label(x(tick), below, written(tick, decimals)) for tick in found)
    lines = "".join(f"M{x(tick):g} {frame.top}V{frame.inner_bottom}" for tick in found)
    unit = label(frame.width - 6, below, series.unit_of_measure, "c-unit", "end")
    axis = f'<path class="c-axis" d="M{frame.left} {frame.inner_bottom}H{frame.inner_right}"/>'
    return f'{_band(frame, x, series)}<path class="c-grid" d="{lines}"/>{axis}{numbers}{unit}'


def _band(frame: Frame, x: Scale, series: Series) -> str:
    limits = _limits(series)
    if not limits:
        return ""
    left = max(x.left, min(x.right, x(limits["lower"]))) if "lower" in limits else x.left
    right = max(x.left, min(x.right, x(limits["upper"]))) if "upper" in limits else x.right
    height = frame.inner_bottom - frame.top
    bars = "".join(
        f'<path class="c-limit" d="M{x(limit):g} {frame.top}V{frame.inner_bottom + 4}"/>'
        for limit in limits.values()
        if x.low <= limit <= x.high
    )
    width = max(0.0, right - left)
    return f'<rect class="c-band" x="{left:g}" y="{frame.top}" width="{width:g}" height="{height}"/>{bars}'


def histogram_picture(series: Series, histogram: Histogram, identity: str = "histogram") -> str:
    """Bars over the value axis, the plan's band behind them."""
    frame = Frame(540, 260, left=40, right=44)
    values = [histogram.edges[0], histogram.edges[-1]]
    x = frame.x(*_ends(series, values))
    y = frame.y(0.0, max(histogram.counts) * 1.1)
    found, _ = ticks(0.0, max(histogram.counts) * 1.1, 4)
    whole = [tick for tick in found if tick == int(tick)]
    counts = "".join(label(frame.left - 6, y(tick) + 4, f"{tick:g}", anchor="end") for tick in whole)
    edges = [written(edge, series.decimals + 1) for edge in histogram.edges]
    bars = "".join(
        _bar(x(left), x(right), y(count), y(0), f"{edges[index]} to {edges[index + 1]}: {count}")
        for index, (left, right, count) in enumerate(
            zip(histogram.edges, histogram.edges[1:], histogram.counts, strict=False)
        )
        if count
    )
    total = sum(histogram.counts)
    said = f"{total} values from {edges[0]} to {edges[-1]}; band: {series.limits_text}."
    parts = [_across(frame, x, series), counts, bars]
    return picture(frame, identity, f"Histogram of {series.title}", said, parts)


def _bar(left: float, right: float, top: float, bottom: float, said: str) -> str:
    size = f'width="{max(0.5, right - left - 1):g}" height="{bottom - top:g}"'
    return f'<rect class="c-bar" x="{left:g}" y="{top:g}" {size}><title>{escape(said)}</title></rect>'


def split_picture(series: Series, split: SplitBy, ends: tuple[float, float] | None = None, *, name: str = "") -> str:
    """The levels of a split beneath each other on one scale: dots, the mean as a tick, its interval as a bar."""
    if not split.levels:
        return ""
    levels = split.levels[:MOST_LEVELS]
    frame = Frame(540, ROW * len(levels) + 40, left=132, right=44, top=6, bottom=30)
    values = [value for level in split.levels for value in level.values]
    x = frame.x(*(ends or _ends(series, values)))
    rows = "".join(_row(level, index, frame, x, series) for index, level in enumerate(levels))
    said = "; ".join(
        f"{level.name}: {len(level.values)} values, mean {written(level.mean, series.decimals + 1)}" for level in levels
    )
    title = f"{series.title} by {split.label.lower()}"
    return picture(frame, f"by-{name or split.factor}", title, said, [_across(frame, x, series), rows])


def common_ends(series: Series) -> tuple[float, float] | None:
    """One value axis for all the splits of a series; None without readings."""
    return _ends(series, series.values) if series.readings else None


def _row(level: Level, index: int, frame: Frame, x: Scale, series: Series) -> str:
    middle = frame.top + 18 + ROW * index
    dots = "".join(
        f'<circle cx="{x(value):g}" cy="{middle + 8 * (((place * 7) % 5) / 2 - 1):g}" r="2.5"/>'
        for place, value in enumerate(level.values)
    )
    interval = ""
    if level.interval is not None:
        left, right = max(x.left, x(level.interval.lower)), min(x.right, x(level.interval.upper))
        interval = (
            f'<rect class="c-interval" x="{left:g}" y="{middle - 4}" width="{max(1.0, right - left):g}" height="8"/>'
        )
    name = level.name if len(level.name) <= 16 else f"{level.name[:15]}…"
    return (
        f'<text class="c-row" x="{frame.left - 10}" y="{middle + 1}" text-anchor="end">{escape(name)}</text>'
        f'<text class="c-tick" x="{frame.left - 10}" y="{middle + 14}" text-anchor="end">{len(level.values)}</text>'
        f'<g class="c-dots">{dots}</g>{interval}'
        f'<path class="c-mean" d="M{x(level.mean):g} {middle - 12}v24"><title>{escape(level.name)}: mean '
        f"{written(level.mean, series.decimals + 1)}</title></path>"
    )
