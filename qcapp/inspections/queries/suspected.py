"""Which units share something with a failing answer: asked over the whole history of a family, so always along an
index.

A shared text (the fixture, a heat, a lot) is what record checkpoints hold, as canonical JSON. Only standing answers
of the first inspection count.
"""

from __future__ import annotations

import json
from collections.abc import Collection, Container, Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import QuerySet

from ..models import CurrentAnswer, Result
from .sharing import with_text

FIRST = 1
CHUNK = 200
CLEARLY_GOOD = ("in_band", "conforms")


@dataclass(frozen=True)
class Standing:
    """What counts of one unit at one checkpoint; `round` of the latest answer."""

    item_id: int
    result_id: int
    checkpoint_id: int
    round: int
    outcome: str
    person_id: int
    recorded_at: datetime

    @property
    def clearly_good(self) -> bool:
        """In band and not near a limit, or conforming."""
        return self.outcome in CLEARLY_GOOD


def _standing(characteristic_id: int) -> QuerySet[Result]:
    return _that_stand(Result.objects.all(), characteristic_id)


def _that_stand(rows: QuerySet[Result], characteristic_id: int) -> QuerySet[Result]:
    return rows.filter(
        characteristic=characteristic_id, inspection=FIRST, current_for__isnull=False, item__unit__isnull=False
    )


@dataclass(frozen=True)
class TextMark:
    """A unit on which a text stands, and when it was recorded."""

    item_id: int
    recorded_at: datetime


def items_with_text(characteristic_id: int, text: str) -> list[TextMark]:
    """Every unit on which this text stands at a record checkpoint, in the order recorded."""
    rows = _that_stand(with_text([text]), characteristic_id).order_by("id")
    return [TextMark(item, at) for item, at in rows.values_list("item_id", "recorded_at")]


def standing_of_items(characteristic_id: int, item_ids: Collection[int] | None = None) -> dict[int, Standing]:
    """What counts of each of these units, of every unit when none are named; the latest round."""
    rows = _standing(characteristic_id)
    if item_ids is not None:
        rows = rows.filter(item__in=item_ids)
    columns = ("item_id", "id", "checkpoint_id", "round", "outcome", "person_id", "recorded_at")
    found: Any = rows.order_by("id").values_list(*columns)
    return {row[0]: Standing(*row) for row in found}


def clearly_good_before(characteristic_id: int, before_result: int, chunk: int) -> Iterator[list[int]]:
    """Units with a clearly good first-round answer before a result, the latest first, so many at a time."""
    rows = _standing(characteristic_id).filter(id__lt=before_result, round=1, outcome__in=CLEARLY_GOOD)
    last = before_result
    while found := list(rows.filter(id__lt=last).order_by("-id").values_list("id", "item_id")[:chunk]):
        last = found[-1][0]
        yield [item for _, item in found]


def last_clearly_good(characteristic_id: int, before_result: int, item_ids: Container[int] | None = None) -> int:
    """The unit with the last clearly good first-round answer before a result, 0 without any."""
    for items in clearly_good_before(characteristic_id, before_result, CHUNK):
        for item in items:
            if item_ids is None or item in item_ids:
                return item
    return 0


def answered_after(characteristic_id: int, result_id: int) -> list[Standing]:
    """First-round answers after a result, in the order they came."""
    rows = _standing(characteristic_id).filter(id__gt=result_id, round=1).order_by("id")
    columns = ("item_id", "id", "checkpoint_id", "round", "outcome", "person_id", "recorded_at")
    found: Any = rows.values_list(*columns)
    return [Standing(*row) for row in found]


def items_measured_with(gauge_id: int, since: datetime, until: datetime) -> list[int]:
    """The units measured with a gauge in this time, in no order."""
    rows = Result.objects.filter(gauge=gauge_id, recorded_at__gte=since, recorded_at__lte=until)
    return list(rows.filter(item__unit__isnull=False).order_by().values_list("item_id", flat=True).distinct())


def texts_on(item_id: int) -> dict[str, str]:
    """What stands recorded on a unit at its record checkpoints, by their keys; the latest round. One query."""
    rows = CurrentAnswer.objects.filter(item=item_id, inspection=FIRST, checkpoint__kind="record")
    columns = ("checkpoint__characteristic__key", "result__answer")
    found = rows.order_by("round", "id").values_list(*columns)
    return {key: str(json.loads(answer).get("text", "")) for key, answer in found}


@dataclass(frozen=True)
class FailingAnswer:
    """The answer a report was raised by, as far as its surroundings go."""

    result_id: int
    item_id: int
    characteristic_id: int
    checkpoint_id: int
    family_id: int
    gauge_id: int | None
    gauge_number: str
    recorded_at: datetime


def failing_answer(result_id: int) -> FailingAnswer:
    """Where and with what an answer was given. One query."""
    columns = (
        "id", "item_id", "characteristic_id", "checkpoint_id", "item__family_id", "gauge_id", "gauge__number",
        "recorded_at",
    )  # fmt: skip
    row: Any = Result.objects.values_list(*columns).get(pk=result_id)
    result, item, characteristic, checkpoint, family, gauge, number, at = row
    return FailingAnswer(result, item, characteristic, checkpoint, family, gauge, number or "", at)
