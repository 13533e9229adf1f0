"""A unit's whole history on paper: what the screen says, for a file that is sent or kept."""

from __future__ import annotations

import hashlib
from typing import TYPE_CHECKING

from django.conf import settings

from qcapp.lib.pdf import html_to_pdf
from qcapp.lib.printing import paper

if TYPE_CHECKING:
    from .queries import UnitHistory


def history_pdf(history: UnitHistory, *, names: bool) -> bytes:
    """The history as PDF, customers with `names`; dated by the last thing that happened. Raises as `html_to_pdf`."""
    last = max((line.at for line in history.lines), default=history.unit.opened_at)
    context = {
        "history": history, "names": names, "last": last, "demonstration": settings.QCAPP_DEMO,
        "site_name": settings.QCAPP_SITE_NAME, "site_place": settings.QCAPP_SITE_PLACE,
    }  # fmt: skip
    html = paper("history/print.html", context)
    identifier = hashlib.sha256(html.encode()).hexdigest()[:32]
    return html_to_pdf(html, identifier=identifier, created=last, title=f"History of {history.unit.serial}")
