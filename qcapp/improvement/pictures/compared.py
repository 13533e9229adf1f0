"""Before against after: the two shares with their intervals, and the values with their means, on one scale each."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from qcapp.core.errors import QcError
from qcapp.core.statistics.comparison import Counted
from qcapp.core.statistics.intervals import mean_interval, proportion_interval
from qcapp.lib.band_picture import Scale
from qcapp.trends.pictures.frame import Frame, label, picture, ticks, written

from ..queries.effect import Effect
from ..words import percent

WIDTH, ROW = 560, 44
NAMES = ("before", "since")


def shares_picture(effect: Effect) -> str:
    """Two rows: the share out of band as a tick, its 95 % interval as a bar; empty where a side has no unit."""
    sides = (effect.before, effect.after)
    if not all(side.of for side in sides):
        return ""
    frame = Frame(WIDTH, 2 * ROW + 44, left=110, right=70, top=6, bottom=34)
    intervals = [proportion_interval(side.found, side.of) for side in sides]
    x = frame.x(0.0, min(1.0, max(one.upper for one in intervals) * 1.1))
    rows = "".join(
        _row(frame, x, place, side, interval.lower, interval.upper)
        for place, (side, interval) in enumerate(zip(sides, intervals, strict=True))
    )
    found, _ = ticks(x.low, x.high, 5)
    numbers = "".join(label(x(t), frame.inner_bottom + 18, f"{100 * t:.3g} %") for t in found)
    lines = "".join(f"M{x(t):g} {frame.top}V{frame.inner_bottom}" for t in found)
    said = f"Before {sides[0].found} of {sides[0].of}, since {effect.since} {sides[1].found} of {sides[1].of}."
    parts = [f'<path class="c-grid" d="{lines}"/>', numbers, rows]
    return picture(frame, "effect-shares", "Share out of band before and since", said, parts)


def _row(frame: Frame, x: Scale, place: int, side: Counted, low: float, high: float) -> str:
    middle = frame.top + ROW * place + ROW / 2
    words = f"{NAMES[place]}: {side.found} of {side.of}, {percent(side.share)}; 95 %: {percent(low)} to {percent(high)}"
    return (
        f"<g><title>{escape(words)}</title>"
        f'<text class="c-row" x="{frame.left - 12}" y="{middle + 1:g}" text-anchor="end">{NAMES[place]}</text>'
        f'<text class="c-tick" x="{frame.left - 12}" y="{middle + 15:g}" text-anchor="end">{side.found} / {side.of}'
        f'</text><rect class="c-interval" x="{x(low):g}" y="{middle - 8:g}" width="{max(1.0, x(high) - x(low)):g}" '
        f'height="16"/><path class="c-mean" d="M{x(side.share):g} {middle - 14:g}v28"/>'
        f"{label(frame.inner_right + 8, middle + 4, percent(side.share), 'c-row', 'start')}</g>"
    )


def values_picture(effect: Effect) -> str:
    """Two rows of dots with the mean and its interval; empty where a side has fewer than two values."""
    sides = (effect.values_before, effect.values_after)
    if min(map(len, sides)) < 2:
        return ""
    frame = Frame(WIDTH, 2 * ROW + 44, left=110, right=70, top=6, bottom=34)
    values = [value for side in sides for value in side]
    air = ((max(values) - min(values)) or 1.0) * 0.05
    x = frame.x(min(values) - air, max(values) + air)
    found, decimals = ticks(x.low, x.high, 6)
    numbers = "".join(label(x(t), frame.inner_bottom + 18, written(t, decimals)) for t in found)
    lines = "".join(f"M{x(t):g} {frame.top}V{frame.inner_bottom}" for t in found)
    unit = label(frame.width - 6, frame.inner_bottom + 18, effect.unit_of_measure, "c-unit", "end")
    rows = "".join(_dots(frame, x, place, side, effect.decimals) for place, side in enumerate(sides))
    said = f"{len(sides[0])} values before and {len(sides[1])} since. {effect.means_sentence}"
    parts = [f'<path class="c-grid" d="{lines}"/>', numbers, unit, rows]
    return picture(frame, "effect-values", "Values before and since", said, parts)


def _dots(frame: Frame, x: Scale, place: int, values: Sequence[float], decimals: int) -> str:
    middle = frame.top + ROW * place + ROW / 2
    dots = "".join(
        f'<circle cx="{x(value):g}" cy="{middle + 9 * (((n * 7) % 5) / 2 - 1):g}" r="2.5"/>'
        for n, value in enumerate(values)
    )
    mean = sum(values) / len(values)
    try:
        interval = mean_interval(list(values))
        left, right = max(x.left, x(interval.lower)), min(x.right, x(interval.upper))
    except QcError:
        left = right = x(mean)
    return (
        f'<text class="c-row" x="{frame.left - 12}" y="{middle + 1:g}" text-anchor="end">{NAMES[place]}</text>'
        f'<text class="c-tick" x="{frame.left - 12}" y="{middle + 15:g}" text-anchor="end">n = {len(values)}</text>'
        f'<g class="c-dots">{dots}</g><rect class="c-interval" x="{left:g}" y="{middle - 5:g}" '
        f'width="{max(1.0, right - left):g}" height="10"/><path class="c-mean" d="M{x(mean):g} {middle - 14:g}v28"/>'
        f"{label(frame.inner_right + 8, middle + 4, written(mean, decimals + 1), 'c-row', 'start')}"
    )
