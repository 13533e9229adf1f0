"""What the gauges at hand make of a plan's checkpoints, by the ratio that this site asks for."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from decimal import Decimal

from django.conf import settings

from qcapp.gauges.queries import all_gauges

from .. import before_review
from ..cards import CheckpointCard, PreReleaseFinding, RevisionCard
from ..gauge_fit import Fit, fits
from ..states import RevisionState


def fits_at_hand(cards: Sequence[CheckpointCard], at: datetime) -> dict[str, Fit]:
    """The fit of every measured checkpoint, by key, with the gauges that may be used at that time."""
    return fits(cards, all_gauges(at), Decimal(settings.QCAPP_UNCERTAINTY_RATIO))


def findings_before_release(
    card: RevisionCard, cards: Sequence[CheckpointCard], at: datetime
) -> list[PreReleaseFinding]:
    """What to look at before a release; advice, it does not stand against one.

    Until then it is held against the gauges that may be used `at` that time.
    """
    before = card.state in (RevisionState.DRAFT, RevisionState.IN_REVIEW)
    return before_review.look_at(cards, fits_at_hand(cards, at) if before else {})
