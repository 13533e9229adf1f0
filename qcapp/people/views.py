"""Pages of people: signing in and out, the own account, and what the keeper does."""

from __future__ import annotations

from collections.abc import Callable
from http import HTTPStatus
from typing import TYPE_CHECKING, Any
from uuid import UUID

from django import forms as django_forms
from django.conf import settings
from django.contrib import auth, messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from qcapp.core.errors import QcError
from qcapp.lib.middleware import client_address
from qcapp.lib.refusals import refusal_status, retry_after

from . import forms, queries, services
from .access import mark_changed, needs, public, safe_next, signed_in
from .roles import Act
from .second_factor_views import BACKEND, ask_for_code

if TYPE_CHECKING:
    from .models import Person


# --- signing in and out ------------------------------------------------------------------------------------
@public
@never_cache
@sensitive_post_parameters("password")
@require_http_methods(["GET", "HEAD", "POST"])
def sign_in(request: HttpRequest) -> HttpResponse:
    """Badge and password; then on to `next`, if that is a page of this site."""
    target = safe_next(request, request.POST.get("next") or request.GET.get("next") or "/")
    form = forms.SignInForm(request.POST if request.method == "POST" else None)
    problem: QcError | None = None
    if request.method == "POST" and form.is_valid():
        try:
            proof = services.identify(
                badge=form.cleaned_data["badge"],
                secret=form.cleaned_data["password"],
                at=timezone.now(),
                address=client_address(request),
            )
        except QcError as error:
            problem = error
        else:
            if proof.person.second_factor_at is not None:
                return ask_for_code(request, proof.person, target)
            auth.login(request, proof.person, backend=BACKEND)
            return mark_changed(redirect(target))
    shown = {"form": form, "problem": problem, "next": target, "ended": request.GET.get("ended")}
    return _page(request, "people/sign_in.html", shown, problem, form)


@signed_in
@require_POST
def sign_out(request: HttpRequest) -> HttpResponse:
    """Ends the session."""
    auth.logout(request)
    return mark_changed(redirect("people:sign_in"))


# --- the own account ---------------------------------------------------------------------------------------
@signed_in
@require_GET
def account(request: HttpRequest) -> HttpResponse:
    """Who I am here, what I may do, and where I set my password and PIN."""
    return _account_page(request)


@signed_in
@sensitive_post_parameters()
@require_POST
def own_password(request: HttpRequest) -> HttpResponse:
    """Replaces the own password, after the current one; this session goes on, all others end."""
    form = forms.OwnPasswordForm(request.POST, prefix="password")

    def set_it(values: dict[str, Any]) -> None:
        person, now = _proven(request, values["current"])
        services.set_password(by=person, person=person, password=values["password"], at=now)
        auth.update_session_auth_hash(request, person)

    return _own_secret(request, form, set_it, "Your password is changed. Every other session of yours has ended.")


@signed_in
@require_POST
def own_language(request: HttpRequest) -> HttpResponse:
    """The language in which the pages speak to me."""
    person = queries.person_by_uuid(request.user.uuid)
    services.set_language(by=person, language=request.POST.get("language", "")[:8], at=timezone.now())
    messages.success(request, "The pages speak this language to you from now on.", extra_tags="in")
    return redirect("people:account")


@signed_in
@sensitive_post_parameters()
@require_POST
def own_pin(request: HttpRequest) -> HttpResponse:
    """Sets the PIN to sign with, after the password."""
    form = forms.OwnPinForm(request.POST, prefix="pin")

    def set_it(values: dict[str, Any]) -> None:
        person, now = _proven(request, values["current"])
        services.set_pin(by=person, person=person, pin=values["pin"], at=now)

    return _own_secret(request, form, set_it, "Your PIN is set. You sign with it from now on.")


def _proven(request: HttpRequest, password: str) -> tuple[Person, Any]:
    now = timezone.now()
    person = queries.person_by_uuid(request.user.uuid)
    services.prove_identity(person=person, secret=password, method="password", at=now, address=client_address(request))
    return person, now


