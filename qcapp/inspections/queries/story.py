"""Answers that other answers took the place of: what a unit's history shows beside those that count."""

from __future__ import annotations

from collections.abc import Collection

from ..models import Result
from . import loading
from .secrets import Place
from .shapes import AnswerView, InspectionView


def replaced_answers(view: InspectionView, secret: Collection[Place] = ()) -> list[AnswerView]:
    """The stored answers of the unit that a correction or a repeat replaced, the oldest first.

    Those at a place in `secret` are left out. No query where no answer that counts names one; two at most.
    """
    item = view.unit.item_id
    if not any(answer.replaces for one in view.checkpoints for answer in (*one.given, *one.earlier)):
        return []
    cards = {one.card.id: one.card for one in view.checkpoints}
    rows = Result.objects.filter(item=item, current_for__isnull=True).exclude(purpose=Result.Purpose.COMPUTED)
    found = loading.answers(rows.order_by("id"), cards)
    return [answer for answer in found if (item, answer.checkpoint_id, answer.round) not in secret]
