"""A sheet with its balloons as SVG text. Our own drawing, used by the page, by prints and by certificates alike.

The point of a balloon is the spot; its ring with the number stands above it, so that the spot stays in sight. Colours
are attributes, which a page's style sheet may overrule; a sheet is white paper in every theme. On a weld map the ring
of a welded joint is filled, that of an open one is not.
"""

from __future__ import annotations

from collections.abc import Iterable
from html import escape

from .cards import PARTS, Balloon, SheetCard

PIN = "M0 0L-4 -6.8A10 10 0 1 1 4 -6.8Z"  # its ring has the radius 10 about (0, -16)
RINGS_ALONG = 88  # how many times a ring's radius goes into the longer side of a sheet
INK, PAPER, OPEN = "#0B4F5C", "#fff", "#8C1823"


def ballooned_svg(sheet: SheetCard, balloons: Iterable[tuple[int, str, Balloon]], address: str) -> str:
    """The sheet with the balloons that are on it, given with number and key; `address` is that of its picture."""
    pins = [_pin(sheet, str(number), key, one) for number, key, one in balloons if one.sheet.id == sheet.id]
    return _sheet(sheet, address, pins)


def weld_map_svg(sheet: SheetCard, joints: Iterable[tuple[str, Balloon, bool | None]], address: str) -> str:
    """The sheet with the joints that are on it; of a unit, each is welded or open, else that is None."""
    pins = [_joint(sheet, *one) for one in joints if one[1].sheet.id == sheet.id]
    return _sheet(sheet, address, pins)


def _sheet(sheet: SheetCard, address: str, pins: Iterable[str]) -> str:
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="ballooned" viewBox="0 0 {sheet.width} {sheet.height}" '
        f'role="img" aria-label="{escape(sheet.name)}, {escape(sheet.title)}">'
        f'<rect width="{sheet.width}" height="{sheet.height}" fill="#fff"/>'
        f'<image href="{escape(address)}" width="{sheet.width}" height="{sheet.height}"/>'
        f'<g class="balloons">{"".join(pins)}</g></svg>'
    )


def _joint(sheet: SheetCard, joint: str, place: Balloon, welded: bool | None) -> str:
    if welded is None:
        return _pin(sheet, joint, joint, place)
    if welded:
        return _pin(sheet, joint, joint, place, fill=INK, ink=PAPER)
    return _pin(sheet, joint, joint, place, line=OPEN, ink=OPEN, dashes=' stroke-dasharray="2.6 1.6"')


def _pin(
    sheet: SheetCard, label: str, key: str, balloon: Balloon, *, fill: str = PAPER, ink: str = INK, line: str = INK,
    dashes: str = "",
) -> str:  # fmt: skip
    x, y = balloon.across * sheet.width / PARTS, balloon.down * sheet.height / PARTS
    scale = max(sheet.width, sheet.height) / RINGS_ALONG / 10
    size = (9.5 if len(label) < 4 else 7.5) if label.isdecimal() else 8.5 if len(label) < 3 else 22 / len(label)
    return (
        f'<g class="balloon" data-key="{escape(key)}" data-x="{x:.1f}" data-y="{y:.1f}" '
        f'transform="translate({x:.1f} {y:.1f}) scale({scale:.3f})">'
        f'<path d="{PIN}" fill="{fill}" stroke="{line}" stroke-width="1.4"{dashes}/>'
        f'<text y="-12.7" font-size="{size:.3g}" font-weight="600" font-family="Inter, DejaVu Sans, sans-serif" '
        f'text-anchor="middle" fill="{ink}">{escape(label)}</text></g>'
    )
