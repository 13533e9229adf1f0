"""What a gauge has measured: the answers that stand, with the band of their own plan revision."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from qcapp.core.checkpoints.counted import counted_numbers
from qcapp.core.checkpoints.kinds import kind

from ..models import Result

if TYPE_CHECKING:
    from qcapp.core.metrology.bands import Band

COLUMNS = (
    "id", "item_id", "item__unit__serial", "item__unit__state", "checkpoint_id", "round", "inspection", "answer",
    "outcome", "recorded_at",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Measured:
    """A checkpoint as the revision of its time had it."""

    number: int
    key: str
    title: str
    limits_text: str
    band: Band
    unit_of_measure: str
    decimals: int


@dataclass(frozen=True, slots=True)
class GaugeReading:
    """One standing answer taken with the gauge; `values` are exact. `serial` is empty for what is not a unit.

    `added` is the expanded uncertainty that the part's temperature adds; None where the plan states none.
    """

    result_id: int
    item_id: int
    serial: str
    unit_state: str
    checkpoint: Measured
    round: int
    inspection: int
    values: tuple[Decimal, ...]
    outcome: str
    recorded_at: datetime
    added: Decimal | None = None


def readings_of_gauge(gauge_id: int, since: datetime | None, until: datetime) -> list[GaugeReading]:
    """The measured answers that stand and were taken with the gauge after `since` and before `until`, in that order.

    Two queries, however many answers. What counts is the time of measuring, not of sending.
    """
    rows = Result.objects.filter(gauge=gauge_id, recorded_at__lt=until, current_for__isnull=False)
    rows = rows.filter(checkpoint__kind="measured")
    if since is not None:
        rows = rows.filter(recorded_at__gte=since)
    found: list[Any] = list(rows.order_by("recorded_at", "id").values_list(*COLUMNS))
    checkpoints = _checkpoints({row[4]: row[0] for row in found})
    values = {text: _values(text) for text in {row[7] for row in found}}  # thousands show the same few values
    return [_reading(row, checkpoints[row[4]], values[row[7]]) for row in found if row[4] in checkpoints]


def _values(answer_text: str) -> tuple[tuple[Decimal, ...], Decimal | None]:
    """What met the band, and what the temperature adds to its uncertainty."""
    answer = json.loads(answer_text)
    added = answer.get("temperature_uncertainty")
    return tuple(map(Decimal, counted_numbers(answer))), None if added is None else Decimal(added)


def _reading(row: Any, checkpoint: Measured, read: tuple[tuple[Decimal, ...], Decimal | None]) -> GaugeReading:
    values, added = read
    where = row[0], row[1], row[2] or "", row[3] or ""
    return GaugeReading(*where, checkpoint, row[5], row[6], values, row[8], row[9], added)


def _checkpoints(one_each: dict[int, int]) -> dict[int, Measured]:
    """The checkpoints by key, each read through one of its results; those without a band are left out."""
    columns = (
        "checkpoint_id", "characteristic__number", "characteristic__key", "checkpoint__title", "checkpoint__specified",
    )  # fmt: skip
    rows: Iterable[Any] = Result.objects.filter(id__in=one_each.values()).values_list(*columns)
    found = {}
    for key, number, name, title, specified in rows:
        spec = kind("measured").read_spec(json.loads(specified))
        if spec.band is not None:
            limits = kind("measured").describe_limits(spec)
            found[key] = Measured(number, name, title, limits, spec.band, spec.unit_of_measure, spec.decimals)
    return found
