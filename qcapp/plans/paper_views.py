"""What is printed of a plan: blank inspection sheets and the comparison of two revisions."""

from __future__ import annotations

from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.views.decorators.http import require_safe

from qcapp.core.errors import NotFound
from qcapp.people.access import needs
from qcapp.people.roles import Act

from . import queries
from .comparison import differences
from .prints import blank_sheets, comparison_pdf, stages_asked


@needs(Act.LOOK_AT_PLAN)
@require_safe
def blank(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """Blank inspection sheets of the plan, or with `?stage=5` of one stage; `?paper=letter`."""
    card = queries.revision_card(uuid)
    stages = stages_asked(card, request.GET.get("stage", ""))
    data = blank_sheets(card, stages, queries.checkpoints_of_card(card), request.GET.get("paper", ""))
    return as_pdf(data, f"{card.family_code}-{card.letter}-sheets")


@needs(Act.LOOK_AT_PLAN)
@require_safe
def print_comparison(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """The comparison as PDF: `?with=<uuid>`, else with the revision released before; `?paper=letter`."""
    card = queries.revision_card(uuid)
    asked = request.GET.get("with")
    other = queries.revision_card(asked) if asked else queries.previous_of(card.id)
    if other is None:
        raise NotFound("nothing_to_compare", "There is no other revision to hold this one against.")
    old, new = queries.checkpoints_of_card(other), queries.checkpoints_of_card(card)
    data = comparison_pdf(other, card, old, new, differences(old, new), request.GET.get("paper", ""))
    return as_pdf(data, f"{card.family_code}-{other.letter}-{card.letter}-compared")


def as_pdf(data: bytes, name: str) -> HttpResponse:
    """A PDF to look at or save."""
    disposition = {"Content-Disposition": f'inline; filename="{name}.pdf"'}
    return HttpResponse(data, content_type="application/pdf", headers=disposition)
