"""The watch page's small chart: the last values over the band, with control limits and what is signalled."""

from __future__ import annotations

from qcapp.lib.band_picture import Scale

from ..watch import Watched
from .frame import Frame, diamond, picture

WIDTH, HEIGHT = 240, 64
SHOWN = 60  # of the last values


def small_picture(one: Watched, *, width: int = WIDTH, height: int = HEIGHT) -> str:
    """Some hundred characters of SVG per point; nothing for a series without two different values.

    `width` and `height` are larger for a file of its own.
    """
    values = [sample.value for sample in one.chart.samples] or one.series.values
    values = values[-SHOWN:]
    if len(set(values)) < 2:
        return ""
    skipped = (len(one.chart.samples) or len(one.series.values)) - len(values)
    lines = [(name, one.chart.line(name)[-1]) for name in ("lower", "center", "upper")] if one.chart.computed else []
    limits = _limits(one)
    low, high = _ends(values + [value for _, value in lines], list(limits.values()))
    x, y = Scale(-0.5, max(len(values) - 0.5, 0.5), 4, width - 4), Scale(low, high, height - 5, 5)
    signalled = {place - skipped for signal in one.recent for place in signal.points}
    drawn = [
        _band(limits, x, y),
        "".join(
            f'<path class="{"c-center" if n == "center" else "c-control"}" d="M{x.left:g} {y(v):g}H{x.right:g}"/>'
            for n, v in lines
        ),
        f'<polyline class="c-line" points="{" ".join(f"{x(i):g},{y(v):g}" for i, v in enumerate(values))}"/>',
        _marks(one, values, x, y, signalled, skipped),
    ]
    title = _title(one, len(values))
    return picture(Frame(width, height), f"small-{one.series.number}", title, one.said, drawn, "small", "img")


def _title(one: Watched, count: int) -> str:
    of = f"{one.series.title}, {one.series.family_code}"
    if one.series.kind == "attribute" and one.chart.samples:
        return f"{of}: the last {count} samples"
    return f"{of}: the last {count} values"


def _limits(one: Watched) -> dict[str, float]:
    band = one.series.band
    if band is None or one.series.kind not in {"measured", "derived"}:
        return {}
    ends = (("lower", band.lower), ("upper", band.upper))
    return {side: float(end) for side, end in ends if end is not None and side not in band.natural}


def _ends(values: list[float], limits: list[float]) -> tuple[float, float]:
    low, high = min(values), max(values)
    span = (high - low) or 1.0
    for limit in limits:
        if low - 2 * span <= limit <= high + 2 * span:
            low, high = min(low, limit), max(high, limit)
    air = 0.06 * ((high - low) or 1.0)
    return low - air, high + air


def _band(limits: dict[str, float], x: Scale, y: Scale) -> str:
    if not limits:
        return ""
    least, most = 2.0, max(y.left, y.right) + 3.0  # the picture's edges, but for two units
    top = min(max(y(limits["upper"]), least), most) if "upper" in limits else least
    bottom = min(max(y(limits["lower"]), least), most) if "lower" in limits else most
    bars = "".join(
        f'<path class="c-limit" d="M{x.left:g} {y(limit):g}H{x.right:g}"/>'
        for limit in limits.values()
        if y.low <= limit <= y.high
    )
    size = f'width="{x.right - x.left:g}" height="{max(0.0, bottom - top):g}"'
    return f'<rect class="c-band" x="{x.left:g}" y="{top:g}" {size}/>{bars}'


def _marks(one: Watched, values: list[float], x: Scale, y: Scale, signalled: set[int], skipped: int) -> str:
    out = "".join(
        f'<circle class="c-out" cx="{x(i):g}" cy="{y(v):g}" r="3"/>'
        for i, v in enumerate(values)
        if one.chart.samples and any(r.outcome == "out_of_band" for r in one.chart.samples[i + skipped].readings)
    )
    signals = "".join(diamond(x(i), y(values[i]), 4) for i in sorted(signalled) if 0 <= i < len(values))
    last = f'<circle class="c-plain" cx="{x(len(values) - 1):g}" cy="{y(values[-1]):g}" r="3"/>'
    return f'{out}<g class="c-signal">{signals}</g>{last}'
