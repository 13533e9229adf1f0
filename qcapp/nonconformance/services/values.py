"""The number behind an answer, where it has one: what a concession's limits are compared with."""

from __future__ import annotations

import json
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from qcapp.core.metrology.decision import judge
from qcapp.inspections.queries import counting_answer

if TYPE_CHECKING:
    from qcapp.plans.queries import CheckpointCard

    from ..models import Report


def worst_value(answer: dict[str, Any], card: CheckpointCard) -> Decimal | None:
    """The value of an answer; of several readings the one furthest outside the band. None where it has no number."""
    texts = answer.get("values") or [answer[key] for key in ("value", "count") if key in answer]
    values = [Decimal(str(text)) for text in texts]
    if not values:
        return None
    band = getattr(card.spec, "band", None)
    return values[0] if band is None else max(values, key=lambda value: judge(value, band).excess)


def value_that_failed(report: Report) -> Decimal | None:
    """The value that the report is about, None for a report by hand or a checkpoint without a number."""
    if report.result is None or report.checkpoint is None:
        return None
    card = counting_answer(report.item_id, report.checkpoint.characteristic.key).card
    return worst_value(json.loads(report.result.answer), card)
