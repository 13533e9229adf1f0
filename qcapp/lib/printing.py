"""Text as paper can carry it."""

from __future__ import annotations

import unicodedata
from typing import Any

from django.conf import settings
from django.template.loader import render_to_string
from django.utils.translation import override

from .pdf_worker import INVISIBLE, NotMade, known_characters

# Characters that turn the direction of what follows them: a name must not turn a verdict (Unicode, UAX #9).
LETTER = "<style>@page { size: Letter }</style>"
TURNING = frozenset("\u061c\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")


def paper(template: str, context: dict[str, Any]) -> str:
    """The HTML of a paper, in English whoever asks: it goes to readers whose language nobody chose.

    On the site's paper, unless the template itself says on which.
    """
    with override("en"):
        html: str = render_to_string(template, context)
    if settings.QCAPP_SITE_PAPER == "letter" and "@page" not in html:
        html = html.replace("</head>", f"{LETTER}</head>", 1)
    return html


def printable(html: str) -> str:
    """The page with every character that cannot be printed as its code point: [U+1F98A] for a fox.

    Left as they are, they would print as an empty box, or turn the text around them.
    """
    try:
        known = known_characters()
    except NotMade:  # the layout refuses with the name of the package that is missing
        return html
    wrong = {c for c in set(html) - known - INVISIBLE if unicodedata.category(c) != "Zs"} | (TURNING & set(html))
    return html.translate({ord(character): f"[U+{ord(character):04X}]" for character in wrong})
