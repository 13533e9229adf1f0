"""The band as SVG text: the mark, the ruler and the trace. Our own drawing, used by pages and PDFs alike.

Floats are used for drawing only; whether a value is in its band was decided before, by core.metrology.decision.
Colours come from CSS classes (`in`, `near`, `out`) so that themes and grey print work; no style attributes, because
the content security policy blocks them.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from html import escape

TONES = {
    "in_band": "in",
    "conforms": "in",
    "recorded": "in",
    "near_limit": "near",
    "out_of_band": "out",
    "does_not_conform": "out",
}
WORDS = {
    "in_band": "in band",
    "near_limit": "near limit",
    "out_of_band": "out of band",
    "conforms": "conforms",
    "does_not_conform": "does not conform",
    "recorded": "recorded",
    "": "not answered",
}
RINGS = {"attribute", "record"}


def tone(outcome: str) -> str:
    """`in`, `near`, `out`, or `open` where there is no answer."""
    return TONES.get(outcome, "open")


def word(outcome: str) -> str:
    """The words that screens use for an outcome."""
    return WORDS.get(outcome, outcome.replace("_", " "))


def _dot_at(outcome: str, nearest: str) -> float | None:
    if outcome in {"", "open"}:
        return None
    below = nearest == "lower"
    if outcome == "near_limit":
        return 16.5 if below else 27.5
    if outcome == "out_of_band":
        return 5.0 if below else 39.0
    return 22.0


def mark(
    outcome: str,
    *,
    nearest: str = "",
    kind: str = "measured",
    lower: bool = True,
    upper: bool = True,
    conflict: bool = False,
    say: Callable[[str], str] = str,
) -> str:
    """The 44 × 24 mark: bars are the limits, the dot is the value; a ring for checks without a number.

    `say` gives its name in another language.
    """
    shapes = _ring(outcome) if kind in RINGS else _bars(outcome, nearest, lower=lower, upper=upper)
    if conflict:
        shapes = _bars("open", "", lower=lower, upper=upper) + _dot(18) + _dot(27)
    label = "two answers in conflict" if conflict else word(outcome)
    return (
        f'<svg class="mark {"near" if conflict else tone(outcome)}" viewBox="0 0 44 24" width="44" height="24" '
        f'role="img" '
        f'aria-label="{escape(say(label))}">{shapes}</svg>'
    )


def _dot(x: float, y: float = 12) -> str:
    return f'<circle cx="{x:g}" cy="{y:g}" r="4.5" fill="currentColor"/>'


def _bars(outcome: str, nearest: str, *, lower: bool, upper: bool) -> str:
    bar = '<rect x="{}" y="2" width="3" height="20" rx="1" fill="currentColor"/>'
    dot = _dot_at(outcome, nearest)
    return (
        (bar.format("10.5") if lower else "")
        + (bar.format("30.5") if upper else "")
        + ("" if dot is None else _dot(dot))
    )


def _ring(outcome: str) -> str:
    ring = '<circle cx="22" cy="12" r="9" fill="none" stroke="currentColor" stroke-width="2.5"/>'
    if outcome in {"", "open"}:
        return ring
    return ring + _dot(39 if tone(outcome) == "out" else 22)


@dataclass(frozen=True)
class Scale:
    """Maps values of a stretch [low, high] to x positions between left and right."""

    low: float
    high: float
    left: float
    right: float

    def __call__(self, value: float) -> float:
        share = (value - self.low) / (self.high - self.low)
        return round(self.left + share * (self.right - self.left), 2)


def stretch(
    lower: float | None, upper: float | None, value: float | None, nominal: float | None
) -> tuple[float, float]:
    """The stretch of the axis that shows the band with air on both sides, and the value where it is not far away."""
    points = [point for point in (lower, upper, nominal) if point is not None]
    if not points:
        points = [value or 0.0]
    low, high = min(points), max(points)
    width = (high - low) or abs(high) * 0.5 or 1.0
    if lower is None and nominal is None:
        low = min(low, high - width)
    if upper is None and nominal is None:
        high = max(high, low + width)
    low, high = low - 0.45 * width, high + 0.45 * width
    if value is not None:
        reach = 3 * width
        low = min(low, max(value - 0.15 * width, low - reach))
        high = max(high, min(value + 0.15 * width, high + reach))
    return low, high


WIDTH, LEFT, RIGHT, AXIS = 420, 14, 406, 62


def ruler(
    *,
    lower: Decimal | None,
    upper: Decimal | None,
    nominal: Decimal | None = None,
    guard: Decimal = Decimal(0),
    natural: frozenset[str] = frozenset(),
    value: Decimal | None = None,
    outcome: str = "",
    unit_of_measure: str = "",
    beside: tuple[Decimal | None, Decimal | None, Decimal | None] | None = None,
) -> str:
    """The band drawn to scale: ticks, limits as bars, guard zone hatched, nominal as a wedge, the value as a dot.

    `beside`: lower, upper and nominal of another band that is drawn beside it, on the same scale.
    """
    numbers = [None if n is None else float(n) for n in (lower, upper, value, nominal)]
    low, high = stretch(*numbers)
    if beside is not None:
        others = [None if n is None else float(n) for n in beside]
        other_low, other_high = stretch(others[0], others[1], None, others[2])
        low, high = min(low, other_low), max(high, other_high)
    at = Scale(low, high, LEFT, RIGHT)
    parts = [
        _band(at, numbers[0], numbers[1]),
        _guards(at, numbers[0], numbers[1], float(guard), natural),
        _axis(),
        _limits(at, lower, upper, natural),
        "" if nominal is None else _wedge(at(float(nominal))),
        "" if value is None else _value(at, value, outcome, unit_of_measure),
    ]
    spoken = _spoken(lower, upper, value, outcome, unit_of_measure)
    return (
        f'<svg class="ruler" viewBox="0 0 {WIDTH} 100" role="img" aria-label="{escape(spoken)}">'
        + "".join(parts)
        + "</svg>"
    )


def _spoken(lower: Decimal | None, upper: Decimal | None, value: Decimal | None, outcome: str, measure: str) -> str:
    band = f"limits {'open' if lower is None else lower} to {'open' if upper is None else upper} {measure}".strip()
    return band if value is None else f"{value} {measure}, {word(outcome)}, {band}"


def _band(at: Scale, lower: float | None, upper: float | None) -> str:
    x1 = LEFT if lower is None else at(lower)
    x2 = RIGHT if upper is None else at(upper)
    return f'<rect class="band" x="{x1:g}" y="{AXIS - 20}" width="{max(x2 - x1, 0):g}" height="20"/>'


def _guards(at: Scale, lower: float | None, upper: float | None, guard: float, natural: frozenset[str]) -> str:
    zones = []
    if guard > 0 and lower is not None and "lower" not in natural:
        zones.append((at(lower), at(lower + guard)))
    if guard > 0 and upper is not None and "upper" not in natural:
        zones.append((at(upper - guard), at(upper)))
    return "".join(_hatch(x1, x2) for x1, x2 in zones)


def _hatch(x1: float, x2: float) -> str:
    lines, x = [], x1 + 3
    while x < x2:
        top = min(x + 8, x2)
        lines.append(f"M{x:.1f} {AXIS}L{top:.1f} {AXIS - 20 * (top - x) / 8:.1f}")
        x += 5
    return f'<path class="guard" d="{"".join(lines)}"/>' if lines else ""


def _axis() -> str:
    step = (RIGHT - LEFT) / 20
    ticks = "".join(f"M{LEFT + i * step:.1f} {AXIS}v{9 if i % 2 == 0 else 5}" for i in range(21))
    return f'<path class="axis" d="M{LEFT} {AXIS}H{RIGHT}" fill="none"/><path class="tick" d="{ticks}" fill="none"/>'


def _limits(at: Scale, lower: Decimal | None, upper: Decimal | None, natural: frozenset[str]) -> str:
    drawn = []
    for side, limit in (("lower", lower), ("upper", upper)):
        if limit is None:
            continue
        x = at(float(limit))
        if side not in natural:
            drawn.append(f'<path class="limit" d="M{x:g} {AXIS - 27}V{AXIS + 10}" fill="none"/>')
        drawn.append(f'<text x="{_inside(x, str(limit)):g}" y="{AXIS + 29}" text-anchor="middle">{limit}</text>')
    return "".join(drawn)


def _inside(x: float, text: str) -> float:
    half = 4.2 * len(text)
    return min(max(x, half), WIDTH - half)


def _wedge(x: float) -> str:
    return f'<path class="nominal" d="M{x - 5:g} {AXIS + 9}h10l-5 -8z"/>'


def _value(at: Scale, value: Decimal, outcome: str, measure: str) -> str:
    x = min(max(at(float(value)), LEFT), RIGHT)
    label = f"{value} {measure}".strip()
    css = tone(outcome)
    return (
        f'<circle class="value {css}" cx="{x:g}" cy="{AXIS - 10}" r="7.5"/>'
        f'<text class="value {css}" x="{_inside(x, label):g}" y="{AXIS - 34}" text-anchor="middle">'
        f"{escape(label)}</text>"
    )


def trace(values: Sequence[float], *, lower: float | None, upper: float | None, outcome: str = "") -> str:
    """The last values of the family as a line over the band; the last one is the unit at hand, as a dot."""
    if not values:
        return ""
    low, high = (
        stretch(lower, upper, None, None) if (lower is not None or upper is not None) else (min(values), max(values))
    )
    low, high = min(low, *values), max(high, *values)
    if low == high:
        low, high = low - 1, high + 1
    y = Scale(low, high, 30, 2)
    x = Scale(0, max(len(values) - 1, 1), 4, 140)
    top = y(upper) if upper is not None else 2
    bottom = y(lower) if lower is not None else 30
    line = " ".join(f"{x(i):g},{y(v):g}" for i, v in enumerate(values))
    last = len(values) - 1
    return (
        f'<svg class="trace" viewBox="0 0 148 32" role="img" aria-label="the last {len(values)} values">'
        f'<rect class="band" x="4" y="{top:g}" width="136" height="{max(bottom - top, 1):g}"/>'
        f'<polyline class="line" points="{line}" fill="none"/>'
        f'<circle class="{tone(outcome)}" cx="{x(last):g}" cy="{y(values[last]):g}" r="4"/></svg>'
    )
