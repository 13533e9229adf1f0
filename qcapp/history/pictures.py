"""How often the family has which value, with the band's limits and the one value: a small drawing made here."""

from __future__ import annotations

from collections import Counter
from html import escape
from typing import TYPE_CHECKING

from qcapp.lib.band_picture import Scale

if TYPE_CHECKING:
    from qcapp.inspections.queries.outliers import ValueView

WIDTH, HEIGHT, FOOT, LEAST_BINS, MOST_BINS = 560, 190, 34, 6, 28


def spread_picture(view: ValueView) -> str:
    """SVG with classes of static/css/trends.css; empty where there is nothing to draw."""
    found = view.spread
    if found is None or not found.values:
        return ""
    every = _limits(view)
    low, high = _ends([*found.values, found.own], every)
    limits = [limit for limit in every if low <= limit <= high]
    x = Scale(low, high, 12, WIDTH - 12)
    bars = _bars(found.values, low, high, x)
    own = x(found.own)
    drawn = [_band(every, x), bars, f'<path class="c-axis" d="M8 {HEIGHT - FOOT}H{WIDTH - 8}"/>']
    drawn += [f'<path class="c-limit" d="M{x(limit):g} 14V{HEIGHT - FOOT}"/>' for limit in limits]
    drawn += [
        f'<path class="c-mean" d="M{own:g} 14V{HEIGHT - FOOT}"/><circle class="c-signal" cx="{own:g}" cy="14" r="5"/>'
    ]
    drawn += [_label(x(limit), f"{limit:g}", "c-tick") for limit in limits]
    drawn.append(_label(own, view.answer.described, "c-row", HEIGHT - 3))
    said = escape(f"How often which value, {len(found.values)} other units. {view.share}")
    return f'<svg class="chart" viewBox="0 0 {WIDTH} {HEIGHT}" role="img" aria-label="{said}">{"".join(drawn)}</svg>'


def _limits(view: ValueView) -> list[float]:
    band = getattr(view.card.spec, "band", None)
    if band is None:
        return []
    ends = (("lower", band.lower), ("upper", band.upper))
    return [float(end) for side, end in ends if end is not None and side not in band.natural]


def _ends(values: list[float], limits: list[float]) -> tuple[float, float]:
    """What is drawn: every value, and the limits unless they lie far away."""
    low, high = min(values), max(values)
    span = (high - low) or max(abs(high) * 0.01, 1e-6)
    near = [limit for limit in limits if low - 2 * span <= limit <= high + 2 * span]
    low, high = min([low, *near]), max([high, *near])
    air = 0.06 * ((high - low) or span)
    return low - air, high + air


def _bars(values: tuple[float, ...], low: float, high: float, x: Scale) -> str:
    count = max(LEAST_BINS, min(MOST_BINS, round(len(values) ** 0.5) * 2))
    width = (high - low) / count
    bins = Counter(min(int((value - low) / width), count - 1) for value in values)
    tallest = max(bins.values())
    room = HEIGHT - FOOT - 26
    drawn = []
    for place, many in sorted(bins.items()):
        tall = room * many / tallest
        left, right = x(low + place * width), x(low + (place + 1) * width)
        drawn.append(
            f'<rect class="c-bar" x="{left + 0.5:.1f}" y="{HEIGHT - FOOT - tall:.1f}" width="{right - left - 1:.1f}" '
            f'height="{tall:.1f}"><title>{many}</title></rect>'
        )
    return "".join(drawn)


def _band(limits: list[float], x: Scale) -> str:
    if len(limits) != 2:
        return ""
    left, right = (x(min(max(limit, x.low), x.high)) for limit in limits)
    return f'<rect class="c-band" x="{left:g}" y="14" width="{right - left:g}" height="{HEIGHT - FOOT - 14}"/>'


def _label(at: float, text: str, name: str, y: int = HEIGHT - 18) -> str:
    anchor = "start" if at < 60 else "end" if at > WIDTH - 60 else "middle"
    return f'<text class="{name}" x="{at:g}" y="{y}" text-anchor="{anchor}">{escape(text)}</text>'
