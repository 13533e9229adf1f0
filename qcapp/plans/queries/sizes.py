"""How large the released plans are."""

from __future__ import annotations

from django.db.models import Count

from ..models import PlanRevision
from ..states import RevisionState


def family_of_the_largest_plan() -> str:
    """The code of the family whose released plan has the most checkpoints; empty before the first; one query."""
    released = PlanRevision.objects.filter(status__state=RevisionState.RELEASED)
    counted = released.annotate(size=Count("checkpoints")).order_by("-size", "family__code")
    return counted.values_list("family__code", flat=True).first() or ""