def _own_secret(
    request: HttpRequest, form: django_forms.Form, set_it: Callable[[dict[str, Any]], None], done: str
) -> HttpResponse:
    problem: QcError | None = None
    if form.is_valid():
        try:
            set_it(form.cleaned_data)
        except QcError as error:
            problem = error
        else:
            messages.success(request, done)
            return redirect("people:account")
    return _account_page(request, form, problem)


def _account_page(
    request: HttpRequest, form: django_forms.Form | None = None, problem: QcError | None = None
) -> HttpResponse:
    now = timezone.now()
    person = queries.person_by_uuid(request.user.uuid)
    shown = {
        "card": queries.person_card(person, now),
        "acts": sorted(act.value for act in queries.acts_of(person, now)),
        "languages": settings.LANGUAGES,
        "temporary_password": person.password_is_temporary,
        "temporary_pin": person.pin_is_temporary,
        "password_form": forms.OwnPasswordForm(prefix="password"),
        "pin_form": forms.OwnPinForm(prefix="pin"),
        "problem": problem,
    }
    if form is not None:
        shown[f"{form.prefix}_form"] = form
    return _page(request, "people/account.html", shown, problem, form)


# --- what the keeper does ----------------------------------------------------------------------------------
@needs(Act.KEEP_PEOPLE)
@require_GET
def people(request: HttpRequest) -> HttpResponse:
    """Everybody who works here; with `?left=1` those who left too."""
    with_left = request.GET.get("left") == "1"
    cards = queries.people_cards(timezone.now(), with_left=with_left)
    return render(request, "people/people.html", {"cards": cards, "with_left": with_left})


@needs(Act.KEEP_PEOPLE)
@require_http_methods(["GET", "HEAD", "POST"])
def add_person(request: HttpRequest) -> HttpResponse:
    """A new person, who then gets roles and a temporary password on the own page."""
    form = forms.PersonForm(request.POST if request.method == "POST" else None)
    problem: QcError | None = None
    if request.method == "POST" and form.is_valid():
        try:
            person = services.add_person(by=request.user, at=timezone.now(), **form.cleaned_data)
        except QcError as error:
            problem = error
        else:
            messages.success(request, f"{person.name} is added. Give a role and a temporary password next.")
            return redirect("people:person", uuid=person.uuid)
    return _page(request, "people/add.html", {"form": form, "problem": problem}, problem, form)


