"""The ballooned drawing of a revision: looked at by everybody, set up in a draft, printed."""

from __future__ import annotations

import base64
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass
from http import HTTPStatus
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from qcapp.core.errors import Invalid, QcError
from qcapp.lib.refusals import refusal_status
from qcapp.lib.spoken import said
from qcapp.lib.spoken_drawings import shown_drawing
from qcapp.people.access import needs
from qcapp.people.queries import may
from qcapp.people.roles import Act

from . import forms, queries
from .balloon_picture import ballooned_svg
from .cards import Balloon, CheckpointCard, RevisionCard, SheetCard
from .drawing_files import MOST_AT_ONCE, MOST_BYTES, small_pages
from .paper_views import as_pdf
from .prints import drawing_pdf
from .queries.marks import balloon_count, marks_of, sheets_of
from .services import drawings
from .states import RevisionState


@dataclass(frozen=True)
class Spot:
    """One checkpoint in the list beside the drawing; `here` when its balloon is on the sheet that is shown."""

    number: str
    key: str
    title: str
    stage: int
    seen: str
    sheet: SheetCard | None
    here: bool
    has_picture: bool


@needs(Act.LOOK_AT_PLAN)
@require_safe
def drawing(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """The sheets with their balloons: `?sheet=<uuid>`, `?checkpoint=508`."""
    return _page(request, uuid)


def _page(request: HttpRequest, uuid: UUID, bound: forms.SheetForm | None = None, status: int = 200) -> HttpResponse:
    card = queries.revision_card(uuid)
    checkpoints = queries.checkpoints_of_card(card)
    sheets = sheets_of(card.id)
    selected = next((c for c in checkpoints if str(c.number) == request.GET.get("checkpoint")), None)
    sheet = _shown(sheets, request.GET.get("sheet", ""), selected)
    edits = card.state == RevisionState.DRAFT and may(request.user, Act.WRITE_PLAN, timezone.now())
    counts = Counter(one.balloon.sheet.id for one in checkpoints if one.balloon)
    shown = {
        "revision": card,
        "sheets": [(one, counts[one.id]) for one in sheets],
        "sheet": sheet,
        "picture": shown_drawing(_picture(sheet, checkpoints)) if sheet else "",
        "spots": [_spot(one, sheet) for one in checkpoints],
        "selected": selected,
        "missing": sum(1 for one in checkpoints if not one.balloon),
        "astray": _astray(card, checkpoints),
        "edits": edits,
        "form": bound or (forms.SheetForm(sheets, initial=_proposed(card, sheets)) if edits else None),
        "picture_form": forms.PictureForm(),
    }
    return render(request, "plans/drawing.html", shown, status=status)


def _astray(card: RevisionCard, checkpoints: list[CheckpointCard]) -> tuple[Balloon, ...]:
    """Balloons whose checkpoint is gone; only a draft has any."""
    shown = sum(1 for one in checkpoints if one.balloon)
    if card.state != RevisionState.DRAFT or balloon_count(card.id) == shown:
        return ()
    return marks_of(card.id).astray


def _shown(sheets: list[SheetCard], asked: str, selected: CheckpointCard | None) -> SheetCard | None:
    if selected and selected.balloon and not asked:
        return selected.balloon.sheet
    return next((one for one in sheets if str(one.uuid) == asked), sheets[0] if sheets else None)


def _picture(sheet: SheetCard, checkpoints: list[CheckpointCard]) -> str:
    balloons = [(one.number, one.key, one.balloon) for one in checkpoints if one.balloon]
    return ballooned_svg(sheet, balloons, reverse("evidence:file", args=[sheet.file_uuid]))


def _spot(card: CheckpointCard, shown: SheetCard | None) -> Spot:
    balloon = card.balloon
    here = bool(balloon and shown and balloon.sheet.id == shown.id)
    seen, sheet = (balloon.seen, balloon.sheet) if balloon else ("", None)
    return Spot(str(card.number), card.key, card.title, card.stage_number, seen, sheet, here, bool(card.picture))


def _proposed(card: RevisionCard, sheets: list[SheetCard]) -> dict[str, Any]:
    """What the next sheet is probably called: the next of the last drawing, else the first that the plan cites."""
    if sheets:
        last = sheets[-1]
        return {"number": last.number, "document_revision": last.document_revision, "sheet": last.sheet + 1}
    cited = next((one for one in card.documents if one.kind == "drawing"), None)
    return {"number": cited.number, "document_revision": cited.revision, "sheet": 1} if cited else {"sheet": 1}


# ---------------------------------------------------------------------------------------------------- sheets


@needs(Act.WRITE_PLAN)
@require_POST
def add_sheets(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """An uploaded drawing, added to the draft."""
    card = queries.revision_card(uuid)
    form = forms.SheetForm(sheets_of(card.id), request.POST, request.FILES)
    status = HTTPStatus.BAD_REQUEST
    if form.is_valid():
        given = dict(form.cleaned_data)
        file = given.pop("file")
        try:
            added = drawings.add_sheets(
                by=request.user, revision_uuid=uuid, content=file.read(MOST_BYTES + 1), name=file.name or "",
                at=timezone.now(), **given,
            )  # fmt: skip
        except QcError as error:
            form.add_error(None, error.message)
            status = refusal_status(error)
        else:
            messages.success(request, _added(added), extra_tags="in")
            return redirect(f"{reverse('plans:drawing', args=[uuid])}?sheet={added.cards[0].uuid}")
    return _page(request, uuid, form, status)


@needs(Act.WRITE_PLAN)
@require_POST
def preview_pages(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """The pages of an uploaded PDF as small pictures, to choose from; nothing is kept."""
    queries.revision_card(uuid)
    file = request.FILES.get("file")
    try:
        pages = small_pages(file.read(MOST_BYTES + 1) if file else b"")
    except QcError as error:
        return JsonResponse({"code": error.code, "message": said(error.message)}, status=refusal_status(error))
    found = [{"page": one.page, "picture": base64.b64encode(one.content).decode()} for one in pages]
    return JsonResponse({"pages": found, "most": MOST_AT_ONCE})


def _added(added: drawings.AddedSheets) -> str:
    count = len(added.cards)
    told = f"{added.cards[0].name} was added." if count == 1 else f"{count} sheets were added."
    if not added.left_out:
        return told
    parts = ", ".join(f"{amount} × {name}" for name, amount in sorted(added.left_out.items()))
    return f"{told} Left out, because a drawing does not need it: {parts}. Look whether the drawing is whole."


@needs(Act.WRITE_PLAN)
@require_POST
def remove_sheet(request: HttpRequest, uuid: UUID, sheet: UUID) -> HttpResponse:
    """The sheet and its balloons leave the draft."""

    def perform() -> str:
        gone = drawings.remove_sheet(by=request.user, revision_uuid=uuid, sheet_uuid=sheet, at=timezone.now())
        return f"The sheet was taken out, and {gone} balloon{'' if gone == 1 else 's'} with it."

    return _then_back(request, uuid, perform)


@needs(Act.WRITE_PLAN)
@require_POST
def remove_astray(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """Balloons whose checkpoint is gone are taken away."""

    def perform() -> str:
        gone = drawings.remove_astray(by=request.user, revision_uuid=uuid, at=timezone.now())
        return f"{gone} balloon{' was' if gone == 1 else 's were'} taken away."

    return _then_back(request, uuid, perform)


@needs(Act.WRITE_PLAN)
@require_POST
def picture(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """A checkpoint's reference picture, kept or with `act=remove` taken away."""
    key = request.POST.get("key", "")
    known: dict[str, Any] = {"by": request.user, "revision_uuid": uuid, "key": key, "at": timezone.now()}

    def perform() -> str:
        if request.POST.get("act") == "remove":
            drawings.remove_picture(**known)
            return "The reference picture was taken away."
        file = request.FILES.get("file")
        if file is None:
            raise Invalid("file_empty", "No picture was chosen; choose one first.")
        drawings.set_picture(content=file.read(MOST_BYTES + 1), name=file.name or "", **known)
        return "The reference picture was kept."

    return _then_back(request, uuid, perform, f"?checkpoint={request.POST.get('number', '')[:8]}")


def _then_back(request: HttpRequest, uuid: UUID, perform: Callable[[], str], where: str = "") -> HttpResponse:
    try:
        messages.success(request, perform(), extra_tags="in")
    except QcError as error:
        messages.error(request, error.message, extra_tags="out")
    return redirect(reverse("plans:drawing", args=[uuid]) + where)


# -------------------------------------------------------------------------------------------------- balloons


@needs(Act.WRITE_PLAN)
@require_POST
def balloon(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """One balloon set, or with `act=remove` taken away; answers with the place as it is now."""
    data = request.POST
    known: dict[str, Any] = {"by": request.user, "revision_uuid": uuid, "at": timezone.now()}
    known |= {"key": data.get("key", ""), "was": data.get("was", "")}
    try:
        if data.get("act") == "remove":
            drawings.remove_balloon(**known)
            return JsonResponse({"seen": ""})
        place = {name: whole_part(data.get(name, "")) for name in ("across", "down")}
        placed = drawings.place_balloon(sheet_uuid=whole_uuid(data.get("sheet", "")), **place, **known)
    except QcError as error:
        details = {name: value for name, value in error.details.items() if isinstance(value, str)}
        body = {"code": error.code, "message": said(error.message), "details": details}
        return JsonResponse(body, status=refusal_status(error))
    return JsonResponse({"seen": placed.seen, "across": placed.across, "down": placed.down})


def whole_part(text: str) -> int:
    """A whole number of hundred-thousandths, or -1, which is refused."""
    return int(text) if text.isascii() and text.isdigit() and len(text) < 8 else -1


def whole_uuid(text: str) -> UUID:
    """A sheet's identifier. Raises Invalid `sheet_unknown`."""
    try:
        return UUID(text)
    except ValueError as error:
        raise Invalid("sheet_unknown", "That sheet is not in this draft; reload the page.") from error


@needs(Act.LOOK_AT_PLAN)
@require_safe
def print_drawing(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """The ballooned sheets with the list of their checkpoints as PDF; `?paper=letter`."""
    card = queries.revision_card(uuid)
    data = drawing_pdf(card, queries.checkpoints_of_card(card), sheets_of(card.id), request.GET.get("paper", ""))
    return as_pdf(data, f"{card.family_code}-{card.letter}-drawing")
