"""What is kept for how long, for the keeper."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_GET

from qcapp.people.access import needs
from qcapp.people.roles import Act

from .kinds import kinds, waiting


@needs(Act.LOOK_AT_SYSTEM)
@require_GET
def kept(request: HttpRequest) -> HttpResponse:
    """The table of retention, and what is past its period."""
    return render(request, "health/kept.html", {"kinds": kinds(), "waiting": waiting(timezone.now())})
