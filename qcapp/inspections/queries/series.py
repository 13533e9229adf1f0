"""Rows of readings for charts: one characteristic over many units, or many characteristics over the last units.

Only the first round of the first inspection counts, and of each slot the answer that stands now. An answer that
still waits for its second inspection is left out for everybody, and so is what was computed from it: a chart must not
tell it. It comes in once the second inspection is given, or once a report opens the checkpoint again. An answer in
conflict is left out too, because nobody knows yet which of the two is right.

Charts only: `plot` is a float and never meets a limit.
"""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any
from uuid import UUID

from django.db.models import Max, QuerySet, TextField
from django.db.models.functions import Cast

from qcapp.core.checkpoints.counted import counted_numbers
from qcapp.core.checkpoints.kinds import kind
from qcapp.lib.statements import Prepared

from ..models import Adoption, CurrentAnswer, Reinspection, Result

FIRST = 1
Place = tuple[int, int]  # item, checkpoint


@dataclass(frozen=True, slots=True)
class Point:
    """One standing first answer. `answer` is its JSON; `gauge_number` is empty where none was named."""

    result_id: int
    characteristic_id: int
    checkpoint_id: int
    item_id: int
    serial: str
    answer: str
    plot: float | None
    outcome: str
    purpose: str
    flags: list[str]
    gauge_id: int | None
    gauge_number: str
    person_name: str
    recorded_at: datetime
    second_inspection: bool
    conflict: bool


@dataclass(frozen=True)
class CheckpointAt:
    """A checkpoint as the revision of its time had it; `spec` is the kind's own."""

    id: int
    characteristic_id: int
    number: int
    key: str
    title: str
    kind: str
    spec: Any
    joint: str
    paired_with: str
    revision_id: int
    revision_uuid: UUID
    revision_letter: str


@dataclass(frozen=True)
class CharacteristicRow:
    """A characteristic of a family and the checkpoint that its newest result answered."""

    id: int
    key: str
    newest_checkpoint_id: int
    kind: str


COLUMNS = (
    "id", "characteristic_id", "checkpoint_id", "item_id", "item__unit__serial", "answer", "plot", "outcome",
    "purpose", "flags_text", "gauge_id", "gauge__number", "person__name", "recorded_at",
    "checkpoint__second_inspection", "current_for__conflict",
)  # fmt: skip


def last_points(characteristic_id: int, count: int, *, before: int | None = None) -> list[Point]:
    """The last `count` points of a characteristic by arrival, in the order in which they were recorded.

    `before` is a result's key: only earlier ones. Those that wait for a second inspection are among the `count` and
    then left out. Three queries at most, along the indexes of what they ask for, however long the history is.
    """
    return read_back(characteristic_id, count, before=before)[0]


def read_back(characteristic_id: int, count: int, *, before: int | None = None) -> tuple[list[Point], bool]:
    """As `last_points`, and whether `count` were there, so that there may be older ones."""
    rows = _countable().filter(characteristic=characteristic_id)
    if before is not None:
        rows = rows.filter(id__lt=before)
    points = _points(rows.order_by("-id")[:count])
    return _in_order(_tellable(points)), len(points) == count


@dataclass(frozen=True)
class Gathered:
    """Points by characteristic in the order recorded, and by characteristic the items whose first answer waits."""

    points: dict[int, list[Point]]
    waiting: dict[int, frozenset[int]]


def points_of_items(item_ids: Collection[int], characteristic_ids: Collection[int]) -> Gathered:
    """The points of these characteristics on these items; three queries at most."""
    rows = _points(_countable().filter(item__in=item_ids, characteristic__in=characteristic_ids))
    shown = _tellable(rows)
    points: dict[int, list[Point]] = defaultdict(list)
    for point in _in_order(shown):
        points[point.characteristic_id].append(point)
    kept = {point.result_id for point in shown}
    waiting: dict[int, set[int]] = defaultdict(set)
    for point in rows:
        if point.second_inspection and point.result_id not in kept:
            waiting[point.characteristic_id].add(point.item_id)
    return Gathered(dict(points), {key: frozenset(items) for key, items in waiting.items()})


def _countable() -> QuerySet[Result]:
    """Standing first answers of the first round."""
    rows = Result.objects.filter(round=FIRST, inspection=FIRST, current_for__isnull=False, item__unit__isnull=False)
    return rows.exclude(purpose=Result.Purpose.CARRIED)  # the same reading, which has its point already


