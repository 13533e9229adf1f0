"""The projection of current answers, held against the results, and built anew from them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import groupby
from typing import Any

from django.db import transaction

from ..models import CurrentAnswer, Result
from ..queries.slots import heads


@dataclass(frozen=True)
class Difference:
    """A slot whose current answer is not what its results say; None stands for no answer."""

    item_id: int
    checkpoint_id: int
    round: int
    inspection: int
    stored: tuple[int, bool] | None
    expected: tuple[int, bool] | None


@dataclass(frozen=True)
class _Row:
    id: int
    operation: Any
    replaces: tuple[str, ...]


Key = tuple[int, int, int, int]


def differences() -> list[Difference]:
    """Every slot in which the projection and the results disagree. Reads all results once, in order."""
    stored = {
        key[:4]: (key[4], key[5])
        for key in CurrentAnswer.objects.values_list(
            "item_id", "checkpoint_id", "round", "inspection", "result_id", "conflict"
        )
    }
    found = []
    for key, expected in _expected():
        if stored.pop(key, None) != (now := expected):
            found.append(Difference(*key, _stored(key), now))
    found += [Difference(*key, value, None) for key, value in stored.items()]
    return found


def _stored(key: Key) -> tuple[int, bool] | None:
    item, checkpoint, turn, inspection = key
    rows = CurrentAnswer.objects.filter(item=item, checkpoint=checkpoint, round=turn, inspection=inspection)
    return rows.values_list("result_id", "conflict").first()


def _expected() -> Iterator[tuple[Key, tuple[int, bool]]]:
    keys = ("item_id", "checkpoint_id", "round", "inspection")
    rows = Result.objects.order_by(*keys, "id").values_list(*keys, "id", "operation", "replaces")
    for key, group in groupby(rows.iterator(chunk_size=2000), key=lambda row: row[:4]):
        standing = heads([_Row(row[4], row[5], tuple(row[6])) for row in group])
        yield key, (standing[-1].id, len(standing) > 1)


def rebuild() -> list[Difference]:
    """Bring the projection in line with the results; gives what was wrong."""
    with transaction.atomic():
        found = differences()
        for difference in found:
            slot = {
                "item_id": difference.item_id,
                "checkpoint_id": difference.checkpoint_id,
                "round": difference.round,
                "inspection": difference.inspection,
            }
            CurrentAnswer.objects.filter(**slot).delete()
        for difference in found:
            if difference.expected:
                result_id, conflict = difference.expected
                CurrentAnswer.objects.create(
                    item_id=difference.item_id,
                    checkpoint_id=difference.checkpoint_id,
                    round=difference.round,
                    inspection=difference.inspection,
                    result_id=result_id,
                    conflict=conflict,
                )
    return found
