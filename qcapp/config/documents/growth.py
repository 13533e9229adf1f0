"""The growth curves of docs/growth.svg: how long a page takes with so many frames behind it, on two logarithmic axes.

Our own drawing, as all small ones: plain attributes, no style sheet, one colour and one mark for each line, its name at
its end.
"""

from __future__ import annotations

from collections.abc import Iterator
from html import escape
from math import ceil, floor, log10

from .measured import Measured, count, latest

WIDTH, HEIGHT = 890, 460
LEFT, RIGHT, TOP, BOTTOM = 70, 280, 64, 56
PAPER, INK, MUTED, RULE = "#FFFFFF", "#191D21", "#565E66", "#D8D2C6"
COLOURS = ("#0B4F5C", "#8C1823", "#6E4700", "#14573A", "#4B3B8F", "#191D21")
APART = 18  # between the names at the right
FONT = 'font-family="system-ui, sans-serif"'


def growth() -> str:
    """The drawing."""
    lines = _lines(latest())
    points = [point for line in lines.values() for point in line]
    across = _Axis([frames for frames, _ in points], LEFT, WIDTH - RIGHT)
    up = _Axis([ms for _, ms in points], HEIGHT - BOTTOM, TOP)
    told = f"Milliseconds of {len(lines)} pages over the number of frames: {', '.join(lines)}."
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" role="img" aria-labelledby="t d">',
        f'<title id="t">Growth</title><desc id="d">{escape(told)}</desc>',
        f'<rect width="{WIDTH}" height="{HEIGHT}" fill="{PAPER}"/>',
        _text(LEFT, 28, "How long a page takes, with so many frames behind it", size=18),
        _text(LEFT, 48, "milliseconds; a frame has 160 results", fill=MUTED),
        *_grid(across, up), *_curves(lines, across, up), "</svg>",
    ]  # fmt: skip
    return "\n".join([*parts, ""])


def _lines(found: list[Measured]) -> dict[str, list[tuple[float, float]]]:
    """By name the points of each measure in milliseconds that is known with two numbers of frames or more."""
    lines: dict[str, list[tuple[float, float]]] = {}
    for one in found:
        if one.frames is not None and one.unit == "ms":
            lines.setdefault(one.name, []).append((float(one.frames), one.value))
    return {name: sorted(points) for name, points in lines.items() if len(points) > 1}


class _Axis:
    """From whole powers of ten to whole powers of ten."""

    def __init__(self, values: list[float], begin: float, end: float) -> None:
        self.first, self.last = floor(log10(min(values))), ceil(log10(max(values)))
        self.begin, self.step = begin, (end - begin) / max(1, self.last - self.first)

    def at(self, value: float) -> float:
        return round(self.begin + (log10(value) - self.first) * self.step, 1)

    def ticks(self) -> list[int]:
        return [10**power for power in range(self.first, self.last + 1)]


def _grid(across: _Axis, up: _Axis) -> Iterator[str]:
    bottom, right = HEIGHT - BOTTOM, WIDTH - RIGHT
    for tick in across.ticks():
        x = across.at(tick)
        yield f'<line x1="{x}" y1="{TOP}" x2="{x}" y2="{bottom}" stroke="{RULE}"/>'
        yield _text(x, bottom + 20, count(tick), anchor="middle", fill=MUTED)
    for tick in up.ticks():
        y = up.at(tick)
        yield f'<line x1="{LEFT}" y1="{y}" x2="{right}" y2="{y}" stroke="{RULE}"/>'
        yield _text(LEFT - 10, y + 5, count(tick), anchor="end", fill=MUTED)
    yield _text((LEFT + right) / 2, HEIGHT - 12, "frames", anchor="middle", fill=MUTED)


def _curves(lines: dict[str, list[tuple[float, float]]], across: _Axis, up: _Axis) -> Iterator[str]:
    ends = _apart({name: up.at(points[-1][1]) for name, points in lines.items()})
    for place, (name, points) in enumerate(lines.items()):
        colour = COLOURS[place % len(COLOURS)]
        spots = [(across.at(frames), up.at(ms)) for frames, ms in points]
        path = " ".join(f"{x},{y}" for x, y in spots)
        yield f'<polyline points="{path}" fill="none" stroke="{colour}" stroke-width="2"/>'
        yield from (_mark(place, x, y, colour) for x, y in spots)
        x, y = spots[-1]
        yield f'<line x1="{x + 6}" y1="{y}" x2="{WIDTH - RIGHT + 14}" y2="{ends[name] - 4}" stroke="{colour}"/>'
        yield _text(WIDTH - RIGHT + 18, ends[name], name, fill=colour)


def _apart(wanted: dict[str, float]) -> dict[str, float]:
    """The names' heights, moved down until none covers another."""
    placed: dict[str, float] = {}
    last = float("-inf")
    for name, y in sorted(wanted.items(), key=lambda each: each[1]):
        last = max(y + 4, last + APART)
        placed[name] = round(last, 1)
    return placed


def _mark(place: int, x: float, y: float, colour: str) -> str:
    """A circle, a square, a diamond in turn, so that lines are told apart without colour."""
    if place % 3 == 0:
        return f'<circle cx="{x}" cy="{y}" r="4" fill="{colour}"/>'
    turned = f' transform="rotate(45 {x} {y})"' if place % 3 == 2 else ""
    return f'<rect x="{x - 3.5:.1f}" y="{y - 3.5:.1f}" width="7" height="7" fill="{colour}"{turned}/>'


def _text(x: float, y: float, words: str, *, size: int = 13, fill: str = INK, anchor: str = "start") -> str:
    return (
        f'<text x="{x}" y="{y}" {FONT} font-size="{size}" fill="{fill}" text-anchor="{anchor}">{escape(words)}</text>'
    )
