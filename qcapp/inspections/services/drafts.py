"""Rows on their way into the result table: judged here, stored in one statement, then projected.

`insert` is the only place that writes results.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from decimal import Decimal
from functools import lru_cache
from typing import TYPE_CHECKING, Any, NamedTuple
from uuid import UUID

from django.db import DatabaseError, OperationalError, connection, transaction

from qcapp.core.checkpoints.kinds import kind, passes
from qcapp.core.errors import Invalid
from qcapp.core.metrology.quantities import as_text, convert

from ..models import CurrentAnswer, Result
from ..queries.slots import heads
from .circumstances import Bench, Row

if TYPE_CHECKING:
    from qcapp.gauges.queries import GaugeCard
    from qcapp.people.models import Person
    from qcapp.plans.queries import CheckpointCard


@dataclass(slots=True)
class Draft:
    """A judged answer that is not stored yet; `result_id` is set when it is."""

    bench: Bench
    card: CheckpointCard
    operation: UUID
    body_digest: str
    round: int
    inspection: int
    purpose: str
    answer: str  # canonical JSON
    described: str
    raw: str
    outcome: str
    excess: str
    nearest_limit: str
    plot: float | None
    gauge: GaugeCard | None
    expanded_uncertainty: str
    person: Person
    recorded_at: datetime
    base: UUID | None
    replaces: tuple[str, ...]
    reason: str
    flags: list[str] = field(default_factory=list)
    result_id: int | None = None
    row: Row = field(init=False)

    def __post_init__(self) -> None:
        """`row` is the answer as the rules look at it."""
        self.row = Row(
            self.operation, self.card.id, self.round, self.inspection, self.purpose, self.answer, self.outcome,
            self.nearest_limit, self.person.pk, self.gauge.id if self.gauge else None, self.replaces,
            self.body_digest, self.excess, tuple(self.flags),
        )  # fmt: skip

    @property
    def passes(self) -> bool:
        return passes(self.outcome)


class Judgement(NamedTuple):
    """What an answer came to, as the columns hold it."""

    answer: str
    described: str
    outcome: str
    excess: str
    nearest_limit: str
    plot: float | None
    expanded_uncertainty: str


def judged_answer(data: dict[str, Any], card: CheckpointCard, gauge: GaugeCard | None) -> Judgement:
    """The answer read and held against the checkpoint. Raises Invalid when it cannot be read."""
    reader = kind(card.kind)
    answer = reader.read_answer(data, card.spec)
    uncertainty = _uncertainty(card, gauge)
    found = reader.assess(answer, card.spec, expanded_uncertainty=uncertainty)
    return Judgement(
        answer=plain_json(answer.to_json()),
        described=reader.describe_answer(answer, card.spec),
        outcome=found.outcome.value,
        excess=as_text(found.excess) if found.excess else "",
        nearest_limit=found.nearest_limit or "",
        plot=found.plot,
        expanded_uncertainty="" if uncertainty is None else as_text(uncertainty),
    )


# One encoder for all: `json.dumps` would make one for every row.
_ENCODE = json.JSONEncoder(ensure_ascii=False, sort_keys=True, separators=(",", ":")).encode


def plain_json(data: object) -> str:
    """Canonical JSON of what `to_json` of a kind gives: texts, whole numbers, true and false."""
    return _ENCODE(data)


def _uncertainty(card: CheckpointCard, gauge: GaugeCard | None) -> Decimal | None:
    """The gauge's expanded uncertainty in the checkpoint's unit of measure; None where it is not known."""
    if card.kind != "measured" or gauge is None or gauge.expanded_uncertainty is None:
        return None
    return _converted(gauge.expanded_uncertainty, gauge.unit_of_measure, card.unit_of_measure)


@lru_cache(maxsize=512)
def _converted(value: Decimal, from_unit: str, to_unit: str) -> Decimal | None:
    if not from_unit or from_unit == to_unit:
        return value
    try:
        return convert(value, from_unit, to_unit)
    except Invalid:
        return None  # a gauge of another quantity says nothing about this value


# --------------------------------------------------------------------------------------------------- storing

COLUMNS = (
    "operation", "body_digest", "item_id", "checkpoint_id", "characteristic_id", "round", "inspection", "purpose",
    "answer", "raw", "outcome", "excess", "nearest_limit", "plot", "gauge_id", "expanded_uncertainty", "person_id",
    "sent_by_id", "device", "recorded_at", "received_at", "base", "replaces", "reason", "flags", "digest",
)  # fmt: skip
_ROW = "(" + ", ".join(["%s"] * len(COLUMNS)) + ")"
_INSERT = f"INSERT INTO {Result._meta.db_table} ({', '.join(COLUMNS)}) VALUES "  # noqa: S608 - names of our own
# The target is named, so that no other constraint is swallowed with it.
_UNLESS_KNOWN = " ON CONFLICT (operation) DO NOTHING RETURNING operation, id"


@dataclass(frozen=True)
class Stamp:
    """What all rows of a submission share."""

    sent_by: Person
    device: str
    received_at: datetime


def insert(drafts: Sequence[Draft], stamp: Stamp) -> list[Draft]:
    """Store the drafts in one statement and give those that are stored, with their keys.

    A draft whose operation somebody else stored meanwhile is left out; so is one that the database refuses, after
    the statement as a whole was refused. Raises OperationalError when it is the database that fails (no room, no
    line), and not a row: then nothing is answered, and whoever sent it sends it again.
    """
    if not drafts:
        return []
    try:
        with transaction.atomic():
            keys = _insert(drafts, stamp)
    except OperationalError:
        raise
    except DatabaseError:
        keys = _insert_one_by_one(drafts, stamp)
    for draft in drafts:
        draft.result_id = keys.get(draft.operation)
    return [draft for draft in drafts if draft.result_id is not None]


def _insert(drafts: Sequence[Draft], stamp: Stamp) -> dict[UUID, int]:
    adapt = _Adapter(stamp.received_at)
    values: list[Any] = []
    for draft in drafts:
        values += _values(draft, stamp, adapt)
    with connection.cursor() as cursor:
        cursor.execute(_INSERT + ", ".join([_ROW] * len(drafts)) + _UNLESS_KNOWN, values)
        return {adapt.read_uuid(operation): key for operation, key in cursor.fetchall()}


def _insert_one_by_one(drafts: Sequence[Draft], stamp: Stamp) -> dict[UUID, int]:
    found: dict[UUID, int] = {}
    for draft in drafts:
        try:
            with transaction.atomic():
                found |= _insert([draft], stamp)
        except OperationalError:
            raise
        except DatabaseError:
            continue  # the caller answers that this one was not stored
    return found


class _Adapter:
    """How this database takes identifiers and times."""

    def __init__(self, received_at: datetime) -> None:
        self.native_uuid = connection.features.has_native_uuid_field
        self.native_time = connection.vendor == "postgresql"
        self.received_at = self.time(received_at.astimezone(UTC))

    def time(self, value: datetime) -> object:
        """As Django stores a time: with its zone, or on SQLite as text in UTC; `value` is in UTC already."""
        return value if self.native_time else str(value.replace(tzinfo=None))

    def uuid(self, value: UUID | None) -> object:
        return value if value is None or self.native_uuid else value.hex

    def read_uuid(self, value: object) -> UUID:
        return value if isinstance(value, UUID) else UUID(hex=str(value))


def _values(draft: Draft, stamp: Stamp, adapt: _Adapter) -> list[Any]:
    replaces = plain_json(list(draft.replaces)) if draft.replaces else "[]"
    flags = plain_json(draft.flags) if draft.flags else "[]"
    gauge_id = draft.gauge.id if draft.gauge else None
    return [
        adapt.uuid(draft.operation), draft.body_digest, draft.bench.unit.item_id, draft.card.id,
        draft.card.characteristic_id, draft.round, draft.inspection, draft.purpose, draft.answer, draft.raw,
        draft.outcome, draft.excess, draft.nearest_limit, draft.plot, gauge_id, draft.expanded_uncertainty,
        draft.person.pk, stamp.sent_by.pk, stamp.device, adapt.time(draft.recorded_at), adapt.received_at,
        adapt.uuid(draft.base), replaces, draft.reason, flags, row_digest(draft, stamp),
    ]  # fmt: skip


def row_digest(draft: Draft, stamp: Stamp) -> str:
    """SHA-256 of the row's content as one canonical JSON list of texts and whole numbers, in a fixed order."""
    content = [
        str(draft.operation), draft.body_digest, str(draft.bench.unit.item_uuid), draft.card.key,
        draft.card.limits_text, draft.round, draft.inspection, draft.purpose, draft.answer, draft.raw,
        draft.outcome, draft.excess, draft.nearest_limit, draft.gauge.number if draft.gauge else "",
        draft.expanded_uncertainty, str(draft.person.uuid), str(stamp.sent_by.uuid), stamp.device,
        draft.recorded_at.isoformat(), stamp.received_at.isoformat(), str(draft.base or ""),
        list(draft.replaces), draft.reason, draft.flags,
    ]  # fmt: skip
    return hashlib.sha256(plain_json(content).encode()).hexdigest()


