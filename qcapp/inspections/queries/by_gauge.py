"""What a gauge has measured: the answers that stand, with the band of their own plan revision.

Verdicts given with a gauge (a plug went in, a plate was flat) are among them, and values computed from what it read.
"""

from __future__ import annotations

import json
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import TYPE_CHECKING, Any, NamedTuple

from django.db.models import Exists, OuterRef

from qcapp.core.checkpoints.counted import counted_numbers
from qcapp.core.checkpoints.kinds import kind
from qcapp.plans.queries import checkpoints_of

from ..models import CurrentAnswer, Result
from .secrets import kept_secret
from .standing import inputs_of

if TYPE_CHECKING:
    from qcapp.core.metrology.bands import Band
    from qcapp.people.models import Person
    from qcapp.plans.queries import CheckpointCard

COLUMNS = ("id", "item_id", "checkpoint_id", "round", "inspection", "answer", "outcome", "recorded_at")


@dataclass(frozen=True, slots=True)
class Measured:
    """A checkpoint as the revision of its time had it. `band` is None where a verdict was asked instead of a value."""

    number: int
    key: str
    title: str
    limits_text: str
    band: Band | None
    unit_of_measure: str
    decimals: int
    id: int = 0
    revision_id: int = 0


class GaugeReading(NamedTuple):  # tens of thousands are made at a time: a tuple is made in a fifth of the time
    """One standing answer taken with the gauge; `values` are exact, and none for a verdict or a count.

    `described` is the answer in words where it has no values. `added` is the expanded uncertainty that the part's
    temperature adds; None where the plan states none.
    """

    result_id: int
    item_id: int
    checkpoint: Measured
    round: int
    inspection: int
    values: tuple[Decimal, ...]
    outcome: str
    recorded_at: datetime
    added: Decimal | None = None
    described: str = ""


class ComputedReading(NamedTuple):
    """One standing answer that was computed from others; `inputs` are the values that the formula read."""

    item_id: int
    checkpoint: Measured
    spec: Any  # DerivedSpec of the core: its formula, and how its result is rounded
    round: int
    inspection: int
    inputs: dict[str, Decimal]
    value: Decimal
    outcome: str
    recorded_at: datetime


# Asked of the index alone: a join makes PostgreSQL read the whole table of the answers that stand.
STANDING = Exists(CurrentAnswer.objects.filter(result=OuterRef("pk")))
ANSWERED = ("measured", "attribute", "count")


def readings_of_gauge(gauge_id: int, since: datetime | None, until: datetime) -> list[GaugeReading]:
    """The answers that stand and were taken with the gauge after `since` and before `until`, in that order.

    Two queries, however many answers. What counts is the time of measuring, not of sending. Values without limits are
    left out: there is nothing that they could have missed.
    """
    rows = Result.objects.filter(STANDING, gauge=gauge_id, recorded_at__lt=until)
    if since is not None:
        rows = rows.filter(recorded_at__gte=since)
    found: list[Any] = list(rows.order_by("recorded_at", "id").values_list(*COLUMNS))
    checkpoints = _checkpoints({row[2]: row[0] for row in found})
    values = {text: _values(text) for text in {row[5] for row in found if row[2] in checkpoints}}  # few, thousands each
    return [
        GaugeReading(key, item, checkpoints[which], turn, inspection, read[0], outcome, at, read[1], read[2])
        for key, item, which, turn, inspection, answer, outcome, at in found
        if which in checkpoints and (read := values[answer])
    ]


def _values(answer_text: str) -> tuple[tuple[Decimal, ...], Decimal | None, str]:
    """What met the band, what the temperature adds to its uncertainty, and a verdict in words."""
    answer = json.loads(answer_text)
    added = answer.get("temperature_uncertainty")
    told = ""
    if "conforms" in answer:
        told = "conforms" if answer["conforms"] else "does not conform"
    elif "count" in answer:
        told = f"{answer['count']} counted"
    numbers = () if told else tuple(map(Decimal, counted_numbers(answer)))
    return numbers, None if added is None else Decimal(added), told


def _checkpoints(one_each: dict[int, int]) -> dict[int, Measured]:
    """Checkpoints by key, each read through one of its results; records, and values without a band, are left out."""
    columns = (
        "checkpoint_id", "characteristic__number", "characteristic__key", "checkpoint__title", "checkpoint__specified",
        "checkpoint__kind", "checkpoint__revision_id",
    )  # fmt: skip
    rows = Result.objects.filter(id__in=one_each.values(), checkpoint__kind__in=ANSWERED)
    found = {}
    for key, number, name, title, specified, which, revision in rows.values_list(*columns):
        reader = kind(which)
        spec = reader.read_spec(json.loads(specified))
        band = getattr(spec, "band", None) if which == "measured" else None
        if band is None and which == "measured":
            continue
        unit, decimals = getattr(spec, "unit_of_measure", ""), getattr(spec, "decimals", 0)
        limits = reader.describe_limits(spec)
        found[key] = Measured(number, name, title, limits, band, unit or "", decimals or 0, key, revision)
    return found


# ------------------------------------------------------------------------------------------------- computed from it


def computed_from(readings: Collection[GaugeReading]) -> list[ComputedReading]:
    """The standing answers that were computed from what the gauge read, those that others read first.

    One query more, and none where no formula reads any of these checkpoints.
    """
    derived = _derived({reading.checkpoint.id: reading.checkpoint for reading in readings}.values())
    if not derived:
        return []
    items = {reading.item_id for reading in readings}
    rows = Result.objects.filter(STANDING, item__among=items, checkpoint__in=list(derived))
    about = {key: _about(card) for key, card in derived.items()}
    found = [_computed(row, *about[row[2]]) for row in rows.order_by("recorded_at", "id").values_list(*COLUMNS)]
    order = {card.id: place for place, card in enumerate(derived.values())}
    return sorted(found, key=lambda one: order[one.checkpoint.id])


def _derived(read: Iterable[Measured]) -> dict[int, CheckpointCard]:
    """The derived checkpoints with limits whose formula reads one of these, however far, by key."""
    keys_by_revision: dict[int, set[str]] = {}
    for one in read:
        keys_by_revision.setdefault(one.revision_id, set()).add(one.key)
    found: dict[int, CheckpointCard] = {}
    for revision, keys in keys_by_revision.items():
        left = [card for card in checkpoints_of(revision) if card.kind == "derived"]
        while more := [card for card in left if keys & set(inputs_of(card))]:
            keys |= {card.key for card in more}
            left = [card for card in left if card not in more]
            found |= {card.id: card for card in more}
    return found


def _about(card: CheckpointCard) -> tuple[Measured, Any]:
    spec: Any = card.spec
    about = Measured(
        card.number, card.key, card.title, card.limits_text, spec.band, spec.unit_of_measure, spec.decimals, card.id,
        0,
    )  # fmt: skip
    return about, spec


def _computed(row: Any, about: Measured, spec: Any) -> ComputedReading:
    answer = json.loads(row[5])
    inputs = {key: Decimal(value) for key, value in answer.get("inputs", {}).items()}
    return ComputedReading(row[1], about, spec, row[3], row[4], inputs, Decimal(answer["value"]), row[6], row[7])


# ------------------------------------------------------------------------------------------------ kept for a second


def secret_readings(
    places: Iterable[tuple[int, int, int]], *, viewer: Person | None, at: datetime
) -> frozenset[tuple[int, int, int]]:
    """Item, checkpoint and round of what this person must not see yet, because the second inspection is theirs."""
    return frozenset() if viewer is None else kept_secret(places, viewer=viewer, at=at)
