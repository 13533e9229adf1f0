"""Pictures of the page "Limits": the band to scale, a fit, a sampling plan's operating characteristic.

The band and the fit are our own SVG, as everywhere; the curve with its axes is drawn by a library (`lib/charts.py`).
"""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from html import escape
from typing import Any

from django.utils.safestring import SafeString

from qcapp.lib import band_picture
from qcapp.lib.charts import chart
from qcapp.lib.spoken_drawings import shown_drawing

from .fit_pair import FitPair
from .lots import Lot
from .sizes import Sized, signed
from .weld_limits import WeldLimits

WIDTH, LEFT, RIGHT = 520, 84, 500
ROW_TOP = {"hole": 14, "shaft": 74}
ROW_HEIGHT, AXIS = 20, 126


def band_of(answer: Sized) -> SafeString:
    """The band to scale, with the value in it if there is one."""
    band = answer.band
    return _ruler(
        band_picture.ruler(
            lower=_decimal(answer.lower_text),
            upper=_decimal(answer.upper_text),
            nominal=band.nominal,
            guard=answer.guard,
            natural=frozenset(band.natural),
            value=answer.value,
            outcome=answer.verdict,
            unit_of_measure=answer.limits.unit_of_measure,
        ),
        answer.value,
    )


def _decimal(text: str) -> Decimal | None:
    """The limit with the zeros that make all numbers of a picture equally long."""
    return Decimal(text) if text else None


def weld_band_of(answer: WeldLimits) -> SafeString:
    """From nothing to what the level permits."""
    return _ruler(
        band_picture.ruler(
            lower=Decimal(0),
            upper=answer.limit.upper,
            natural=frozenset({"lower"}),
            value=answer.measured,
            outcome=answer.outcome,
            unit_of_measure=answer.limit.unit_of_measure,
        ),
        answer.measured,
    )


def _ruler(svg: str, value: Decimal | None) -> SafeString:
    """The ruler without the room above it in which a value's number would stand."""
    return shown_drawing(svg if value is not None else svg.replace('viewBox="0 0 420 100"', 'viewBox="0 28 420 72"'))


# ------------------------------------------------------------------------------------------------ hole and shaft


def fit_of(pair: FitPair) -> SafeString:
    """The bands of hole and shaft over one scale of deviations in µm, the nominal size as a line."""
    rows = [(name, answer.wanted.notation, *_deviations(answer)) for name, answer in pair.parts]
    numbers = [0.0, *(float(end) for row in rows for end in row[2:])]
    room = (max(numbers) - min(numbers)) * 0.18 or 1.0
    at = band_picture.Scale(min(numbers) - room, max(numbers) + room, LEFT, RIGHT)
    spoken = "; ".join(f"{name} {notation} {signed(low)} to {signed(high)} µm" for name, notation, low, high in rows)
    drawn = "".join(_row(at, *row) for row in rows)
    return shown_drawing(
        f'<svg class="ruler fit" viewBox="0 0 {WIDTH} 160" role="img" aria-label="{escape(spoken)}">'
        f"{_zero(at)}{drawn}</svg>"
    )


def _deviations(answer: Sized) -> tuple[Decimal, Decimal]:
    """Lower and upper deviation in µm."""
    band = answer.band
    assert band.lower is not None and band.upper is not None and band.nominal is not None  # noqa: S101, PT018
    return (band.lower - band.nominal) * 1000, (band.upper - band.nominal) * 1000


def _row(at: band_picture.Scale, name: str, notation: str, low: Decimal, high: Decimal) -> str:
    top = ROW_TOP[name]
    x1, x2, middle = at(float(low)), at(float(high)), top + ROW_HEIGHT / 2
    bars = "".join(f'<path class="limit" d="M{x:g} {top - 6}v{ROW_HEIGHT + 12}" fill="none"/>' for x in (x1, x2))
    apart = x2 - x1 > 9 * len(signed(low) + signed(high))
    places = ((x1, low, "middle"), (x2, high, "middle")) if apart else ((x1 + 3, low, "end"), (x2 - 3, high, "start"))
    texts = "".join(
        f'<text x="{x:g}" y="{top + ROW_HEIGHT + 20}" text-anchor="{anchor}">{signed(end).replace("-", "−")}</text>'
        for x, end, anchor in places
    )
    return (
        f'<text class="name" x="0" y="{middle + 5:g}">{name} {escape(notation)}</text>'
        f'<rect class="band" x="{x1:g}" y="{top}" width="{max(x2 - x1, 1):g}" height="{ROW_HEIGHT}"/>{bars}{texts}'
    )


def _zero(at: band_picture.Scale) -> str:
    x = at(0.0)
    return (
        f'<path class="axis" d="M{LEFT} {AXIS}H{RIGHT}" fill="none"/>'
        f'<path class="tick" d="M{x:g} 8V{AXIS}" fill="none" stroke-dasharray="4 3"/>'
        f'<path class="nominal" d="M{x - 5:g} {AXIS + 10}h10l-5 -9z"/>'
        f'<text x="{x:g}" y="{AXIS + 26}" text-anchor="middle">nominal size, deviations in µm</text>'
    )


# ------------------------------------------------------------------------------------- operating characteristic


def operating_characteristic_of(lot: Lot) -> SafeString:
    """How often the plan accepts a lot, over its quality; the AQL and the limiting quality (10 %) are marked."""
    marks = [
        {"x": float(lot.plan.aql or 0), "label": f"AQL {lot.plan.aql}"},
        {"x": next(row.quality for row in lot.qualities if row.probability == 10), "label": "accepted 1 in 10"},
    ]
    spoken = (
        f"Probability of acceptance over quality for a sample of {lot.plan.sample_size} with acceptance number "
        f"{lot.plan.accept}; the table beside it has the numbers."
    )
    return shown_drawing(chart(_curve(lot.curve, marks, lot.measure), spoken=spoken))


def _curve(points: Sequence[tuple[float, float]], marks: list[dict[str, Any]], measure: str) -> dict[str, Any]:
    """A Vega-Lite description: one line, two marked qualities, plain axes."""
    x = {"field": "x", "type": "quantitative", "title": f"quality of the lot, {measure}"}
    y = {"field": "y", "type": "quantitative", "title": "lots accepted, %", "scale": {"domain": [0, 100]}}
    curve = {"values": [{"x": round(px, 4), "y": round(py, 3)} for px, py in points]}
    marked = {"values": marks}
    return {
        "width": 440,
        "height": 240,
        "layer": [
            {"data": curve, "mark": {"type": "line", "color": "var(--accent)", "strokeWidth": 2.5},
             "encoding": {"x": x, "y": y}},
            {"data": marked, "mark": {"type": "rule", "color": "var(--muted)", "strokeDash": [4, 3]},
             "encoding": {"x": x}},
            {"data": marked, "mark": {"type": "text", "align": "left", "dx": 5, "color": "var(--ink)", "fontSize": 13},
             "encoding": {"x": x, "y": {"datum": 95}, "text": {"field": "label"}}},
        ],
    }  # fmt: skip