# ------------------------------------------------------------------------------------------------ projecting

_PROJECT = (
    f"INSERT INTO {CurrentAnswer._meta.db_table} "  # noqa: S608 - names of our own
    "(item_id, checkpoint_id, round, inspection, result_id, conflict) VALUES "
)
_OR_MOVE = (
    " ON CONFLICT (item_id, checkpoint_id, round, inspection) "
    "DO UPDATE SET result_id = excluded.result_id, conflict = excluded.conflict"
)


def project(stored: Iterable[Draft]) -> None:
    """Move the current answer of every slot that got a new row: the latest head, and whether there are several."""
    stored = list(stored)
    keys = {draft.operation: draft.result_id for draft in stored}
    slots = {(id(draft.bench), draft.row.slot): draft.bench for draft in stored}
    moved = []
    for (_, slot), bench in slots.items():
        standing = heads(bench.rows[slot])
        moved.append((bench.unit.item_id, slot, standing[-1].operation, len(standing) > 1))
    earlier = [operation for _, _, operation, _ in moved if operation not in keys]
    if earlier:  # the latest head was stored before: a correction of an earlier answer arrived late
        keys |= dict(Result.objects.filter(operation__in=earlier).values_list("operation", "id"))
    values: list[Any] = []
    for item_id, slot, operation, conflict in moved:
        values += [item_id, *slot, keys[operation], conflict]
    if values:
        with connection.cursor() as cursor:
            row = "(%s, %s, %s, %s, %s, %s)"
            cursor.execute(_PROJECT + ", ".join([row] * len(moved)) + _OR_MOVE, values)
