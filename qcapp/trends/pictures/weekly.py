"""First-pass yield by week with its intervals, one stage a picture."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from ..yielding import StageYield
from .frame import Frame, label, picture

WIDTH, HEIGHT = 420, 150


def weekly_picture(stage: StageYield, weeks: Sequence[str]) -> str:
    """A dot for each week with its interval as a whisker; weeks without a unit stay empty."""
    frame = Frame(WIDTH, HEIGHT, left=48, right=12, top=10, bottom=26)
    x, y = frame.x(-0.5, len(weeks) - 0.5), frame.y(0.0, 1.0)
    lines = "".join(f"M{frame.left} {y(share):g}H{frame.inner_right}" for share in (0.0, 0.5, 1.0))
    levels = ((0.0, "0 %"), (0.5, "50 %"), (1.0, "100 %"))
    numbers = "".join(label(frame.left - 6, y(share) + 4, words, anchor="end") for share, words in levels)
    step = max(1, -(-len(weeks) // 5))
    shown = range(len(weeks) - 1, -1, -step)
    names = "".join(label(x(place), frame.inner_bottom + 17, weeks[place].split("-")[1]) for place in shown)
    dots = []
    for week in stage.weeks:
        at = x(weeks.index(week.name))
        said = escape(f"{week.name}: {week.right} of {week.units} right first time")
        dots.append(
            f"<g><title>{said}</title>"
            f'<path class="c-whisker" d="M{at:g} {y(week.share.upper):g}V{y(week.share.lower):g}"/>'
            f'<g class="c-plain"><circle cx="{at:g}" cy="{y(week.share.estimate):g}" r="4"/></g></g>'
        )
    said = f"{stage.right} of {stage.units} right first time over {len(weeks)} weeks."
    parts = [f'<path class="c-grid" d="{lines}"/>', numbers, names, *dots]
    return picture(frame, f"stage-{stage.number}", f"First-pass yield of {stage.name} by week", said, parts)
