"""Before and after: a line for each unit from the value before welding to the one after, with both bands."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from qcapp.lib.band_picture import Scale

from ..pairs import Distortion
from ..readings import Reading, Series
from .frame import Frame, label, picture, value_axis

BEFORE_AT, AFTER_AT = 0.0, 1.0
DASHES = ("", "7 4", "2 3", "9 3 2 3")  # fixtures in order of their names; the fifth begins anew


def paired_picture(one: Distortion) -> str:
    """The pair of one dimension; empty without a unit that has both."""
    items = {reading.item_id for reading in one.differences.readings}
    pairs = _pairs(one, items)
    if not pairs:
        return ""
    frame = Frame(540, 280, left=64, right=64, top=16, bottom=30)
    y = frame.y(*_ends(one, pairs))
    x = frame.x(-0.12, 1.12)
    fixtures = sorted({after.fixture for _, after in pairs})
    lines = "".join(_line(before, after, fixtures, x, y, one.after) for before, after in pairs)
    parts = [
        value_axis(frame, y, one.after.unit_of_measure),
        _bar(one.before, x(BEFORE_AT), y),
        _bar(one.after, x(AFTER_AT), y),
        lines,
        label(x(BEFORE_AT), frame.inner_bottom + 20, "before welding", "c-row"),
        label(x(AFTER_AT), frame.inner_bottom + 20, "after welding", "c-row"),
    ]
    title = f"{one.after.title} before and after welding, {len(pairs)} {one.after.noun}"
    return picture(frame, f"pair-{one.after.key}", title, one.sentence, parts, "paired")


def _pairs(one: Distortion, items: set[int]) -> list[tuple[Reading, Reading]]:
    before = {reading.item_id: reading for reading in one.before.readings}
    return [(before[after.item_id], after) for after in one.after.readings if after.item_id in items]


def _ends(one: Distortion, pairs: Sequence[tuple[Reading, Reading]]) -> tuple[float, float]:
    values = [reading.value for pair in pairs for reading in pair]
    low, high = min(values), max(values)
    span = (high - low) or 1.0
    for limit in (*_limits(one.before), *_limits(one.after)):
        if low - 3 * span <= limit <= high + 3 * span:
            low, high = min(low, limit), max(high, limit)
    air = 0.05 * (high - low or 1.0)
    return low - air, high + air


def _limits(series: Series) -> list[float]:
    band = series.band
    ends = () if band is None else (("lower", band.lower), ("upper", band.upper))
    return [float(end) for side, end in ends if end is not None and band is not None and side not in band.natural]


def _bar(series: Series, x: float, y: Scale) -> str:
    """The band of one side as an upright bar with its limits across."""
    limits = [limit for limit in _limits(series) if y.low <= limit <= y.high]
    if not limits:
        return ""
    top, bottom = y(max(limits)), y(min(limits))
    both = len(limits) == 2
    body = f'<rect class="c-band" x="{x - 12:g}" y="{top:g}" width="24" height="{bottom - top:g}"/>' if both else ""
    return body + "".join(f'<path class="c-limit" d="M{x - 16:g} {y(limit):g}h32"/>' for limit in limits)


def _line(before: Reading, after: Reading, fixtures: list[str], x: Scale, y: Scale, series: Series) -> str:
    dash = DASHES[fixtures.index(after.fixture) % len(DASHES)]
    start, end = y(before.value), y(after.value)
    fixture = f", fixture {after.fixture}" if after.fixture else ""
    said = f"{after.serial}: {before.text} to {after.text} {series.unit_of_measure}{fixture}"
    dashed = f' stroke-dasharray="{dash}"' if dash else ""
    ends = "".join(f'<circle cx="{at:g}" cy="{level:g}" r="2.5"/>' for at, level in ((x(0), start), (x(1), end)))
    return (
        f"<g><title>{escape(said)}</title>"
        f'<path class="c-line" d="M{x(0):g} {start:g}L{x(1):g} {end:g}"{dashed}/><g class="c-plain">{ends}</g></g>'
    )
