"""Pages of the second factor: the code at the sign-in, and what everybody sets up under My account."""

from __future__ import annotations

from datetime import timedelta
from http import HTTPStatus
from typing import TYPE_CHECKING, Any
from uuid import UUID

from django.contrib import auth, messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from qcapp.core.errors import NotFound, QcError
from qcapp.lib.middleware import client_address
from qcapp.lib.qr_codes import qr_svg
from qcapp.lib.refusals import refusal_status, retry_after

from . import forms, queries, services
from .access import mark_changed, owes_second_factor, public, safe_next, signed_in

if TYPE_CHECKING:
    from .models import Person
    from .services import Proof

BACKEND = "django.contrib.auth.backends.ModelBackend"
AWAITING = "awaiting_code"
PATIENCE = timedelta(minutes=5)  # between password and code


def ask_for_code(request: HttpRequest, person: Person, target: str) -> HttpResponse:
    """The password fits; nobody is signed in until the code does too."""
    auth.logout(request)
    request.session[AWAITING] = {"person": str(person.uuid), "at": timezone.now().timestamp(), "next": target}
    return redirect("people:sign_in_code")


@public
@never_cache
@sensitive_post_parameters("code")
@require_http_methods(["GET", "HEAD", "POST"])
def sign_in_code(request: HttpRequest) -> HttpResponse:
    """The code of the authenticator, or one from paper; then on to where the sign-in was to lead."""
    person, target = _awaiting(request)
    if person is None:
        return render(request, "people/sign_in_code.html", {"gone": True}, status=403 if request.POST else 200)
    form = forms.CodeForm(request.POST if request.method == "POST" else None)
    problem: QcError | None = None
    if form.is_valid():
        try:
            code, address = form.cleaned_data["code"], client_address(request)
            services.check_second_factor(person=person, code=code, at=timezone.now(), address=address)
        except QcError as error:
            problem = error
        else:
            del request.session[AWAITING]
            auth.login(request, person, backend=BACKEND)
            return mark_changed(redirect(safe_next(request, target)))
    return _answer(request, "people/sign_in_code.html", {"form": form, "problem": problem}, problem)


def _awaiting(request: HttpRequest) -> tuple[Person | None, str]:
    """Whose code is asked for in this session, and where to go then."""
    kept: dict[str, Any] = request.session.get(AWAITING) or {}
    if timezone.now().timestamp() - kept.get("at", 0) > PATIENCE.total_seconds():
        return None, "/"
    try:
        person = queries.person_by_uuid(UUID(kept["person"]))
    except NotFound:
        return None, "/"
    return (person if queries.is_here(person, timezone.now()) else None), kept["next"]


@signed_in
@require_GET
def second_factor(request: HttpRequest) -> HttpResponse:
    """Whether I have a second factor, and what I can do about it."""
    return _page(request)


@signed_in
@sensitive_post_parameters()
@require_POST
def begin(request: HttpRequest) -> HttpResponse:
    """A fresh secret to put into the authenticator."""

    def begin_it(proof: Proof) -> HttpResponse:
        services.begin_second_factor(proof=proof, at=proof.at)
        return redirect("people:second_factor")

    return _proven(request, begin_it)


@signed_in
@sensitive_post_parameters()
@require_POST
def confirm(request: HttpRequest) -> HttpResponse:
    """The first code; shows the codes for paper, this once."""
    form = forms.CodeForm(request.POST)
    person = queries.person_by_uuid(request.user.uuid)
    try:
        code = form.cleaned_data["code"] if form.is_valid() else ""
        papers = services.confirm_second_factor(by=person, code=code, at=timezone.now())
    except QcError as error:
        return _page(request, error)
    auth.update_session_auth_hash(request, person)
    return _page(request, papers=papers)


@signed_in
@sensitive_post_parameters()
@require_POST
def renew(request: HttpRequest) -> HttpResponse:
    """Fresh codes for paper, shown this once."""
    return _proven(
        request, lambda proof: _page(request, papers=services.renew_recovery_codes(proof=proof, at=proof.at))
    )


@signed_in
@sensitive_post_parameters()
@require_POST
def end(request: HttpRequest) -> HttpResponse:
    """No code is asked any more."""

    def end_it(proof: Proof) -> HttpResponse:
        services.end_second_factor(by=proof.person, person=proof.person, at=proof.at)
        auth.update_session_auth_hash(request, proof.person)
        messages.success(request, "Your second factor has ended. Every other session of yours too.")
        return redirect("people:second_factor")

    return _proven(request, end_it)


def _proven(request: HttpRequest, work: Any) -> HttpResponse:
    """What needs the password once more, so that an open screen is not enough."""
    form = forms.ProveForm(request.POST)
    person, now = queries.person_by_uuid(request.user.uuid), timezone.now()
    secret = form.cleaned_data["current"] if form.is_valid() else ""
    try:
        address = client_address(request)
        proof = services.prove_identity(person=person, secret=secret, method="password", at=now, address=address)
        answer: HttpResponse = work(proof)
    except QcError as error:
        return _page(request, error)
    return answer


def _page(request: HttpRequest, problem: QcError | None = None, papers: list[str] | None = None) -> HttpResponse:
    person = queries.person_by_uuid(request.user.uuid)
    begun = services.begun_second_factor(person)
    shown = {
        "since": person.second_factor_at,
        "owed": owes_second_factor(request, timezone.now()) and person.second_factor_at is None,
        "begun": begun,
        "picture": qr_svg(begun.address) if begun else "",
        "typed": " ".join(begun.secret[at : at + 4] for at in range(0, len(begun.secret), 4)) if begun else "",
        "papers": papers,
        "left": services.recovery_codes_left(person),
        "code_form": forms.CodeForm(),
        "renew_form": forms.ProveForm(auto_id="renew_%s"),
        "end_form": forms.ProveForm(auto_id="end_%s"),
        "problem": problem,
    }
    return _answer(request, "people/second_factor.html", shown, problem)


def _answer(request: HttpRequest, template: str, shown: dict[str, Any], problem: QcError | None) -> HttpResponse:
    if problem is None:
        return render(request, template, shown, status=HTTPStatus.OK)
    answer = render(request, template, shown, status=refusal_status(problem))
    for name, value in retry_after(problem).items():
        answer[name] = value
    return answer
