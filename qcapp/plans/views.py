"""The list of plans, the import with its findings, one revision as a table, and the acts of its review."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from datetime import datetime
from http import HTTPStatus
from typing import Any
from uuid import UUID

from django import forms as django_forms
from django.contrib import messages
from django.core.files.uploadedfile import UploadedFile
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from qcapp.core.errors import NotFound, Problems, QcError
from qcapp.lib.middleware import client_address
from qcapp.lib.refusals import refusal_status
from qcapp.people.access import needs
from qcapp.people.queries import acts_of, person_by_uuid
from qcapp.people.roles import Act
from qcapp.people.services import Proof, prove_identity

from . import forms, queries, services
from .cards import CheckpointCard, Review, RevisionCard
from .comparison import differences
from .draft_views import draft_page
from .plan_file import MAX_BYTES
from .prints import compared
from .queries.effective import effective_from
from .states import RevisionState

Perform = Callable[[dict[str, Any], datetime], object]
ALL = "all"


@needs(Act.LOOK_AT_PLAN)
@require_safe
def plan_list(request: HttpRequest) -> HttpResponse:
    """Every family with its released revision and the drafts before it."""
    imports = Act.IMPORT_PLAN in acts_of(request.user, timezone.now())
    return render(request, "plans/list.html", {"families": queries.families_with_plans(), "imports": imports})


@needs(Act.IMPORT_PLAN)
@require_http_methods(["GET", "HEAD", "POST"])
def import_plan(request: HttpRequest) -> HttpResponse:
    """Upload a plan file: a draft, or every finding with line and column and nothing imported."""
    if request.method != "POST":
        return render(request, "plans/import.html", {"form": forms.ImportForm(initial=_proposed(request))})
    form = forms.ImportForm(request.POST, request.FILES)
    findings: Sequence[dict[str, object]] = ()
    status = HTTPStatus.BAD_REQUEST
    if form.is_valid():
        try:
            card = _import(request, form.cleaned_data)
        except QcError as error:
            form.add_error(None, error.message)
            findings = error.findings if isinstance(error, Problems) else ()
            status = refusal_status(error)
        else:
            message = f"Revision {card.letter} is a draft with {card.checkpoint_count} checkpoints."
            messages.success(request, message, extra_tags="in")
            return redirect("plans:revision", uuid=card.uuid)
    return render(request, "plans/import.html", {"form": form, "findings": findings}, status=status)


def _proposed(request: HttpRequest) -> dict[str, str]:
    """The family asked for and its next letter, when the page was opened from that family."""
    try:
        code = request.GET.get("family", "")
        return {"family_code": code, "letter": queries.next_letter(code)} if code else {}
    except NotFound:
        return {}


def _import(request: HttpRequest, values: dict[str, Any]) -> RevisionCard:
    file: UploadedFile = values["file"]
    return services.import_plan(
        by=request.user,
        family_code=values["family_code"],
        letter=values["letter"].strip(),
        text_or_bytes=file.read(MAX_BYTES + 1),  # one more than is allowed, so that the reader says so
        filename=file.name or "",
        change_note=values["change_note"],
        at=timezone.now(),
    )


@needs(Act.LOOK_AT_PLAN)
@require_safe
def revision(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """One revision, a stage at a time; `?stage=5`, `?stage=all`, `?checkpoint=508`."""
    return _page(request, uuid)


@needs(Act.LOOK_AT_PLAN)
@require_safe
def export(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """The revision as a plan file. The byte order mark tells spreadsheets that it is UTF-8."""
    card = queries.revision_card(uuid)
    text = "\ufeff" + services.export_plan(card.id)
    name = f"{card.family_code}-{card.letter}.csv"
    disposition = {"Content-Disposition": f'attachment; filename="{name}"'}
    return HttpResponse(text, content_type="text/csv; charset=utf-8", headers=disposition)


# --------------------------------------------------------------------------------------------- acts of review


@needs(Act.LOOK_AT_PLAN)
@require_safe
def compare(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """Two revisions side by side: `?with=<uuid>`, else the one released before."""
    card = queries.revision_card(uuid)
    asked = request.GET.get("with")
    other = queries.revision_card(asked) if asked else queries.previous_of(card.id)
    shown: dict[str, Any] = {
        "revision": card,
        "other": other,
        "others": [one for one in queries.revisions_of(card.family_id) if one.id != card.id],
    }
    if other:
        old, new = queries.checkpoints_of_card(other), queries.checkpoints_of_card(card)
        shown |= compared(old, new, differences(old, new))
    return render(request, "plans/compare.html", shown)


@needs(Act.WRITE_PLAN)
@require_POST
def revise(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """The next draft, saying what this revision says."""
    form = forms.ReviseForm(request.POST, auto_id="revise_%s")
    status = HTTPStatus.BAD_REQUEST
    if form.is_valid():
        try:
            card = services.revise(by=request.user, revision_uuid=uuid, at=timezone.now(), **form.cleaned_data)
        except QcError as error:
            form.add_error(None, error.message)
            status = refusal_status(error)
        else:
            message = f"Revision {card.letter} is a draft with {card.checkpoint_count} checkpoints."
            messages.success(request, message, extra_tags="in")
            return redirect("plans:revision", uuid=card.uuid)
    return _page(request, uuid, bound={"revise": form}, status=status)


@needs(Act.WRITE_PLAN)
@require_POST
def discard(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """The draft ends here; its letter and new numbers are free again."""

    def drop(values: dict[str, Any], at: datetime) -> object:
        return services.discard(by=request.user, revision_uuid=uuid, at=at, **values)

    return _act(request, uuid, "discard", forms.ReasonForm(request.POST, auto_id="discard_%s"), drop)


@needs(Act.SEND_PLAN_FOR_REVIEW)
@require_POST
def send_for_review(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """The draft goes to the engineer and to who releases."""

    def send(values: dict[str, Any], at: datetime) -> object:
        return services.send_for_review(by=request.user, revision_uuid=uuid, at=at)

    return _act(request, uuid, "send", django_forms.Form(request.POST), send)


@needs(Act.SEND_PLAN_FOR_REVIEW)
@require_POST
def return_to_draft(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """Back to draft, with the reason."""

    def send_back(values: dict[str, Any], at: datetime) -> object:
        return services.return_to_draft(by=request.user, revision_uuid=uuid, at=at, **values)

    return _act(request, uuid, "return", forms.ReasonForm(request.POST), send_back)


@needs(Act.APPROVE_PLAN)
@sensitive_post_parameters("pin")
@require_POST
def approve(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """The engineer's signature."""

    def sign(values: dict[str, Any], at: datetime) -> object:
        return services.approve(proof=_proof(request, values["pin"], at), revision_uuid=uuid, at=at)

    return _act(request, uuid, "approve", forms.PinForm(request.POST, auto_id="approve_%s"), sign)