def _tellable(points: list[Point]) -> list[Point]:
    """Without the points that a second inspection is owed to, and without those in conflict."""
    told = _told({(point.item_id, point.checkpoint_id) for point in points if point.second_inspection})
    return [
        point
        for point in points
        if not point.conflict and (not point.second_inspection or (point.item_id, point.checkpoint_id) in told)
    ]


def _told(places: Collection[Place]) -> set[Place]:
    """Those of the places whose second inspection was given, or that something opened again; two queries at most.

    Asked apart from the points, place by place: inside their query the database would read the whole history of second
    inspections to answer it.
    """
    if not places:
        return set()
    where = {"item__in": {item for item, _ in places}, "checkpoint__in": {checkpoint for _, checkpoint in places}}
    given = CurrentAnswer.objects.filter(**where, round=FIRST, inspection=2)
    opened = Reinspection.objects.filter(**where)
    return set(given.values_list("item_id", "checkpoint_id")) | set(opened.values_list("item_id", "checkpoint_id"))


def _points(rows: QuerySet[Result]) -> list[Point]:
    as_text = Cast("flags", TextField())  # most are empty, and reading JSON ten thousand times costs more than the rows
    found: Iterable[Any] = rows.annotate(flags_text=as_text).values_list(*COLUMNS)
    return [Point(*(*row[:9], _flags(row[9]), row[10], row[11] or "", *row[12:])) for row in found]


def _flags(text: str) -> list[str]:
    return [] if text == "[]" else list(json.loads(text))


def _in_order(points: list[Point]) -> list[Point]:
    return sorted(points, key=lambda point: (point.recorded_at, point.result_id))


def waiting_items(item_ids: Collection[int], characteristic_ids: Collection[int]) -> dict[int, frozenset[int]]:
    """For each of these characteristics the items on which its first answer waits for the second inspection.

    For derived values: what they were computed from decides whether they may be shown. Three queries at most, none for
    no characteristic.
    """
    if not characteristic_ids:
        return {}
    first = CurrentAnswer.objects.filter(
        item__in=item_ids, round=FIRST, inspection=FIRST, checkpoint__second_inspection=True,
        checkpoint__characteristic__in=characteristic_ids,
    )  # fmt: skip
    rows = list(first.values_list("item_id", "checkpoint_id", "checkpoint__characteristic_id"))
    told = _told({(item, checkpoint) for item, checkpoint, _ in rows})
    found: dict[int, set[int]] = defaultdict(set)
    for item, checkpoint, characteristic in rows:
        if (item, checkpoint) not in told:
            found[characteristic].add(item)
    return {characteristic: frozenset(items) for characteristic, items in found.items()}


def characteristic_of(family_id: int, key: str) -> CharacteristicRow | None:
    """The family's characteristic with this key that has results, whatever revision; None without any."""
    rows = Result.objects.filter(characteristic__family=family_id, characteristic__key=key).order_by("-id")
    row = rows.values_list("characteristic_id", "characteristic__key", "checkpoint_id", "checkpoint__kind").first()
    return CharacteristicRow(*row) if row else None


def checkpoints_at(points: Iterable[Point]) -> dict[int, CheckpointAt]:
    """What the points' checkpoints specify, each in its own revision, by checkpoint; one query."""
    one_each = {point.checkpoint_id: point.result_id for point in points}
    if not one_each:
        return {}
    columns = (
        "checkpoint_id", "characteristic_id", "characteristic__number", "characteristic__key", "checkpoint__title",
        "checkpoint__kind", "checkpoint__specified", "checkpoint__joint", "checkpoint__paired_with",
        "checkpoint__revision_id", "checkpoint__revision__uuid", "checkpoint__revision__letter",
    )  # fmt: skip
    rows: Iterable[Any] = Result.objects.filter(id__in=one_each.values()).values_list(*columns)
    return {row[0]: _checkpoint(row) for row in rows}


def _checkpoint(row: Sequence[Any]) -> CheckpointAt:
    spec = kind(row[5]).read_spec(json.loads(row[6]))
    return CheckpointAt(*(*row[:6], spec, *row[7:]))


def calibrations_of_gauges(points: Iterable[Point]) -> list[tuple[str, date, str]]:
    """Gauge, day and outcome of every calibration of the gauges that the points were taken with; one query."""
    one_each = {point.gauge_id: point.result_id for point in points if point.gauge_id is not None}
    if not one_each:
        return []
    rows = Result.objects.filter(id__in=one_each.values(), gauge__calibrations__isnull=False)
    columns = ("gauge__number", "gauge__calibrations__done_on", "gauge__calibrations__outcome")
    return list(rows.values_list(*columns).order_by("gauge__calibrations__done_on"))


