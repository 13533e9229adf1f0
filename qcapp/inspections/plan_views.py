"""Pages about plans that need recorded results: a draft tried on recent units, and from a drawing to its units."""

from __future__ import annotations

from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from qcapp.people.access import needs
from qcapp.people.roles import Act
from qcapp.plans.queries import checkpoints_of, previous_of, revision_card
from qcapp.plans.queries.citing import revisions_citing

from .queries.coming import coming_units
from .queries.trying import tried_on, units_inspected_to
from .queries.trying_capability import changed_capability

AMOUNTS = (10, 40, 100, 200)


@needs(Act.LOOK_AT_PLAN)
@require_safe
def try_on_units(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """What the revision's limits would have said about the last units; `?units=40`."""
    card = revision_card(uuid)
    asked = request.GET.get("units", "")
    units = int(asked) if asked in map(str, AMOUNTS) else 40
    before = previous_of(card.id)
    shown = {
        "revision": card,
        "before": before,
        "amounts": AMOUNTS,
        "units": units,
        "tried": tried_on(card.family_id, checkpoints_of(card.id), units, viewer=request.user),
        "capable": changed_capability(card.family_id, checkpoints_of(before.id), checkpoints_of(card.id), units)
        if before
        else [],
    }
    return render(request, "inspections/try_plan.html", shown)


@needs(Act.LOOK_AT_PLAN)
@require_safe
def when_due(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """Which of the next twenty units get each checkpoint that is not asked on every unit; `?variant=left`."""
    card = revision_card(uuid)
    variant = request.GET.get("variant", "").replace("\0", "")[:60]
    shown = {"revision": card, "variant": variant, "table": coming_units(card, checkpoints_of(card.id), variant)}
    return render(request, "inspections/when.html", shown)


@needs(Act.LOOK_UP_UNIT)
@require_safe
def drawings(request: HttpRequest) -> HttpResponse:
    """From a drawing's or a specification's number to plan revisions that cite it, to units inspected to them."""
    asked = request.GET.get("q", "").replace("\0", "").strip()[:60]
    found = revisions_citing(asked) if asked else []
    units = units_inspected_to([one.revision.id for one in found])
    shown = {"q": asked, "found": [(one, units.get(one.revision.id, [])) for one in found]}
    return render(request, "inspections/drawings.html", shown)
