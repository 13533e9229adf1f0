"""The frame of a chart: scales with round ticks, axes, labels that keep apart, and the SVG around it."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from html import escape

from qcapp.lib.band_picture import Scale
from qcapp.lib.site_days import site_day

MINUS = "−"
HIGH = 15.0  # letters in a picture, upright on a tablet
AIR = 0.03  # of the width, beside the first and the last point of an axis by date


@dataclass(frozen=True)
class Frame:
    """A picture of `width` by `height` with room around the drawn field."""

    width: int
    height: int
    left: int = 68
    right: int = 172
    top: int = 14
    bottom: int = 34

    @property
    def inner_right(self) -> int:
        return self.width - self.right

    @property
    def inner_bottom(self) -> int:
        return self.height - self.bottom

    def x(self, low: float, high: float) -> Scale:
        """Across, from left to right."""
        return Scale(low, high, self.left, self.inner_right)

    def y(self, low: float, high: float) -> Scale:
        """Upwards."""
        return Scale(low, high, self.inner_bottom, self.top)


@dataclass(frozen=True)
class Placed:
    """Maps places of points, from 0, to x positions by their dates; between two points in proportion."""

    at: tuple[float, ...]
    left: float
    right: float

    def __call__(self, place: float) -> float:
        if place < 0:
            return self.left
        if place > len(self.at) - 1:
            return self.right
        before = math.floor(place)
        after = min(before + 1, len(self.at) - 1)
        return round(self.at[before] + (place - before) * (self.at[after] - self.at[before]), 2)


Across = Scale | Placed


def by_date(frame: Frame, times: Sequence[datetime]) -> Placed:
    """Points across by the time of measuring, the first and the last a little inside the field."""
    return Placed(tuple(_across(frame, times, one) for one in times), frame.left, frame.inner_right)


def _across(frame: Frame, times: Sequence[datetime], one: datetime) -> float:
    span = (times[-1] - times[0]).total_seconds()
    share = (one - times[0]).total_seconds() / span if span else 0.5
    width = frame.inner_right - frame.left
    return round(frame.left + (AIR + (1 - 2 * AIR) * min(1.0, max(0.0, share))) * width, 2)


def date_axis(frame: Frame, times: Sequence[datetime], most: int = 7) -> str:
    """Days of the site under the field, evenly spaced in time."""
    span = times[-1] - times[0]
    shown = [times[0] + span * number / (most - 1) for number in range(most)] if span else [times[0]]
    days = {f"{site_day(one):%-d %b %Y}": _across(frame, times, one) for one in shown}
    marks = "".join(f"M{x:g} {frame.inner_bottom}v5" for x in days.values())
    labels = "".join(label(x, frame.inner_bottom + 20, day) for day, x in days.items())
    return f'<path class="c-axis" d="M{frame.left} {frame.inner_bottom}H{frame.inner_right}{marks}"/>{labels}'


def ticks(low: float, high: float, about: int = 5) -> tuple[list[float], int]:
    """Round numbers between two ends, about so many, and the decimals to write them with.

    >>> ticks(61.83, 62.17)
    ([61.85, 61.9, 61.95, 62.0, 62.05, 62.1, 62.15], 2)
    """
    span = (high - low) or 1.0
    rough = span / about
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(factor * power for factor in (1, 2, 2.5, 5, 10) if factor * power >= rough * 0.999)
    decimals = max(0, -math.floor(math.log10(step) + 1e-9))
    if round(step, decimals) != round(step, 10):
        decimals += 1
    first = math.ceil(low / step - 1e-9)
    last = math.floor(high / step + 1e-9)
    return [round(index * step, 10) for index in range(first, last + 1)], decimals


def written(value: float, decimals: int) -> str:
    """The number with a true minus sign, and no sign on a zero."""
    text = f"{value:.{decimals}f}"
    return (text[1:] if text.startswith("-") and float(text) == 0 else text).replace("-", MINUS)


def picture(
    frame: Frame, identity: str, title: str, description: str, parts: Iterable[str], css: str = "", role: str = "group"
) -> str:
    """The whole picture with its title and description for screen readers; `img` where nothing in it is a link."""
    return (
        f'<svg class="chart{f" {css}" if css else ""}" viewBox="0 0 {frame.width} {frame.height}" role="{role}" '
        f'aria-labelledby="{identity}-t {identity}-d"><title id="{identity}-t">{escape(title)}</title>'
        f'<desc id="{identity}-d">{escape(description)}</desc>{"".join(parts)}</svg>'
    )


def label(x: float, y: float, words: str, css: str = "c-tick", anchor: str = "middle") -> str:
    """A text with its anchor."""
    return f'<text class="{css}" x="{x:g}" y="{y:g}" text-anchor="{anchor}">{escape(words)}</text>'


def value_axis(frame: Frame, y: Scale, unit: str) -> str:
    """Ticks with numbers at the left, fine lines across, the unit of measure on top."""
    found, decimals = ticks(y.low, y.high)
    lines = "".join(f"M{frame.left} {y(tick):g}H{frame.inner_right}" for tick in found)
    beside = frame.left - 8
    numbers = "".join(label(beside, y(tick) + 4, written(tick, decimals), anchor="end") for tick in found)
    named = label(beside, frame.top - 2, unit, "c-unit", "end")
    return f'<path class="c-grid" d="{lines}"/>{numbers}{named if unit else ""}'


def order_axis(frame: Frame, x: Across, names: Sequence[str], most: int = 7) -> str:
    """Names under some of the points, evenly spaced, the last one always."""
    last = len(names) - 1
    step = max(1, math.ceil(len(names) / most))
    places = list(range(last, -1, -step))[::-1]
    marks = "".join(f"M{x(place):g} {frame.inner_bottom}v5" for place in places)
    labels = "".join(label(x(place), frame.inner_bottom + 20, names[place]) for place in places)
    axis = f'<path class="c-axis" d="M{frame.left} {frame.inner_bottom}H{frame.inner_right}{marks}"/>'
    return axis + labels


def side_labels(frame: Frame, labels: Sequence[tuple[float, str, str]], gap: float = 18) -> str:
    """Texts at the right of lines: height, text, class. Those that would touch are pushed apart.

    `gap` leaves air between letters of 15, which the picture has upright on a tablet.
    """
    placed: list[tuple[float, str, str]] = []
    for y, text, css in sorted(labels):
        lowest = placed[-1][0] + gap if placed else frame.top + 4
        placed.append((max(y + 4, lowest), text, css))
    overflow = placed[-1][0] - (frame.height - 6) if placed else 0
    shift = max(0.0, overflow)
    return "".join(
        f'<text class="c-name {css}" x="{frame.inner_right + 8}" y="{y - shift:g}">{escape(text)}</text>'
        for y, text, css in placed
    )


def free_foot(frame: Frame, lines: Sequence[float]) -> float:
    """The lowest place in the field for a line of words through which none of the drawn lines goes."""
    at = frame.inner_bottom - 6.0
    while at > frame.top + HIGH and any(at - HIGH < line < at + HIGH / 3 for line in lines):
        at -= 2
    return at


def stepped(x: Across, y: Scale, values: Sequence[float], css: str) -> str:
    """A line of limits: straight while it stays the same, in steps where it changes from point to point."""
    if not values:
        return ""
    parts: list[str] = []
    start = 0
    for value, some in itertools.groupby(values):
        end = start + len(list(some))
        left = x(start - 0.5) if start else x.left
        right = x(end - 0.5) if end < len(values) else x.right
        parts.append(f"{'L' if parts else 'M'}{left:g} {y(value):g}H{right:g}")
        start = end
    return f'<path class="{css}" d="{"".join(parts)}"/>'


def diamond(x: float, y: float, size: float = 6) -> str:
    return f'<path d="M{x:g} {y - size:g}l{size:g} {size:g}l-{size:g} {size:g}l-{size:g} -{size:g}z"/>'


def cross(x: float, y: float, size: float = 5) -> str:
    return (
        f'<path d="M{x - size:g} {y - size:g}l{2 * size:g} {2 * size:g}m0 -{2 * size:g}l-{2 * size:g} {2 * size:g}"/>'
    )
