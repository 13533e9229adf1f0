"""Pages on which units in build adopt a plan revision or stay, and on which a checkpoint is taken off one unit."""

from __future__ import annotations

from datetime import datetime
from http import HTTPStatus
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods

from qcapp.core.errors import QcError
from qcapp.lib.middleware import client_address
from qcapp.lib.refusals import refusal_status
from qcapp.people.access import needs
from qcapp.people.queries import acts_of, person_by_uuid
from qcapp.people.roles import Act
from qcapp.people.services import Proof, prove_identity
from qcapp.plans.queries import revision_card
from qcapp.production.queries import unit_by_serial

from .forms import ApplicabilityForm, ArticleDecisionForm, ArticleForm, ChoiceForm, OneChoiceForm
from .queries import inspection_of
from .queries.adopting import preview_of, shown_to, under_other_revisions
from .queries.first_articles import first_articles
from .services.adopting import choose_plan
from .services.applying import decide_applicability
from .services.first_articles import decide_first_article, mark_first_article


@needs(Act.LOOK_AT_PLAN)
@require_http_methods(["GET", "HEAD"])
def units_in_build(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """The units in build that are inspected to another revision of the family, with what adopting would do."""
    to = revision_card(uuid)
    shown = {
        "revision": to,
        "units": under_other_revisions(to, viewer=request.user),
        "form": ChoiceForm() if Act.CHOOSE_PLAN in acts_of(request.user, timezone.now()) else None,
    }
    return render(request, "inspections/adopting.html", shown)


@needs(Act.CHOOSE_PLAN)
@sensitive_post_parameters("pin")
@require_http_methods(["POST"])
def choose(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """The units ticked, or all that were listed, adopt or stay, signed once for all of them."""
    form, at = ChoiceForm(request.POST), timezone.now()
    ticked = _ticked(request)
    status: int = HTTPStatus.BAD_REQUEST
    if form.is_valid():
        values = form.cleaned_data
        try:
            proof = _proof(request, values.pop("pin"), at)
            reports = choose_plan(proof=proof, revision_uuid=uuid, shown=ticked, at=at, **values)
        except QcError as error:
            form.add_error(None, error.message)
            status = refusal_status(error)
        else:
            messages.success(request, _said(values["choice"], reports), extra_tags="in")
            return redirect("inspections:adopting", uuid=uuid)
    to = revision_card(uuid)
    shown = {
        "revision": to,
        "units": under_other_revisions(to, viewer=request.user),
        "form": form,
        "ticked": ticked,
        "every": request.POST.get("every"),
    }
    return render(request, "inspections/adopting.html", shown, status=status)


def _ticked(request: HttpRequest) -> dict[str, str]:
    """The serials chosen, each with what its preview showed; "every" chooses all that the page listed."""
    listed = {
        name.removeprefix("covers:"): str(shown) for name, shown in request.POST.items() if name.startswith("covers:")
    }
    chosen = listed if request.POST.get("every") else request.POST.getlist("unit")
    return {serial: listed.get(serial, "") for serial in chosen}


def _said(choice: str, reports: dict[str, list[str]]) -> str:
    raised = sorted({number for numbers in reports.values() for number in numbers})
    stay = "stays with its revision" if len(reports) == 1 else "stay with their revision"
    words = "adopted the revision" if choice == "adopt" else stay
    return f"{', '.join(sorted(reports))} {words}." + (f" Raised: {', '.join(raised)}." if raised else "")


@needs(Act.LOOK_AT_PLAN)
@require_http_methods(["GET", "HEAD"])
def preview(request: HttpRequest, uuid: UUID, serial: str) -> HttpResponse:
    """What adopting the revision would do to one unit, answer by answer."""
    to, unit = revision_card(uuid), unit_by_serial(serial)
    try:
        found = preview_of(unit, to)
    except QcError as error:
        shown = {"revision": to, "unit": unit, "refusal": error.message}
        return render(request, "inspections/adopt_one.html", shown, status=refusal_status(error))
    may = Act.CHOOSE_PLAN in acts_of(request.user, timezone.now())
    shown = {
        "revision": to, "unit": unit, "preview": found, "shown": shown_to(found, viewer=request.user),
        "form": OneChoiceForm() if may else None,
    }  # fmt: skip
    return render(request, "inspections/adopt_one.html", shown)


@needs(Act.LOOK_AT_PLAN)
@require_http_methods(["GET", "HEAD"])
def articles(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """The family's first articles, with forms to mark the next one and to decide those that wait."""
    return _articles_page(request, uuid, None, 200)


@needs(Act.MARK_FIRST_ARTICLE)
@require_http_methods(["POST"])
def mark(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """A unit in build becomes first article at one stage."""
    form = ArticleForm(request.POST)
    if not form.is_valid():
        return _articles_page(request, uuid, form, HTTPStatus.BAD_REQUEST)
    try:
        mark_first_article(by=request.user, at=timezone.now(), **form.cleaned_data)
    except QcError as error:
        form.add_error(None, error.message)
        return _articles_page(request, uuid, form, refusal_status(error))
    return redirect("inspections:articles", uuid=uuid)


@needs(Act.MARK_FIRST_ARTICLE)
@sensitive_post_parameters("pin")
@require_http_methods(["POST"])
def decide_article(request: HttpRequest, uuid: UUID, article: UUID) -> HttpResponse:
    """Accept a first article or not, signed."""
    form, at = ArticleDecisionForm(request.POST), timezone.now()
    if not form.is_valid():
        return _articles_page(request, uuid, form, HTTPStatus.BAD_REQUEST)
    values = form.cleaned_data
    try:
        decide_first_article(
            proof=_proof(request, values["pin"], at), article=article, accepted=values["accepted"] == "yes",
            reason=values["reason"], at=at,
        )  # fmt: skip
    except QcError as error:
        form.add_error(None, error.message)
        return _articles_page(request, uuid, form, refusal_status(error))
    return redirect("inspections:articles", uuid=uuid)


def _articles_page(request: HttpRequest, uuid: UUID, bound: Any, status: int) -> HttpResponse:
    card = revision_card(uuid)
    may = Act.MARK_FIRST_ARTICLE in acts_of(request.user, timezone.now())
    shown = {
        "revision": card, "articles": first_articles(card.family_id), "may": may, "problem": bound,
        "mark": bound if isinstance(bound, ArticleForm) else ArticleForm(initial={"about": f"revision {card.letter}"}),
        "decide": ArticleDecisionForm(),
    }  # fmt: skip
    return render(request, "inspections/first_articles.html", shown, status=status)


@needs(Act.DECIDE_APPLICABILITY)
@sensitive_post_parameters("pin")
@require_http_methods(["GET", "POST"])
def applicability(request: HttpRequest, serial: str) -> HttpResponse:
    """Decide that a checkpoint does not apply to the unit, or applies again; with what was decided so far."""
    view, at = inspection_of(serial, viewer=request.user), timezone.now()
    form = ApplicabilityForm(request.POST or None, checkpoints=view.checkpoints)
    status = 200
    if request.method == "POST":
        status = HTTPStatus.BAD_REQUEST
        if form.is_valid():
            try:
                _decide(request, view.unit.serial, form.cleaned_data, at)
            except QcError as error:
                form.add_error(None, error.message)
                status = refusal_status(error)
            else:
                messages.success(request, "Decided and signed.", extra_tags="in")
                return redirect("inspections:applicability", serial=view.unit.serial)
    shown = {
        "unit": view.unit, "form": form, "decided": [one for one in view.checkpoints if one.excluded],
        "variant": [o for o in view.checkpoints if o.card.variants and o.state == "not_due" and not o.excluded],
    }  # fmt: skip
    return render(request, "inspections/applicability.html", shown, status=status)


def _decide(request: HttpRequest, serial: str, values: dict[str, Any], at: datetime) -> None:
    decide_applicability(
        proof=_proof(request, values["pin"], at), serial=serial, key=values["key"],
        applies=values["applies"] == "yes", reason=values["reason"], at=at,
    )  # fmt: skip


def _proof(request: HttpRequest, pin: str, at: datetime) -> Proof:
    person = person_by_uuid(request.user.uuid)
    return prove_identity(person=person, secret=pin, method="pin", at=at, address=client_address(request))