@needs(Act.KEEP_PEOPLE)
@require_GET
def person(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """One person: roles, deputies, secrets, leaving."""
    return _person_page(request, queries.person_by_uuid(uuid))


@needs(Act.KEEP_PEOPLE)
@require_POST
def change_person(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """Another name, other initials or address."""
    form = forms.ChangedPersonForm(request.POST, prefix="change")
    return _keep(request, uuid, form, services.change_person, "The change is written down.")


@needs(Act.KEEP_PEOPLE)
@require_POST
def give_role(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """A role from a day on."""
    return _keep(request, uuid, forms.RoleForm(request.POST, prefix="role"), services.give_role, "The role is given.")


@needs(Act.KEEP_PEOPLE)
@require_POST
def end_role(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """The end of a role, at once unless a last day is named."""
    return _keep(request, uuid, forms.EndRoleForm(request.POST, prefix="end"), services.end_role, "The role ends.")


@needs(Act.KEEP_PEOPLE)
@require_POST
def name_deputy(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """Somebody stands in for the person, in one role and between two days."""

    def name_by_badge(*, deputy: str, **values: Any) -> None:
        services.name_deputy(deputy=queries.person_by_badge(deputy), **values)

    form = forms.DeputyForm(request.POST, prefix="deputy")
    return _keep(request, uuid, form, name_by_badge, "The deputy is named.")


@needs(Act.KEEP_PEOPLE)
@require_POST
def end_deputy(request: HttpRequest, uuid: UUID, deputy_id: int) -> HttpResponse:
    """A deputyship ends at once."""

    def end_it(*, person: Person, **values: Any) -> None:
        services.end_deputy(deputy_id=deputy_id, **values)

    return _keep(request, uuid, django_forms.Form(request.POST), end_it, "The deputy stands in no longer.")


@needs(Act.KEEP_PEOPLE)
@require_POST
def temporary_password(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """A random password, shown this once, which the person has to replace at the next sign-in."""
    subject = queries.person_by_uuid(uuid)
    try:
        given = services.give_temporary_password(by=request.user, person=subject, at=timezone.now())
    except QcError as error:
        return _person_page(request, subject, problem=error)
    return _person_page(request, queries.person_by_uuid(uuid), given=given)


@needs(Act.KEEP_PEOPLE)
@sensitive_post_parameters()
@require_POST
def temporary_pin(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """A PIN that signs nothing until the person has replaced it."""
    form = forms.TemporaryPinForm(request.POST, prefix="pin")
    return _keep(request, uuid, form, services.set_pin, "The temporary PIN is set.")


@needs(Act.KEEP_PEOPLE)
@require_POST
def end_second_factor(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """The person has lost the authenticator and the codes on paper: a new second factor can be set up."""
    done = "No code is asked any more; all sessions of this person have ended."
    return _keep(request, uuid, django_forms.Form(request.POST), services.end_second_factor, done)


@needs(Act.KEEP_PEOPLE)
@require_POST
def worker_charts(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """The person sees charts by welder and inspector from now on."""
    done = "This person sees charts by welder and inspector from now on."
    return _keep(request, uuid, django_forms.Form(request.POST), services.name_chart_reader, done)


@needs(Act.KEEP_PEOPLE)
@require_POST
def end_worker_charts(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """The person sees them no longer."""
    done = "This person sees charts by welder and inspector no longer."
    return _keep(request, uuid, django_forms.Form(request.POST), services.end_chart_reader, done)


@needs(Act.KEEP_PEOPLE)
@require_POST
def leave(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """The person leaves, now or after a day."""
    form = forms.LeavingForm(request.POST, prefix="leave")
    return _keep(request, uuid, form, services.mark_left, "It is written down that this person leaves.")


def _keep(
    request: HttpRequest, uuid: UUID, form: django_forms.Form, service: Callable[..., Any], done: str
) -> HttpResponse:
    """Call a service with the form's values and go back to the person's page, which shows what was wrong."""
    subject = queries.person_by_uuid(uuid)
    problem: QcError | None = None
    if form.is_valid():
        try:
            service(by=request.user, person=subject, at=timezone.now(), **form.cleaned_data)
        except QcError as error:
            problem = error
        else:
            messages.success(request, done)
            return redirect("people:person", uuid=uuid)
    return _person_page(request, queries.person_by_uuid(uuid), form, problem)


def _person_page(
    request: HttpRequest,
    subject: Person,
    form: django_forms.Form | None = None,
    problem: QcError | None = None,
    given: str = "",
) -> HttpResponse:
    now = timezone.now()
    card = queries.person_card(subject, now)
    known = {"name": card.name, "initials": card.initials, "email": card.email}
    shown = {
        "card": card,
        "today": queries.site_day(now),
        "second_factor_at": subject.second_factor_at,
        "anonymised_at": subject.anonymised_at,
        "reads_charts": queries.reads_worker_charts(subject),
        "roles": queries.role_rows(subject),
        "deputies": queries.deputy_rows(subject),
        "change_form": forms.ChangedPersonForm(initial=known, prefix="change"),
        "role_form": forms.RoleForm(prefix="role"),
        "deputy_form": forms.DeputyForm(prefix="deputy"),
        "given": given,
        "password_until": subject.password_until,
        "pin_form": forms.TemporaryPinForm(prefix="pin"),
        "leave_form": forms.LeavingForm(prefix="leave"),
        "problem": problem,
    }
    if form is not None and form.prefix:
        shown[f"{form.prefix}_form"] = form
    return _page(request, "people/person.html", shown, problem, form)


def _page(
    request: HttpRequest,
    template: str,
    shown: dict[str, Any],
    problem: QcError | None,
    form: django_forms.Form | None,
) -> HttpResponse:
    """The page with the status that its problem has; 400 for a form that does not hold."""
    status = HTTPStatus.OK
    if problem is not None:
        status = refusal_status(problem)
    elif form is not None and form.is_bound and not form.is_valid():
        status = HTTPStatus.BAD_REQUEST
    headers = retry_after(problem) if problem is not None else {}
    response = render(request, template, shown, status=status)
    for name, value in headers.items():
        response[name] = value
    return response
