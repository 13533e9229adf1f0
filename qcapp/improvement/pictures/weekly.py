"""Reports by week: a bar for each, its critical ones solid, each leading to the queue of that week."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from qcapp.lib.band_picture import Scale
from qcapp.trends.pictures.frame import Frame, label, picture, ticks

from ..queries.seeing import Wanted, Week

WIDTH, HEIGHT = 1180, 190


def weeks_picture(weeks: Sequence[Week], wanted: Wanted) -> str:
    """The bars; empty without a report."""
    if not weeks:
        return ""
    frame = Frame(WIDTH, HEIGHT, left=44, right=12, top=14, bottom=30)
    most = max(week.count for week in weeks) or 1
    x, y = frame.x(0.0, float(len(weeks))), frame.y(0.0, most * 1.08)
    found, _ = ticks(0.0, most * 1.08, 4)
    whole = [tick for tick in found if tick == int(tick)]
    lines = "".join(f"M{frame.left} {y(tick):g}H{frame.inner_right}" for tick in whole)
    numbers = "".join(label(frame.left - 8, y(tick) + 4, f"{tick:g}", anchor="end") for tick in whole)
    step = max(1, -(-len(weeks) // 12))
    named = range(len(weeks) - 1, -1, -step)
    names = "".join(label(x(place + 0.5), frame.inner_bottom + 18, weeks[place].name[5:]) for place in named)
    bars = "".join(_bar(week, wanted, x(place), x(place + 1), y, frame) for place, week in enumerate(weeks))
    total = sum(week.count for week in weeks)
    said = f"{total} reports in {len(weeks)} weeks, {sum(week.critical for week in weeks)} of them critical."
    parts = [f'<path class="c-grid" d="{lines}"/>', numbers, names, bars]
    return picture(frame, "weeks", "Reports by the week in which they were raised", said, parts)


def _bar(week: Week, wanted: Wanted, left: float, right: float, y: Scale, frame: Frame) -> str:
    said = f"{week.name}: {week.count}; {week.critical} critical"
    gap = min(4.0, (right - left) * 0.15)
    wide = right - left - 2 * gap
    top, grave = y(week.count), y(week.critical)
    bottom = frame.inner_bottom
    family = f"&amp;family={escape(wanted.family)}" if wanted.family else ""
    address = f"/nonconformances/?state=all&amp;since={week.monday}&amp;until={week.sunday}{family}"
    drawn = (
        f"<title>{escape(said)}</title>"
        f'<rect class="c-touch" x="{left:g}" y="{frame.top}" width="{right - left:g}" height="{bottom - frame.top}"/>'
        f'<rect class="c-interval" x="{left + gap:g}" y="{top:g}" width="{wide:g}" height="{bottom - top:g}"/>'
        f'<rect class="c-bar" x="{left + gap:g}" y="{grave:g}" width="{wide:g}" height="{bottom - grave:g}"/>'
    )
    return f'<a href="{address}">{drawn}</a>' if week.count else f"<g>{drawn}</g>"
