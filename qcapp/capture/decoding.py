"""A code read from a photo, for tablets whose browser cannot: the text that it holds, usually a serial number."""

from __future__ import annotations

import io

import zxingcpp
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST
from PIL import Image

from qcapp.core.errors import QcError
from qcapp.evidence.services.reading import picture_of
from qcapp.lib.plain_text import shown
from qcapp.lib.refusals import refusal_status
from qcapp.lib.spoken import said
from qcapp.people.access import needs
from qcapp.people.roles import Act

LONGEST = 60


@require_POST
@needs(Act.RECORD_RESULT)
def decode(request: HttpRequest) -> HttpResponse:
    """The first code in the photo as text. The photo is not kept."""
    sent = request.FILES.get("photo")
    try:
        text = code_in(sent.read() if sent else b"")
    except QcError as refusal:
        answer = {"code": refusal.code, "message": said(refusal.message)}
        return JsonResponse(answer, status=refusal_status(refusal))
    if not text:
        message = _("No code was found in the photo. Go nearer, or type the serial number.")
        return JsonResponse({"code": "code_not_found", "message": message}, status=404)
    return JsonResponse({"text": text})


def code_in(content: bytes) -> str:
    """The text of a code in the picture, empty when there is none. Raises as `picture_of`."""
    with Image.open(io.BytesIO(picture_of(content).content)) as picture:
        codes = zxingcpp.read_barcodes(picture.convert("L"))
    return next((shown(code.text, LONGEST).strip() for code in codes if code.text.strip()), "")
