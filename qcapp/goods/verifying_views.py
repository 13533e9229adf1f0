"""Where grade verification is asked at issue, on one page."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from qcapp.lib.several_forms import SeveralForms
from qcapp.people.access import needs
from qcapp.people.queries import may
from qcapp.people.roles import Act

from . import forms
from .queries.verifying import demands
from .services.verifying import ask_verification, end_verification


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Act.LOOK_AT_GOODS, post=Act.ASK_VERIFICATION)
def verification(request: HttpRequest) -> HttpResponse:
    """What is verified at issue, with who asked and why; and the forms that ask and end it."""
    page = SeveralForms(request, {"ask": forms.DemandForm, "end": forms.EndDemandForm})

    def ask(told: dict[str, Any], at: datetime) -> object:
        return ask_verification(by=request.user, at=at, **told)

    def end(told: dict[str, Any], at: datetime) -> object:
        return end_verification(by=request.user, at=at, **told)

    page.hear({"ask": ask, "end": end})
    if page.done:
        messages.success(request, "Recorded.", extra_tags="in")
        return redirect("goods:verification")
    asks = may(request.user, Act.ASK_VERIFICATION, timezone.now())
    context = {"demands": demands(), "forms": page.forms, "asks": asks}
    return render(request, "goods/verification.html", context, status=page.status)
