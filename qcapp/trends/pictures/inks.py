"""A picture that stands alone: the page's classes written out as attributes, for SVG files, PNG and print.

Colours are the day theme's (static/css/tokens.css); shapes, dashes and weights tell the same in grey.
"""

from __future__ import annotations

import re
import textwrap
from collections.abc import Sequence
from html import escape, unescape

from qcapp.lib.charts import drawn_as_png

INK, MUTED, LINE, ACCENT, OUT, NEAR, BAND, SURFACE = (
    "#191D21", "#565E66", "#D8D2C6", "#0B4F5C", "#8C1823", "#6E4700", "#D9E8E0", "#FFFFFF",
)  # fmt: skip
NARROW = 5.9  # width of a letter of 11 px, about
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
    "c-dots": f'fill="{MUTED}" fill-opacity="0.75"',
    "c-interval": f'fill="{ACCENT}" fill-opacity="0.3"',
    "c-mean": f'stroke="{ACCENT}" stroke-width="3" fill="none"',
    "c-whisker": f'stroke="{ACCENT}" stroke-width="2" fill="none"',
}


def inked(svg: str, *, notes: Sequence[str] = ()) -> str:
    """The picture as a file: its title and `notes` written above, its colours in it, on white; empty stays empty."""
    if not svg:
        return ""
    opening, body = painted(svg).split(">", 1)
    width, height = _size(opening)
    said, body = _titled(body)
    heading, room = _heading(said, notes, width)
    opened = (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{height + room}" '
        f'viewBox="0 0 {width} {height + room}" font-family="{FONT}" role="img">'
    )
    ground = f'<rect width="{width}" height="{height + room}" fill="{SURFACE}"/>'
    inner = body.removesuffix("</svg>")
    return f'{opened}<title>{said}</title>{ground}{heading}<g transform="translate(0 {room})">{inner}</g></svg>'


def painted(svg: str) -> str:
    """The picture with its classes written out as attributes, for a printed page that has a text around it."""
    return re.sub(r'class="([^"]*)"', lambda found: _attributes(found[1]), svg)


def _size(opening: str) -> tuple[int, int]:
    box = re.search(r'viewBox="0 0 (\d+) (\d+)"', opening)
    return (int(box[1]), int(box[2])) if box else (600, 300)


def _titled(body: str) -> tuple[str, str]:
    """The picture's own title, and the rest of it without title and description."""
    title = re.match(r"<title[^>]*>(.*?)</title>", body)
    found = title[1] if title else ""
    return found, re.sub(r"^(<title[^>]*>.*?</title>)?(<desc[^>]*>.*?</desc>)?", "", body)


def _heading(title: str, notes: Sequence[str], width: int) -> tuple[str, int]:
    """Title and notes as lines of text, and the room that they take."""
    lines = [escape(line) for note in notes for line in textwrap.wrap(note, max(20, round(width / NARROW)))]
    texts = [f'<text x="14" y="24" font-size="15" font-weight="700" fill="{INK}">{title}</text>']
    texts += [
        f'<text x="14" y="{42 + 14 * place}" font-size="11" fill="{MUTED}">{line}</text>'
        for place, line in enumerate(lines)
    ]
    return "".join(texts), 46 + 14 * len(lines)


def _attributes(classes: str) -> str:
    return " ".join(ATTRIBUTES[name] for name in classes.split() if name in ATTRIBUTES)


def as_png(svg: str, scale: float = 2.0, *, notes: Sequence[str] = ()) -> bytes:
    """The file as PNG, twice the size for sharp print. Raises `PdfNotMade` when it cannot be drawn."""
    return drawn_as_png(inked(svg, notes=notes), scale=scale)


def words_of(svg: str) -> str:
    """What a picture says of itself: its title and its description, as plain text."""
    found = re.match(r"<svg[^>]*><title[^>]*>(.*?)</title>(?:<desc[^>]*>(.*?)</desc>)?", svg)
    return (
        "" if found is None else ". ".join(unescape(part.removesuffix(".")) for part in found.groups("") if part) + "."
    )
