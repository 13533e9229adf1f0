"""Who is affected: the question and its answer on one page, kept lists, and what is done from them."""

from __future__ import annotations

from http import HTTPStatus
from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from qcapp.core.errors import NotFound, QcError
from qcapp.lib.refusals import refusal_status
from qcapp.people.access import needs
from qcapp.people.queries import acts_of
from qcapp.people.roles import Act

from . import forms, services
from .answering import AffectedRow, answer
from .asking import LONGEST, SOURCES, Tree, read, written
from .papers import names_in, paper
from .queries import asked_lately, kept_list, kept_lists, since_kept

SHOWN = 500  # units on a page; the files have all
LISTS = 30


@require_safe
@needs(Act.ASK_AFFECTED)
def ask(request: HttpRequest) -> HttpResponse:
    """The form of rows, the question as written, and the units that it names now."""
    if "by" in request.GET:
        return _asked_by_rows(request)
    return _page(request, request.GET.get("ask", "").strip(), asked=True)


def _asked_by_rows(request: HttpRequest) -> HttpResponse:
    try:
        question = written(forms.tree_of_rows(request.GET))
    except QcError as error:
        return _page(request, "", problem=error.message, status=refusal_status(error))
    return redirect(f"{reverse('affected:ask')}?{urlencode({'ask': question})}")


def _page(
    request: HttpRequest, question: str, *, asked: bool = False, problem: str = "", name: str = "",
    status: int = HTTPStatus.OK,
) -> HttpResponse:  # fmt: skip
    """With `asked` it is recorded that it was; a page shown again with what was refused asks nothing anew."""
    at = timezone.now()
    held, before = acts_of(request.user, at), asked_lately()
    found, tree, keep = None, None, None
    if question:
        try:
            tree = read(question)
            found = services.ask(by=request.user, question=question, at=at, through="page") if asked else answer(tree)
        except QcError as error:
            problem, status = problem or error.message, refusal_status(error)
    if found is not None and Act.KEEP_AFFECTED in held:
        keep = forms.KeepForm(initial={"ask": found.question, "name": name})
    context = {
        "question": found.question if found else question[: LONGEST + 1], "found": found, "problem": problem,
        "rows": forms.rows_shown(tree), "bracketed": _bracketed(tree), "sources": SOURCES.values(), "keep": keep,
        "lists": kept_lists(LISTS), "before": before, **_listed(found.rows if found else (), held),
    }  # fmt: skip
    return render(request, "affected/ask.html", context, status=status)


def _bracketed(tree: Tree | None) -> bool:
    """Whether the question cannot be shown in rows."""
    return tree is not None and forms.rows_of(tree) is None


def _listed(rows: tuple[AffectedRow, ...], held: frozenset[Act]) -> dict[str, Any]:
    names = names_in(rows[:SHOWN]) if Act.SEE_CUSTOMERS in held else None
    shown = [(row, (names or {}).get(row.customer, "")) for row in rows[:SHOWN]]
    return {"shown": shown, "names": names is not None, "more": max(0, len(rows) - SHOWN)}


@require_POST
@needs(Act.KEEP_AFFECTED)
def keep(request: HttpRequest) -> HttpResponse:
    """Keep the question with its answer under a name."""
    name, question = request.POST.get("name", ""), request.POST.get("ask", "")
    try:
        number = services.keep_list(by=request.user, name=name, question=question, at=timezone.now())
    except QcError as error:
        return _page(request, question, problem=error.message, name=name[:120], status=refusal_status(error))
    messages.success(request, f"Kept as {number}, as it is known now.", extra_tags="in")
    return redirect("affected:list", number=number)


@require_safe
@needs(Act.ASK_AFFECTED)
def kept(request: HttpRequest, number: str) -> HttpResponse:
    """A kept list: what was known then, what refers to it, and what asking again would change."""
    return _list_page(request, number)


@require_safe
@needs(Act.ASK_AFFECTED)
def file(request: HttpRequest, number: str, form: str) -> HttpResponse:
    """A kept list as a file."""
    view = kept_list(number)
    names = Act.SEE_CUSTOMERS in acts_of(request.user, timezone.now())
    data, kind = paper(view, form, names=names)
    where = "inline" if form == "pdf" else "attachment"
    head = {"Content-Disposition": f'{where}; filename="{view.card.number}.{form}"'}
    return HttpResponse(data, content_type=kind, headers=head)


@require_POST
@needs(Act.HOLD_LISTED)
def hold(request: HttpRequest, number: str) -> HttpResponse:
    """One report over the chosen units of a list, which holds them."""
    form = forms.HoldForm(request.POST, auto_id="hold_%s")
    chosen = request.POST.getlist("serial")
    if form.is_valid():
        try:
            made = services.hold_listed(
                by=request.user, number=number, serials=chosen, at=timezone.now(), **form.cleaned_data
            )
        except NotFound:
            raise
        except QcError as error:
            form.add_error(None, error.message)
            return _list_page(request, number, hold=form, chosen=set(chosen), status=refusal_status(error))
        messages.success(request, f"They are on hold under {made}.", extra_tags="in")
        return redirect("affected:list", number=number)
    return _list_page(request, number, hold=form, chosen=set(chosen), status=HTTPStatus.BAD_REQUEST)


@require_POST
@needs(Act.LEAD_FIELD_ACTION)
def owners(request: HttpRequest, number: str) -> HttpResponse:
    """A field action over the units of a list that have left."""
    form = forms.OwnersForm(request.POST, auto_id="owners_%s")
    if form.is_valid():
        try:
            made = services.write_to_owners(by=request.user, number=number, at=timezone.now(), **form.cleaned_data)
        except QcError as error:
            form.add_error(None, error.message)
            return _list_page(request, number, owners=form, status=refusal_status(error))
        return redirect("improvement:field", number=made)
    return _list_page(request, number, owners=form, status=HTTPStatus.BAD_REQUEST)


def _list_page(
    request: HttpRequest,
    number: str,
    *,
    hold: forms.HoldForm | None = None,
    owners: forms.OwnersForm | None = None,
    chosen: set[str] | None = None,
    status: int = HTTPStatus.OK,
) -> HttpResponse:
    held = acts_of(request.user, timezone.now())
    view = kept_list(number)
    offered = {row.serial for row in view.answer.rows[:SHOWN] if row.standing in ("in build", "in stock")}
    left = [row for row in view.answer.rows if row.standing == "shipped"]
    context = {
        "view": view, "since": since_kept(view), "chosen": offered if chosen is None else chosen, "left": left,
        "hold": (hold or forms.HoldForm(auto_id="hold_%s")) if Act.HOLD_LISTED in held and view.answer.rows else None,
        "owners": (owners or forms.OwnersForm(auto_id="owners_%s")) if Act.LEAD_FIELD_ACTION in held and left else None,
        **_listed(view.answer.rows, held),
    }  # fmt: skip
    return render(request, "affected/list.html", context, status=status)
