"""Drawn stand-ins for photos, each marked as what it is."""

from __future__ import annotations

import io
from collections.abc import Sequence

from PIL import Image, ImageDraw


def stand_in(lines: Sequence[str]) -> bytes:
    """A plate with these lines on it, as JPEG."""
    image = Image.new("RGB", (640, 420), "#8F8A80")
    draw = ImageDraw.Draw(image)
    draw.rectangle([(60, 70), (580, 330)], fill="#B9B4AA", outline="#5C574E", width=6)
    for place, line in enumerate(lines):
        draw.text((95, 120 + 80 * place), line, fill="#23282C", font_size=30 + 14 * place)
    draw.text((20, 385), "demonstration, not valid", fill="#6B1B10", font_size=22)
    into = io.BytesIO()
    image.save(into, "JPEG", quality=80)
    return into.getvalue()
