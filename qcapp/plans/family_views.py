"""A new part family: what plans, units and certificates are named by."""

from __future__ import annotations

from http import HTTPStatus

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from qcapp.core.errors import QcError
from qcapp.lib.refusals import refusal_status
from qcapp.people.access import needs
from qcapp.people.roles import Act
from qcapp.production import services as production

from . import forms


@needs(Act.IMPORT_PLAN)
@require_http_methods(["GET", "HEAD", "POST"])
def add_family(request: HttpRequest) -> HttpResponse:
    """Add a family, then import its first plan."""
    form = forms.FamilyForm(request.POST or None)
    status: int = HTTPStatus.OK
    if request.method == "POST":
        status = HTTPStatus.BAD_REQUEST
        if form.is_valid():
            try:
                family = production.add_family(by=request.user, at=timezone.now(), **form.cleaned_data)
            except QcError as error:
                form.add_error(None, error.message)
                status = refusal_status(error)
            else:
                messages.success(request, f"Family {family.code} is added. Import its first plan.", extra_tags="in")
                return redirect(f"{reverse('plans:import')}?family={family.code}")
    return render(request, "plans/family.html", {"form": form}, status=status)
