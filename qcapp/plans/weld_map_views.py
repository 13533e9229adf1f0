"""The weld map of a plan: its joints on the ballooned sheets, set by tap and by keys as balloons are."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from qcapp.core.errors import QcError
from qcapp.lib.refusals import refusal_status
from qcapp.lib.spoken import said
from qcapp.lib.spoken_drawings import shown_drawing
from qcapp.people.access import needs
from qcapp.people.queries import may
from qcapp.people.roles import Act

from . import queries
from .balloon_picture import weld_map_svg
from .cards import SheetCard
from .drawing_views import whole_part, whole_uuid
from .queries.weld_maps import WeldMap, placed_on_older_sheets, weld_map
from .services.weld_maps import place_joint, take_joint_away
from .states import RevisionState


@dataclass(frozen=True)
class JointSpot:
    """One joint in the list beside the drawing; `here` when it is on the sheet that is shown."""

    joint: str
    what: str
    seen: str
    sheet: SheetCard | None
    here: bool


@needs(Act.LOOK_AT_PLAN)
@require_safe
def weld_map_of_plan(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """The sheets with the joints on them: `?sheet=<uuid>`."""
    card = queries.revision_card(uuid)
    found = weld_map(card)
    asked = request.GET.get("sheet", "")
    sheet = next((one for one in found.sheets if str(one.uuid) == asked), found.sheets[0] if found.sheets else None)
    counts = Counter(one.sheet.id for one in found.places.values())
    allowed = may(request.user, Act.PLACE_JOINTS, timezone.now())
    shown = {
        "revision": card,
        "sheets": [(one, counts[one.id]) for one in found.sheets],
        "sheet": sheet,
        "picture": shown_drawing(_picture(sheet, found)) if sheet else "",
        "spots": [_spot(joint, what, found, sheet) for joint, what in found.joints.items()],
        "missing": found.missing,
        "older": placed_on_older_sheets(found),
        "edits": allowed and card.state != RevisionState.DISCARDED,
    }
    return render(request, "plans/weld_map.html", shown)


def _picture(sheet: SheetCard, found: WeldMap) -> str:
    joints = [(joint, place, None) for joint, place in found.places.items()]
    return weld_map_svg(sheet, joints, reverse("evidence:file", args=[sheet.file_uuid]))


def _spot(joint: str, what: str, found: WeldMap, shown: SheetCard | None) -> JointSpot:
    place = found.places.get(joint)
    if place is None:
        return JointSpot(joint, what, "", None, here=False)
    return JointSpot(joint, what, place.seen, place.sheet, bool(shown and place.sheet.id == shown.id))


@needs(Act.PLACE_JOINTS)
@require_POST
def joint(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """One joint set, or with `act=remove` taken away; answers with the place as it is now."""
    data = request.POST
    known: dict[str, Any] = {"by": request.user, "revision_uuid": uuid, "at": timezone.now()}
    known |= {"joint": data.get("key", ""), "was": data.get("was", "")}
    try:
        if data.get("act") == "remove":
            take_joint_away(**known)
            return JsonResponse({"seen": ""})
        across, down = (whole_part(data.get(name, "")) for name in ("across", "down"))
        placed = place_joint(sheet_uuid=whole_uuid(data.get("sheet", "")), across=across, down=down, **known)
    except QcError as error:
        details = {name: value for name, value in error.details.items() if isinstance(value, str)}
        body = {"code": error.code, "message": said(error.message), "details": details}
        return JsonResponse(body, status=refusal_status(error))
    return JsonResponse({"seen": placed.seen, "across": placed.across, "down": placed.down})
