"""Field actions: the list, one with its units by customer, and the letters."""

from __future__ import annotations

from http import HTTPStatus
from typing import Any

from django import forms as django_forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from qcapp.people.access import needs
from qcapp.people.queries import may
from qcapp.people.roles import Act

from . import forms
from .posting import Perform, performed
from .queries.field import field_action, field_actions
from .services import field


@require_safe
@needs(Act.LOOK_AT_IMPROVEMENT)
def field_list(request: HttpRequest) -> HttpResponse:
    """Every field action with the share closed."""
    leads = may(request.user, Act.LEAD_FIELD_ACTION, timezone.now())
    return render(request, "improvement/field_list.html", {"rows": field_actions(), "leads": leads})


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Act.LEAD_FIELD_ACTION)
def open_field(request: HttpRequest) -> HttpResponse:
    """A new field action."""
    opened: list[str] = []

    def perform(data: dict[str, Any], at: Any) -> None:
        opened.append(field.open_field_action(by=request.user, at=at, **data))

    form = forms.FieldForm(request.POST or None, initial={"action": request.GET.get("action", "")[:20]})
    status = performed(form, perform) if request.method == "POST" else HTTPStatus.OK
    if opened:
        return redirect("improvement:field", number=opened[0])
    return render(request, "improvement/field_open.html", {"form": form}, status=status)


@require_safe
@needs(Act.LOOK_AT_IMPROVEMENT)
def field_page(request: HttpRequest, number: str) -> HttpResponse:
    """One field action."""
    return _page(request, number)


@require_POST
@needs(Act.LEAD_FIELD_ACTION)
def units(request: HttpRequest, number: str) -> HttpResponse:
    """List units."""
    form = forms.UnitsForm(request.POST, auto_id="units_%s")
    return _act(
        request, number, "units", form, lambda data, at: field.list_units(by=request.user, number=number, at=at, **data)
    )


@require_POST
@needs(Act.LEAD_FIELD_ACTION)
def letter(request: HttpRequest, number: str) -> HttpResponse:
    """Write the letter."""
    form = forms.LetterForm(request.POST, auto_id="letter_%s")
    return _act(
        request, number, "letter", form,
        lambda data, at: field.write_letter(by=request.user, number=number, at=at, **data),
    )  # fmt: skip


@require_POST
@needs(Act.FOLLOW_FIELD_ACTION)
def follow(request: HttpRequest, number: str) -> HttpResponse:
    """What became of a unit."""
    form = forms.FollowForm(request.POST, auto_id="follow_%s")
    return _act(
        request, number, "follow", form,
        lambda data, at: field.follow_unit(by=request.user, number=number, at=at, **data),
    )  # fmt: skip


@require_safe
@needs(Act.LOOK_AT_IMPROVEMENT)
def letters(request: HttpRequest, number: str) -> HttpResponse:
    """The letters as PDF; of one customer where the address names it."""
    data = field.letters_pdf(number=number, customer=request.GET.get("customer", "")[:160])
    name = f'inline; filename="{number}-letters.pdf"'
    return HttpResponse(data, content_type="application/pdf", headers={"Content-Disposition": name})


def _act(request: HttpRequest, number: str, name: str, form: django_forms.Form, perform: Perform) -> HttpResponse:
    status = performed(form, perform)
    if status == HTTPStatus.OK:
        return redirect("improvement:field", number=number)
    return _page(request, number, {name: form}, status)


def _page(
    request: HttpRequest, number: str, bound: dict[str, django_forms.Form] | None = None, status: int = HTTPStatus.OK
) -> HttpResponse:
    at = timezone.now()
    view = field_action(number)
    fresh: dict[str, django_forms.Form] = {
        "units": forms.UnitsForm(auto_id="units_%s"),
        "letter": forms.LetterForm(
            auto_id="letter_%s", initial={"subject": view.letter_subject, "text": view.letter_text}
        ),
    }
    context = {
        "field": view, "forms": fresh | (bound or {}), "problem": (bound or {}).get("follow"),
        "leads": may(request.user, Act.LEAD_FIELD_ACTION, at),
        "follows": may(request.user, Act.FOLLOW_FIELD_ACTION, at),
    }  # fmt: skip
    return render(request, "improvement/field.html", context, status=status)