@needs(Act.RELEASE_PLAN)
@sensitive_post_parameters("pin")
@require_POST
def release(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """The signature that releases the revision and supersedes the one before."""

    def sign(values: dict[str, Any], at: datetime) -> object:
        proof = _proof(request, values["pin"], at)
        days = {"from_day": values["from_day"], "from_number": values["from_number"]}
        return services.release(proof=proof, revision_uuid=uuid, at=at, **days)

    return _act(request, uuid, "release", forms.ReleaseForm(request.POST, auto_id="release_%s"), sign)


@needs(Act.RELEASE_PLAN)
@sensitive_post_parameters("pin")
@require_POST
def withdraw(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """No unit is opened with it from now on; signed."""

    def sign(values: dict[str, Any], at: datetime) -> object:
        proof = _proof(request, values["pin"], at)
        return services.withdraw(proof=proof, revision_uuid=uuid, reason=values["reason"], at=at)

    return _act(request, uuid, "withdraw", forms.WithdrawForm(request.POST, auto_id="withdraw_%s"), sign)


def _proof(request: HttpRequest, pin: str, at: datetime) -> Proof:
    person = person_by_uuid(request.user.uuid)
    return prove_identity(person=person, secret=pin, method="pin", at=at, address=client_address(request))


def _act(request: HttpRequest, uuid: UUID, name: str, form: django_forms.Form, perform: Perform) -> HttpResponse:
    """Do it and go back to the plan; a refusal shows the plan again with the sentence in its form."""
    status = HTTPStatus.BAD_REQUEST
    if form.is_valid():
        try:
            perform(form.cleaned_data, timezone.now())
        except QcError as error:
            form.add_error(None, error.message)
            status = refusal_status(error)
        else:
            return redirect("plans:revision", uuid=uuid)
    return _page(request, uuid, bound={name: form}, status=status)


# ------------------------------------------------------------------------------------------------- the page


def _page(
    request: HttpRequest, uuid: UUID, bound: dict[str, django_forms.Form] | None = None, status: int = 200
) -> HttpResponse:
    card = queries.revision_card(uuid)
    now = timezone.now()
    acts = acts_of(request.user, now)
    if card.state == RevisionState.DRAFT and Act.WRITE_PLAN in acts:
        return draft_page(request, card, bound or {}, status)
    checkpoints = queries.checkpoints_of_card(card)
    review = queries.review_of(card, now, checkpoints)
    counts = Counter(checkpoint.stage_number for checkpoint in checkpoints)
    stage = request.GET.get("stage", str(card.stages[0].number) if card.stages else ALL)
    selected = next((c for c in checkpoints if str(c.number) == request.GET.get("checkpoint")), None)
    shown = {
        "revision": card,
        "stages": [(one, counts[one.number]) for one in card.stages],
        "stage": stage,
        "groups": _groups(card, checkpoints, stage),
        "selected": selected,
        "review": review,
        "effective": effective_from(card.id),
        "events": review.events,
        "forms": _fresh_forms(card, review, acts) | (bound or {}),
        "own_work": card.author_id == request.user.pk,
    }
    return render(request, "plans/revision.html", shown, status=status)


def _groups(
    card: RevisionCard, checkpoints: Sequence[CheckpointCard], stage: str
) -> list[tuple[Any, list[CheckpointCard]]]:
    """The stages that are shown, each with its checkpoints."""
    return [
        (one, [c for c in checkpoints if c.stage_number == one.number])
        for one in card.stages
        if stage in (ALL, str(one.number))
    ]


def _fresh_forms(card: RevisionCard, review: Review, acts: frozenset[Act]) -> dict[str, django_forms.Form]:
    """The forms of the moves that are possible now and lie in the person's roles."""
    in_review = card.state == RevisionState.IN_REVIEW
    wanted = {
        "send": (django_forms.Form, Act.SEND_PLAN_FOR_REVIEW, card.state == RevisionState.DRAFT),
        "return": (forms.ReasonForm, Act.SEND_PLAN_FOR_REVIEW, in_review),
        "approve": (
            forms.PinForm,
            Act.APPROVE_PLAN,
            in_review and review.needs_engineer and not review.approval,
        ),
        "release": (forms.ReleaseForm, Act.RELEASE_PLAN, in_review),
        "revise": (
            forms.ReviseForm,
            Act.WRITE_PLAN,
            card.state in (RevisionState.RELEASED, RevisionState.SUPERSEDED, RevisionState.WITHDRAWN),
        ),
        "withdraw": (
            forms.WithdrawForm,
            Act.RELEASE_PLAN,
            card.state in (RevisionState.RELEASED, RevisionState.SUPERSEDED),
        ),
    }
    return {
        name: form(auto_id=f"{name}_%s") for name, (form, act, possible) in wanted.items() if possible and act in acts
    }
