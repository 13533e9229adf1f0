"""The page of a draft: a table that is edited in place, one cell at a time, and the requests behind it.

Every edit is one small request. It answers with the rows that changed as HTML, what is to look at, and the panel
of the row at hand; when rows came, went or moved, with the whole table of the stage.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from http import HTTPStatus
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core import signing
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.template.loader import render_to_string
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from qcapp.core.errors import Invalid, Problems, QcError
from qcapp.gauges.queries import gauge_kinds
from qcapp.lib.refusals import refusal_status
from qcapp.lib.spoken import said, said_within
from qcapp.lib.tables import XLSX
from qcapp.people.access import needs
from qcapp.people.roles import Act

from . import before_review, forms, queries, services
from .cards import CheckpointCard, Difference, RevisionCard
from .comparison import differences
from .draft_cards import checkpoint_cards
from .draft_html import rows_html
from .draft_panel import panel_of
from .draft_rows import Paper, ReadPaper
from .draft_table import SETS, DraftTable, stage_list
from .pasting import pasted
from .plan_file import COLUMNS, MAX_BYTES
from .plan_rows import CRITICALITIES, SETUPS
from .queries.at_hand import fits_at_hand
from .queries.drafts import cards_for, draft_card, last_said
from .queries.marks import marks_of
from .services import editing, staging

UNITS = ("mm", "µm", "in", "°", "N·m", "kPa", "bar", "kg", "s", "min", "°C", "%")
NOTATIONS = ("±0.2", "+0.3/0", "H7", "ISO 2768-m", "ISO 13920-B", "max 0.5", "min 2.0", "flatness 0.4", "reference")
LISTS: dict[str, Sequence[str]] = {
    "kinds": ("measured", "attribute", "count", "record", "derived"),
    "criticalities": CRITICALITIES,
    "frequencies": ("every", "first of batch", "1 in 5"),
    "yes-no": ("yes", "no"),
    "setups": [setup for setup in SETUPS if setup],
    "forms": ("text", "heat", "serial", "date"),
    "temperatures": ("asked", "corrected 11.5 ±1 thermometer ±0.5", "corrected 11.5", "corrected 16", "corrected 23"),
    "units": UNITS,
    "notations": NOTATIONS,
}
_SALT = "plans.draft.import"


def table_of(card: RevisionCard, read: ReadPaper) -> DraftTable:
    """The draft's table with what the gauges at hand make of it."""
    cards = checkpoint_cards(read, {})  # which identities they have in the database is of no use here
    best = fits_at_hand(cards, timezone.now())
    return DraftTable(read, cards, best, before_review.look_at(cards, best))


def draft_page(request: HttpRequest, card: RevisionCard, bound: dict[str, Any], status: int = 200) -> HttpResponse:
    """The draft as a table that is edited; `?stage=5`, `?stage=all`, `?columns=all`."""
    draft = draft_card(card.id, card.family_id)
    if draft is None:
        raise Invalid("not_a_draft", "This revision has no draft; reload the page.")
    table = table_of(card, draft.read)
    stage = _stage(request.GET.get("stage", ""), draft.paper)
    wanted = next((row for row in draft.paper.rows if row.number == request.GET.get("checkpoint")), None)
    shown = wanted or next(iter(draft.paper.of_stage(stage) or draft.paper.rows))
    previous = queries.previous_of(card.id)
    context = _drawn(table, stage, _set(request.GET)) | {
        "revision": card,
        "draft": draft,
        "previous": previous,
        "changes": len(_changed(card, previous, draft.paper, list(table.cards.values()))) if previous else 0,
        "rows_html": rows_html(table.rows(stage, SETS[_set(request.GET)])),
        "panel": panel_of(table, shown.id),
        "selected_row": shown.id,
        "lists": LISTS | {"gauge-kinds": [kind.key for kind in gauge_kinds()]},
        "fields_for_many": [c for c in SETS["all"] if c.name not in ("number", "key", "title", "formula")],
        "events": queries.events_of(card.id),
        "forms": {"send": forms.EmptyForm(), "discard": forms.ReasonForm(auto_id="discard_%s")} | bound,
    }
    return render(request, "plans/draft/page.html", context, status=status)


