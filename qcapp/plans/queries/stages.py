"""The stages of many released revisions at once."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection

from ..cards import StageCard
from ..models import Stage


def stages_of(revision_ids: Collection[int]) -> dict[int, list[StageCard]]:
    """For each of the revisions its stages, in their order; one query."""
    found: dict[int, list[StageCard]] = defaultdict(list)
    for row in Stage.objects.filter(revision__in=revision_ids).order_by("number"):
        card = StageCard(row.pk, row.number, row.name, row.hold_point, row.witness_point)
        found[row.revision_id].append(card)
    return dict(found)
