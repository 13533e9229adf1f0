"""A QR code (ISO/IEC 18004) drawn for a page or a paper."""

from __future__ import annotations

from typing import Literal

import segno
from django.utils.safestring import SafeString, mark_safe


def qr_svg(text: str, *, error: Literal["m", "q"] = "m", css_class: str = "segno") -> SafeString:
    """The code as SVG to stand inside a page; its size is the style sheet's.

    `error` is how much of it may be lost: m about 15 %, q about 25 %.
    """
    code = segno.make(text, error=error, micro=False)
    drawn = code.svg_inline(border=2, scale=3, omitsize=True, svgclass=css_class, lineclass=None)
    return mark_safe(drawn)  # noqa: S308 - the library draws paths; the text is not among them