def texts_of(item_ids: Collection[int], characteristic_ids: Collection[int]) -> dict[int, str]:
    """What was recorded on each item in these record checkpoints, the latest answer; one query."""
    rows = Result.objects.filter(
        item__in=item_ids, characteristic__in=characteristic_ids, current_for__isnull=False, inspection=FIRST
    ).order_by("id")
    return {item: str(json.loads(answer).get("text", "")) for item, answer in rows.values_list("item_id", "answer")}


def lots_of(item_ids: Collection[int]) -> dict[int, str]:
    """The lot that each of these pieces was drawn from; one query. Units that are no pieces are not in it."""
    rows = Adoption.objects.filter(item__among=item_ids, item__piece__isnull=False)
    return dict(rows.values_list("item_id", "item__piece__lot__code"))


def text_of(item_id: int, key: str) -> str:
    """What stands recorded on an item in the record checkpoint with this key; empty when nothing does. One query."""
    rows = _ANSWERS_AT(item_id=item_id, key=key)
    return str(json.loads(rows[0][0]).get("text", "")) if rows else ""


def _answers_at(item_id: int, key: str) -> QuerySet[CurrentAnswer, Any]:
    rows = CurrentAnswer.objects.filter(item=item_id, checkpoint__characteristic__key=key, inspection=FIRST)
    return rows.order_by("-round", "-id").values_list("result__answer")


_ANSWERS_AT = Prepared(_answers_at, item_id=-1, key="any key")  # read for every report that is raised


def welders_of_items(item_ids: Collection[int], joint: str) -> dict[int, str]:
    """Who welded the joint on each item, by its latest record; one query."""
    if not joint:
        return {}
    rows = Adoption.objects.filter(item__in=item_ids, item__welds__joint=joint).order_by("item__welds__id")
    return dict(rows.values_list("item_id", "item__welds__welder__name"))


def reopened_by(item_ids: Collection[int], characteristic_id: int) -> dict[int, list[str]]:
    """What opened further rounds of the characteristic on each item, such as reports' numbers; one query."""
    rows = Reinspection.objects.filter(item__in=item_ids, checkpoint__characteristic=characteristic_id)
    found: dict[int, list[str]] = defaultdict(list)
    for item, source in rows.order_by("round").values_list("item_id", "source"):
        found[item].append(source)
    return dict(found)


def replaced_texts(points: Iterable[Point]) -> dict[int, list[str]]:
    """For each point that a correction or a repeat made, what stood there before, the oldest first; one query."""
    changed = {(p.item_id, p.checkpoint_id): p.result_id for p in points if p.purpose in {"correction", "repeat"}}
    if not changed:
        return {}
    rows = Result.objects.filter(
        item__in={item for item, _ in changed}, checkpoint__in={checkpoint for _, checkpoint in changed},
        round=FIRST, inspection=FIRST,
    )  # fmt: skip
    found: dict[int, list[str]] = defaultdict(list)
    for item, checkpoint, key, answer in rows.order_by("id").values_list("item_id", "checkpoint_id", "id", "answer"):
        standing = changed.get((item, checkpoint))
        if standing is not None and key != standing:
            found[standing].append(_read(json.loads(answer)))
    return dict(found)


def _read(answer: Mapping[str, Any]) -> str:
    values = counted_numbers(answer) or [answer.get("count", answer.get("text"))]
    if values == [None] and "conforms" in answer:
        return "conforms" if answer["conforms"] else "does not conform"
    return ", ".join(str(value) for value in values)


def newest_items(family_id: int, count: int, *, until: datetime | None = None) -> list[int]:
    """The items of the family's newest units that have a plan, the newest first; `until` leaves later units out."""
    # Items are numbered as units are opened, so their key leads along the index without sorting.
    rows = Adoption.objects.filter(item__family=family_id, item__unit__isnull=False).order_by("-item_id")
    if until is not None:
        rows = rows.filter(item__unit__opened_at__lt=until)
    found = rows.values_list("item_id", flat=True)[: count * 2]  # a unit that changed its plan has two rows
    return list(dict.fromkeys(found))[:count]


def newest_result_of_items(item_ids: Collection[int]) -> int:
    """The key of the newest result on these items, 0 without any: charts of them are kept until it changes."""
    return Result.objects.filter(item__in=item_ids).aggregate(newest=Max("id"))["newest"] or 0


def newest_result_of(characteristic_id: int) -> int:
    """The key of the characteristic's newest result, 0 without any."""
    return Result.objects.filter(characteristic=characteristic_id).aggregate(newest=Max("id"))["newest"] or 0
