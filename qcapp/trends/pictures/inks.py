"""A picture that stands alone: the page's classes written out as attributes, for SVG files, PNG and print.

Colours are the day theme's (static/css/tokens.css); shapes, dashes and weights tell the same in grey.
"""

from __future__ import annotations

import re

INK, MUTED, LINE, ACCENT, OUT, NEAR, BAND, SURFACE = (
    "#191D21", "#565E66", "#D8D2C6", "#0B4F5C", "#8C1823", "#6E4700", "#D9E8E0", "#FFFFFF",
)  # fmt: skip
FONT = "DejaVu Sans, Liberation Sans, sans-serif"
ATTRIBUTES = {
    "c-band": f'fill="{BAND}"',
    "c-grid": f'stroke="{LINE}" stroke-width="1" fill="none"',
    "c-axis": f'stroke="{MUTED}" stroke-width="1" fill="none"',
    "c-limit": f'stroke="{INK}" stroke-width="3" fill="none"',
    "c-control": f'stroke="{ACCENT}" stroke-width="1.5" stroke-dasharray="7 4" fill="none"',
    "c-center": f'stroke="{ACCENT}" stroke-width="1.25" fill="none"',
    "c-line": f'stroke="{MUTED}" stroke-width="1" fill="none"',
    "c-plain": f'fill="{INK}"',
    "c-signal": f'fill="{ACCENT}"',
    "c-out": f'fill="none" stroke="{OUT}" stroke-width="2.5"',
    "c-corrected": f'fill="{SURFACE}" stroke="{INK}" stroke-width="1.75"',
    "c-again": f'fill="{SURFACE}" stroke="{NEAR}" stroke-width="2"',
    "c-touch": 'fill="none" stroke="none"',
    "c-event": f'stroke="{MUTED}" stroke-width="1" stroke-dasharray="2 3" fill="none"',
    "c-event-name": f'fill="{MUTED}" font-size="12"',
    "c-calibration": f'fill="{NEAR}"',
    "c-tick": f'fill="{MUTED}" font-size="12"',
    "c-unit": f'fill="{MUTED}" font-size="12"',
    "c-row": f'fill="{INK}" font-size="13"',
    "c-name": 'font-size="12.5"',
    "control": f'fill="{ACCENT}"',
    "limit": f'fill="{INK}" font-weight="700"',
    "c-bar": f'fill="{ACCENT}" fill-opacity="0.75"',
    "c-dots": f'fill="{MUTED}" fill-opacity="0.7"',
    "c-interval": f'fill="{ACCENT}" fill-opacity="0.3"',
    "c-mean": f'stroke="{ACCENT}" stroke-width="3" fill="none"',
    "c-whisker": f'stroke="{ACCENT}" stroke-width="2" fill="none"',
}


def inked(svg: str) -> str:
    """The picture with its colours in it, on white, and with the name space that a file needs; empty stays empty."""
    if not svg:
        return ""
    painted = re.sub(r'class="([^"]*)"', lambda found: _attributes(found[1]), svg)
    box = re.search(r'viewBox="0 0 (\d+) (\d+)"', svg)
    width, height = (box[1], box[2]) if box else ("600", "300")
    opened = f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{height}" font-family="{FONT}" '
    painted = painted.replace("<svg ", opened, 1)
    end = painted.index("</desc>") + len("</desc>") if "</desc>" in painted else painted.index(">") + 1
    ground = f'<rect width="{width}" height="{height}" fill="{SURFACE}"/>'
    return painted[:end] + ground + painted[end:]


def _attributes(classes: str) -> str:
    return " ".join(ATTRIBUTES[name] for name in classes.split() if name in ATTRIBUTES)


def as_png(svg: str, scale: float = 2.0) -> bytes:
    """The picture as PNG, twice the size for sharp print; drawn by the kept library that also draws full charts."""
    import vl_convert

    return bytes(vl_convert.svg_to_png(inked(svg), scale=scale))
