"""The label of a unit: serial, VIN and a QR code, for a sheet of labels or a roll."""

from __future__ import annotations

import base64
import io
from typing import TYPE_CHECKING

import segno
from django.conf import settings

from qcapp.core.errors import NotFound
from qcapp.lib.pdf import html_to_pdf
from qcapp.lib.printing import paper
from qcapp.production.queries.places import vin_of

if TYPE_CHECKING:
    from qcapp.production.queries import UnitCard

# width and height of a page, and labels across and down it, in mm
FORMS = {"sheet": (210, 297, 3, 8), "roll": (62, 29, 1, 1)}


def label_pdf(unit: UnitCard, form: str) -> bytes:
    """The label as PDF: one on a roll's piece, or a whole A4 sheet of 3 × 8. Raises NotFound `label_form_unknown`."""
    if form not in FORMS:
        raise NotFound("label_form_unknown", "Labels are printed on a sheet or a roll; choose one.")
    width, height, across, down = FORMS[form]
    context = {
        "unit": unit, "vin": vin_of(unit.item_id), "qr": _qr(unit.serial), "width": width, "height": height,
        "labels": range(across * down), "form": form, "demonstration": settings.QCAPP_DEMO,
    }  # fmt: skip
    html = paper("history/label.html", context)
    identifier = f"label {unit.serial} {form}"
    return html_to_pdf(html, identifier=identifier, created=unit.opened_at, title=f"Label {unit.serial}")


def _qr(text: str) -> str:
    """The code as a picture in the page: error correction M, so that a scratch does not stop the scan."""
    written = io.BytesIO()
    segno.make(text, error="m", micro=False).save(written, kind="svg", border=4, xmldecl=False, svgns=True)
    return "data:image/svg+xml;base64," + base64.b64encode(written.getvalue()).decode()
