"""Labels as PDF: a QR code beside a few lines, on a roll of any width or one on a page.

The layout is ours; the code follows ISO/IEC 18004 by a kept library. Error level Q: a quarter of the code may be rubbed
off and it still reads.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from django.conf import settings

from qcapp.core.errors import Invalid

from .pdf import html_to_pdf
from .printing import paper
from .qr_codes import qr_svg

NARROWEST, WIDEST = 24, 210  # millimetres: the smallest roll that holds a readable code, the width of A4
SHEET = 0  # instead of a width: one label on an A4 page, to be cut out


@dataclass(frozen=True)
class Label:
    """What a label says: the large line, the lines beneath, and what its code leads to."""

    title: str
    lines: Sequence[str]
    code: str


def label_pdf(label: Label, *, width: int, at: datetime) -> bytes:
    """The label for a roll of this width in millimetres, or on an A4 page for SHEET.

    Equal labels give equal bytes. Raises Invalid `label_width`, and as `html_to_pdf`.
    """
    if width != SHEET and not NARROWEST <= width <= WIDEST:
        message = f"A roll is {NARROWEST} to {WIDEST} mm wide; give its width, or take the sheet."
        raise Invalid("label_width", message, width=width)
    context = {
        "label": label,
        "qr": qr_svg(label.code, error="q"),
        "sheet": width == SHEET,
        "width": 90 if width == SHEET else width,
        "height": _height(90 if width == SHEET else width, len(label.lines)),
        "demonstration": settings.QCAPP_DEMO,
    }
    html = paper("components/label.html", context)
    identifier = hashlib.sha256(html.encode()).hexdigest()[:32]
    return html_to_pdf(html, identifier=identifier, created=at, title=label.title)


def _height(width: int, lines: int) -> int:
    """Millimetres: a third of the width, and room for the lines."""
    return max(round(width * 0.36), 16 + 4 * lines)


def typed_width(text: str) -> int:
    """The width that an address asks for: empty and "sheet" are a page. Raises Invalid `label_width`."""
    if text in ("", "sheet"):
        return SHEET
    if not (text.isascii() and text.isdigit() and len(text) <= 3) or int(text) == SHEET:
        raise Invalid("label_width", "The width of a roll is a whole number of millimetres, such as 62.")
    return int(text)