def _changed(
    card: RevisionCard, previous: RevisionCard, paper: Paper, cards: Sequence[CheckpointCard]
) -> list[Difference]:
    """What differs from the revision before, without those that only cannot be read at the moment."""
    found = differences(queries.checkpoints_of_card(previous), marks_of(card.id, paper).on(cards))
    keys = {row.key for row in paper.rows}
    return [one for one in found if one.change != "removed" or one.key not in keys]


def _stage(asked: str, paper: Paper) -> str:
    """The stage to show, "" for all of them."""
    if asked == "all":
        return ""
    known = [row.stage for row in paper.stages()]
    return asked if asked in known else known[0]


def _set(data: Any) -> str:
    return "all" if data.get("columns") == "all" else "main"


def _drawn(table: DraftTable, stage: str, columns: str) -> dict[str, Any]:
    return {
        "stage": stage,
        "columns": columns,
        "heads": SETS[columns],
        "stages": stage_list(table.read),
        "count": len(table.read.paper.rows),
        "look_at": table.to_look_at(),
        "complete": table.read.complete,
    }


# ------------------------------------------------------------------------------------------------- requests


def _edit(request: HttpRequest, uuid: UUID, perform: Callable[..., editing.Edited]) -> JsonResponse:
    """Do the edit and answer with what has to be drawn again; a refusal with its code, sentence and place."""
    try:
        edited = perform(by=request.user, revision_uuid=uuid, at=timezone.now())
    except QcError as error:
        return _refusal(error)
    return JsonResponse(_answer(request, edited))


def _refusal(error: QcError) -> JsonResponse:
    findings = [dict(one) for one in error.findings] if isinstance(error, Problems) else []
    details = {name: value for name, value in error.details.items() if isinstance(value, str | int)}
    told = {"message": error.message, "findings": findings}
    body = {"code": error.code, "details": details} | said_within(told, frozenset({"message"}))
    return JsonResponse(body, status=refusal_status(error))


def _answer(request: HttpRequest, edited: editing.Edited) -> dict[str, Any]:
    card = edited.card
    table = table_of(card, edited.after)
    columns = _set(request.POST)
    paper = edited.after.paper
    focus = paper.row(edited.focus) if edited.focus else None
    stage = _stage(request.POST.get("stage", ""), paper)
    if stage and focus and focus.stage != stage:
        stage = focus.stage
    drawn = _drawn(table, stage, columns)
    answer: dict[str, Any] = {
        "version": edited.version,
        "said": said(edited.said),
        "stage": stage or "all",
        "focus": edited.focus,
        "look_at": render_to_string("plans/draft/look_at.html", drawn),
        "undo": said(last_said(card.id)),
    }
    if edited.reordered or stage != request.POST.get("stage", "").replace("all", ""):
        answer["body"] = rows_html(table.rows(stage, SETS[columns]))
        answer["nav"] = render_to_string("plans/draft/stages.html", drawn | {"revision": card})
    else:
        changed = (paper.row(row_id) for row_id in edited.changed)
        answer["rows"] = {
            str(row.id): rows_html([table.row(row, SETS[columns])])
            for row in changed
            if row and (not stage or row.stage == stage)
        }
    if focus:
        answer["panel"] = render_to_string("plans/draft/panel.html", {"panel": panel_of(table, focus.id)})
    return answer


