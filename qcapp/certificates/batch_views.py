"""Certificates of many units at once: choose the released ones, watch the batch, read what was refused."""

from __future__ import annotations

from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from qcapp.core.errors import QcError
from qcapp.lib.refusals import refusal_status
from qcapp.people.access import needs
from qcapp.people.roles import Act

from .batch_queries import batch_state, released_without_certificate
from .services.batches import issue_batch


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Act.ISSUE_CERTIFICATE)
def to_issue(request: HttpRequest) -> HttpResponse:
    """The released units without a certificate, and the act of issuing for those chosen."""
    problem, status = "", 200
    if request.method == "POST":
        try:
            uuid = issue_batch(by=request.user, serials=request.POST.getlist("serial"), at=timezone.now())
            return redirect("certificates:batch", uuid=uuid)
        except QcError as refusal:
            problem, status = refusal.message, refusal_status(refusal)
    context = {"serials": released_without_certificate(), "problem": problem}
    return render(request, "certificates/to_issue.html", context, status=status)


@require_safe
@needs(Act.ISSUE_CERTIFICATE)
def batch(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """How far a batch has come."""
    return render(request, "certificates/batch.html", {"state": batch_state(uuid)})
