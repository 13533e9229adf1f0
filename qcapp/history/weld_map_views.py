"""A unit's weld map on a page and on paper: the drawing with its joints, and what was said of each."""

from __future__ import annotations

import base64
import hashlib

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.utils.safestring import SafeString, mark_safe
from django.views.decorators.http import require_safe

from qcapp.evidence.queries import content
from qcapp.inspections.queries.weld_map import UnitWeldMap, unit_weld_map
from qcapp.lib.pdf import html_to_pdf
from qcapp.lib.printing import paper
from qcapp.people.access import needs
from qcapp.people.queries import may
from qcapp.people.roles import Act
from qcapp.plans.balloon_picture import weld_map_svg
from qcapp.plans.cards import SheetCard


@require_safe
@needs(Act.LOOK_UP_UNIT)
def weld_map(request: HttpRequest, serial: str) -> HttpResponse:
    """The drawing with every joint, and the table; open joints say so."""
    found = unit_weld_map(serial)
    pictures = [_drawn(found, one, reverse("evidence:file", args=[one.file_uuid])) for one in found.sheets]
    places = may(request.user, Act.PLACE_JOINTS, timezone.now())
    return render(request, "history/weld_map.html", {"map": found, "pictures": pictures, "places": places})


@require_safe
@needs(Act.LOOK_UP_UNIT)
def printed(request: HttpRequest, serial: str) -> HttpResponse:
    """The weld map as PDF."""
    found = unit_weld_map(serial)
    pictures = [_drawn(found, one, _inside(one)) for one in found.sheets]
    last = max((one.weld.at for one in found.joints if one.weld), default=found.unit.opened_at)
    told = {"map": found, "pictures": pictures, "last": last, "demonstration": settings.QCAPP_DEMO}
    told |= {"site_name": settings.QCAPP_SITE_NAME, "site_place": settings.QCAPP_SITE_PLACE}
    html = paper("history/print_weld_map.html", told)
    identifier = hashlib.sha256(html.encode()).hexdigest()[:32]
    pdf = html_to_pdf(html, identifier=identifier, created=last, title=f"Weld map of {found.unit.serial}")
    name = f'inline; filename="{found.unit.serial}-weld-map.pdf"'
    return HttpResponse(pdf, content_type="application/pdf", headers={"Content-Disposition": name})


def _drawn(found: UnitWeldMap, sheet: SheetCard, address: str) -> tuple[SheetCard, SafeString]:
    joints = [(one.joint, one.place, one.weld is not None) for one in found.joints if one.place]
    return sheet, mark_safe(weld_map_svg(sheet, joints, address))  # noqa: S308 - escaped there


def _inside(sheet: SheetCard) -> str:
    """The sheet's picture as an address that needs no other file."""
    return f"data:{sheet.media_type};base64,{base64.b64encode(content(sheet.file_uuid)).decode()}"
