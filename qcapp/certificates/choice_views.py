"""The page on which the quality manager chooses what a family's certificates hold."""

from __future__ import annotations

from dataclasses import asdict
from http import HTTPStatus

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from qcapp.people.access import needs
from qcapp.people.roles import Act
from qcapp.production.queries import families, family_by_code

from .choices import Choice
from .forms import ChoiceForm
from .queries import paper_choice
from .services.choosing import choose_paper


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Act.CHOOSE_PAPER)
def choose(request: HttpRequest, code: str) -> HttpResponse:
    """The choice as it stands, and the act of choosing anew."""
    family = family_by_code(code)
    form = ChoiceForm(request.POST if request.method == "POST" else None, initial=asdict(paper_choice(family.id)))
    if request.method == "POST" and form.is_valid():
        choose_paper(by=request.user, family_code=code, choice=Choice(**form.cleaned_data), at=timezone.now())
        messages.success(request, "Chosen. It holds for every certificate issued from now on.", extra_tags="in")
        return redirect("certificates:choose", code=family.code)
    context = {"family": family, "families": families(), "form": form}
    return render(
        request, "certificates/choose.html", context, status=HTTPStatus.BAD_REQUEST if form.is_bound else HTTPStatus.OK
    )
