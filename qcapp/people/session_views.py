"""The page on which people see where they are signed in, and end what they do not know."""

from __future__ import annotations

from http import HTTPStatus
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods

from qcapp.core.errors import QcError
from qcapp.lib.middleware import client_address
from qcapp.lib.refusals import refusal_status, retry_after

from . import forms, queries, services
from .access import signed_in


@signed_in
@sensitive_post_parameters()
@require_http_methods(["GET", "HEAD", "POST"])
def sessions(request: HttpRequest) -> HttpResponse:
    """My sessions; sent with the password, the chosen ones end."""
    now = timezone.now()
    rows = services.sessions_of(request.user, now)
    here = request.session.get("sign_in", "")
    others = [row for row in rows if row.sign_in and str(row.sign_in) != here]
    form = forms.EndSessionsForm(
        request.POST or None, open_ones=[row.sign_in for row in others if row.sign_in is not None]
    )
    problem: QcError | None = None
    if request.method == "POST" and form.is_valid():
        try:
            ended = _end(request, form.cleaned_data["current"], form.cleaned_data["sign_ins"])
        except QcError as error:
            problem = error
        else:
            said = "One session has ended." if ended == 1 else f"{ended} sessions have ended."
            messages.success(request, said)
            return redirect("people:sessions")
    return _page(request, {"rows": rows, "here": here, "others": others, "form": form, "problem": problem})


def _end(request: HttpRequest, password: str, sign_ins: list[UUID]) -> int:
    now = timezone.now()
    person = queries.person_by_uuid(request.user.uuid)
    address = client_address(request)
    proof = services.prove_identity(person=person, secret=password, method="password", at=now, address=address)
    return services.end_sessions(proof=proof, sign_ins=sign_ins, at=now)


def _page(request: HttpRequest, shown: dict[str, object]) -> HttpResponse:
    problem, form = shown["problem"], shown["form"]
    if isinstance(problem, QcError):
        answer = render(request, "people/sessions.html", shown, status=refusal_status(problem))
        for name, value in retry_after(problem).items():
            answer[name] = value
        return answer
    wrong = isinstance(form, forms.EndSessionsForm) and form.is_bound and not form.is_valid()
    return render(request, "people/sessions.html", shown, status=HTTPStatus.BAD_REQUEST if wrong else HTTPStatus.OK)