@needs(Act.WRITE_PLAN)
@require_POST
def cell(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """One cell kept, or with `try` only read: then the panel alone comes back."""
    data = request.POST
    row_id, column, text = _whole(data.get("row")), data.get("column", ""), data.get("text", "")
    if data.get("try"):
        return _try(request, uuid, row_id, column, text)

    def perform(**known: Any) -> editing.Edited:
        return editing.set_cell(row_id=row_id, column=column, text=text, was=data.get("was", ""), **known)

    return _edit(request, uuid, perform)


def _try(request: HttpRequest, uuid: UUID, row_id: int, column: str, text: str) -> HttpResponse:
    try:
        read = editing.try_cell(
            by=request.user, revision_uuid=uuid, row_id=row_id, column=column, text=text, at=timezone.now()
        )
    except QcError as error:
        return _refusal(error)
    table = table_of(queries.revision_card(uuid), read)
    return JsonResponse({"panel": render_to_string("plans/draft/panel.html", {"panel": panel_of(table, row_id)})})


@needs(Act.WRITE_PLAN)
@require_POST
def rows(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """Insert, duplicate, delete, move, renumber, set a field of many, undo: `act` says which."""
    data = request.POST
    perform = _ACTS.get(data.get("act", ""))
    if perform is None:
        return _refusal(Invalid("act_unknown", "That is nothing that can be done here; reload the page."))
    return _edit(request, uuid, lambda **known: perform(data, known))


def _insert(data: Any, known: dict[str, Any]) -> editing.Edited:
    beside = _whole(data.get("beside")) or None
    return editing.insert_row(beside=beside, below=data.get("below") != "no", stage=data.get("stage", ""), **known)


_ACTS: dict[str, Callable[[Any, dict[str, Any]], editing.Edited]] = {
    "insert": _insert,
    "duplicate": lambda data, known: editing.duplicate_rows(ids=_ids(data), **known),
    "delete": lambda data, known: editing.delete_rows(ids=_ids(data), **known),
    "up": lambda data, known: editing.move_rows(ids=_ids(data), step=-1, **known),
    "down": lambda data, known: editing.move_rows(ids=_ids(data), step=1, **known),
    "place": lambda data, known: editing.place_rows(
        ids=_ids(data), beside=_whole(data.get("to")), below=data.get("below") != "no", **known
    ),
    "renumber": lambda data, known: editing.renumber_stage(stage=data.get("stage", ""), **known),
    "set": lambda data, known: editing.set_field(
        ids=_ids(data), column=data.get("column", ""), text=data.get("text", ""), **known
    ),
    "undo": lambda data, known: editing.undo(version=_whole(data.get("version")), **known),
}


def _whole(text: Any) -> int:
    return int(text) if isinstance(text, str) and text.isascii() and text.isdigit() and len(text) < 12 else 0


def _ids(data: Any) -> list[int]:
    return [_whole(one) for one in data.getlist("ids")][:2000]


@needs(Act.WRITE_PLAN)
@require_safe
def panel(request: HttpRequest, uuid: UUID, row: str) -> HttpResponse:
    """The panel of one row; sample values for a derived one come as `?v_<key>=`."""
    card = queries.revision_card(uuid)
    draft = draft_card(card.id, card.family_id)
    if draft is None:
        raise Invalid("not_a_draft", "This revision has no draft; reload the page.")
    samples = {name[2:]: str(text) for name, text in request.GET.items() if name.startswith("v_")}
    shown = panel_of(table_of(card, draft.read), _whole(row), samples)
    return render(request, "plans/draft/panel.html", {"panel": shown})


@needs(Act.WRITE_PLAN)
@require_POST
def paste(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """What the pasted cells would change, or with `keep` the change itself."""
    data = request.POST
    columns = [column.name for column in SETS[_set(data)]]
    column = data.get("column", "")
    columns = columns[columns.index(column) :] if column in columns else columns
    text, at = data.get("text", ""), _whole(data.get("row"))

    def make(paper: Paper, family_id: int, given: Any) -> Paper:
        return pasted(paper, text, at=at, columns=columns, taken=given)

    keep = data.get("keep") == "yes"

    def perform(**known: Any) -> editing.Edited:
        version = _whole(data.get("version"))
        return editing.replace_rows(version=version, make=make, said="rows pasted", keep=keep, **known)

    if keep:
        return _edit(request, uuid, perform)
    try:
        edited = perform(by=request.user, revision_uuid=uuid, at=timezone.now())
    except QcError as error:
        return _refusal(error)
    found = _changes(edited)
    html = render_to_string("plans/draft/changes.html", {"differences": found})
    return JsonResponse({"version": edited.version, "changes": html, "count": len(found)})


def _changes(edited: editing.Edited) -> list[Difference]:
    family_id = edited.card.family_id
    return differences(cards_for(family_id, edited.before), cards_for(family_id, edited.after))


# -------------------------------------------------------------------------------------- pages beside the table


@needs(Act.WRITE_PLAN)
@require_POST
def stages(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """A stage added, or its name and points changed."""
    data, at = request.POST, timezone.now()
    known: dict[str, Any] = {"by": request.user, "revision_uuid": uuid, "at": at, "number": data.get("number", "")}
    try:
        if data.get("act") == "add":
            staging.add_stage(name=data.get("name", ""), **known)
        else:
            known |= {name: data.get(name) == "yes" for name in ("hold_point", "witness_point")}
            staging.change_stage(name=data.get("name", ""), **known)
    except QcError as error:
        messages.error(request, error.message, extra_tags="out")
        return redirect("plans:revision", uuid=uuid)
    return redirect(f"/plans/{uuid}/?stage={known['number']}")


@needs(Act.WRITE_PLAN)
@require_http_methods(["GET", "HEAD", "POST"])
def import_into(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """A plan file over a draft: shows what it would change, then does it."""
    card = queries.revision_card(uuid)
    if request.method != "POST":
        return render(request, "plans/draft/import.html", {"revision": card, "form": forms.FileForm()})
    if "rows" in request.POST:
        return _keep_import(request, card)
    form = forms.FileForm(request.POST, request.FILES)
    shown: dict[str, Any] = {"revision": card, "form": form}
    status = HTTPStatus.BAD_REQUEST
    if form.is_valid():
        file = form.cleaned_data["file"]
        try:
            source = services.read_file(card.family_id, file.read(MAX_BYTES + 1))
            edited = _imported(request, card, source.rows, 0, keep=False)
        except QcError as error:
            form.add_error(None, error.message)
            shown["findings"] = error.findings if isinstance(error, Problems) else ()
            status = refusal_status(error)
        else:
            status = HTTPStatus.OK
            shown |= {
                "differences": _changes(edited),
                "formulas": source.formulas,
                "version": edited.version,
                "rows": signing.dumps(source.rows, salt=_SALT, compress=True),
                "filename": file.name,
            }
    return render(request, "plans/draft/import.html", shown, status=status)


def _imported(
    request: HttpRequest, card: RevisionCard, cells: list[dict[str, str]], version: int, *, keep: bool
) -> editing.Edited:
    return editing.replace_rows(
        by=request.user,
        revision_uuid=card.uuid,
        version=version,
        make=lambda paper, family_id, given: Paper.of_cells(cells, paper),
        said="plan file imported",
        keep=keep,
        at=timezone.now(),
    )


def _keep_import(request: HttpRequest, card: RevisionCard) -> HttpResponse:
    try:
        cells = signing.loads(request.POST["rows"], salt=_SALT, max_age=24 * 3600)
        edited = _imported(request, card, cells, _whole(request.POST.get("version")), keep=True)
    except signing.BadSignature:
        messages.error(request, "The file was looked at too long ago; choose it again.", extra_tags="out")
        return redirect("plans:draft_import", uuid=card.uuid)
    except QcError as error:
        messages.error(request, error.message, extra_tags="out")
        return redirect("plans:draft_import", uuid=card.uuid)
    count = len(edited.after.paper.rows)
    messages.success(request, f"The draft has {count} checkpoints from the file. It can be undone.", extra_tags="in")
    return redirect("plans:revision", uuid=card.uuid)


@needs(Act.LOOK_AT_PLAN)
@require_safe
def workbook(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """The revision as a workbook that can be imported again."""
    from .workbook import write_workbook

    card = queries.revision_card(uuid)
    data = write_workbook(COLUMNS, services.export_cells(card.id), f"{card.family_code} revision {card.letter}")
    disposition = {"Content-Disposition": f'attachment; filename="{card.family_code}-{card.letter}.xlsx"'}
    return HttpResponse(data, content_type=XLSX, headers=disposition)
