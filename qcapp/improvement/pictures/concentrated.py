"""The concentration picture: where on its drawing a family's nonconformances are, each mark leading to its report."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from ..cards import Mark, Sheet


def concentration(marks: Sequence[Mark], sheet: Sheet) -> str:
    """The sheet with a disc for each mark, its area as the number of reports; its number inside where there is room."""
    size = max(sheet.width, sheet.height)
    most = max((mark.count for mark in marks), default=1)
    discs = "".join(_disc(mark, sheet, size, most) for mark in sorted(marks, key=lambda one: -one.count))
    drawn = f'<image href="{escape(sheet.address)}" width="{sheet.width:g}" height="{sheet.height:g}"/>'
    total = sum(mark.count for mark in marks)
    said = f"{total} marks at {len(marks)} places of {sheet.name}."
    return (
        f'<svg class="chart concentration" viewBox="0 0 {sheet.width:g} {sheet.height:g}" role="group" '
        f'aria-labelledby="s{escape(sheet.id)}-t s{escape(sheet.id)}-d"><title id="s{escape(sheet.id)}-t">'
        f'Nonconformances on {escape(sheet.name)}</title><desc id="s{escape(sheet.id)}-d">{escape(said)}</desc>'
        f'<rect width="{sheet.width:g}" height="{sheet.height:g}" fill="#fff" stroke="#D8D2C6"/>'
        f"{drawn if sheet.address else ''}{discs}</svg>"
    )


def _disc(mark: Mark, sheet: Sheet, size: float, most: int) -> str:
    x, y = mark.x * sheet.width, mark.y * sheet.height
    radius = size * (0.012 + 0.028 * (mark.count / most) ** 0.5)
    dashed = "" if mark.exact else f' stroke-dasharray="{size * 0.006:g} {size * 0.004:g}"'
    number = (
        f'<text x="{x:g}" y="{y + radius * 0.36:g}" font-size="{radius:g}" font-weight="700" text-anchor="middle" '
        f'fill="#8C1823">{mark.count}</text>'
        if mark.count > 1
        else ""
    )
    return (
        f'<a href="{escape(mark.address)}"><title>{escape(mark.words)}</title><circle cx="{x:g}" cy="{y:g}" '
        f'r="{radius:g}" fill="#8C1823" fill-opacity="0.22" stroke="#8C1823" stroke-width="{size * 0.0025:g}"{dashed}/>'
        f"{number}</a>"
    )
