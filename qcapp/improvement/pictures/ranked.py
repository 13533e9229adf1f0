"""The Pareto chart: bars beneath each other, the largest first, with the running share; each leads to its reports."""

from __future__ import annotations

from html import escape

from qcapp.trends.pictures.frame import Frame, label, picture

from ..queries.seeing import MEASURES, Bar, Pareto
from ..words import money, percent

ROW = 30
WIDTH = 760
LONGEST_NAME = 40


def pareto_picture(found: Pareto) -> str:
    """The bars with their numbers; the dots at the right are the share of a bar and all above it."""
    bars = [*found.bars, *([found.others] if found.others else [])]
    if not bars:
        return ""
    frame = Frame(WIDTH, ROW * len(bars) + 44, left=270, right=220, top=24, bottom=20)
    x = frame.x(0.0, max(bar.share for bar in bars))
    right = Frame(WIDTH, frame.height, left=frame.inner_right + 84, right=36, top=24, bottom=20).x(0.0, 1.0)
    rows = "".join(_row(found, bar, frame.top + ROW * place, x(bar.share), right(bar.cumulative), x.left)
                   for place, bar in enumerate(bars))  # fmt: skip
    heads = label(right.left, 14, "0 %") + label((right.left + right.right) / 2, 14, "together")
    ends = label(right.right, 14, "100 %")
    lines = "".join(f"M{end:g} 20V{frame.inner_bottom + 8}" for end in (right.left, right.right))
    said = "; ".join(f"{bar.label}: {number_of(found, bar)}" for bar in bars)
    title = f"{MEASURES[found.measure].capitalize()} by {found.by}"
    parts = [heads, ends, f'<path class="c-grid" d="{lines}"/>', rows]
    return picture(frame, "pareto", title, said, parts)


def number_of(found: Pareto, bar: Bar) -> str:
    """What stands beside a bar."""
    return money(bar.cents, found.currency) if found.measure == "cost" else str(bar.count)


def _row(found: Pareto, bar: Bar, top: float, end: float, together: float, left: float) -> str:
    middle = top + ROW / 2
    name = bar.label if len(bar.label) <= LONGEST_NAME else f"{bar.label[: LONGEST_NAME - 1]}…"
    said = f"{bar.label}: {number_of(found, bar)}, {percent(bar.share)}; with those above {percent(bar.cumulative)}"
    drawn = (
        f"<title>{escape(said)}</title>"
        f'<rect class="c-touch" x="0" y="{top:g}" width="{WIDTH}" height="{ROW}"/>'
        f'<text class="c-row" x="{left - 10:g}" y="{middle + 4:g}" text-anchor="end">{escape(name)}</text>'
        f'<rect class="c-bar" x="{left:g}" y="{top + 5:g}" width="{max(1.0, end - left):g}" height="{ROW - 10}"/>'
        f"{label(end + 6, middle + 4, number_of(found, bar), 'c-tick', 'start')}"
        f'<g class="c-plain"><circle cx="{together:g}" cy="{middle:g}" r="4"/></g>'
    )
    return f'<a href="{escape(bar.address)}">{drawn}</a>' if bar.address else f"<g>{drawn}</g>"
