"""What operations are held against: the unit, its plan, what was answered before, who welded, which stages are open.

Loaded once for a submission, in a handful of queries for each unit. New answers are added to `rows` as they are
taken, so that a correction may follow its reading in the same submission.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property
from typing import TYPE_CHECKING, Any, NamedTuple
from uuid import UUID

from qcapp.core.errors import NotFound, QcError, Refused
from qcapp.gauges.queries import GaugeCard, gauges_by_number
from qcapp.gauges.setup import SetupCard, setups_of
from qcapp.lib.plain_text import shown
from qcapp.lib.site_days import site_day
from qcapp.people.queries import may, people_by_badge
from qcapp.people.roles import Act
from qcapp.plans.queries import CheckpointCard, checkpoints_of, revision_card
from qcapp.production.queries import HoldCard, UnitCard, open_holds, unit_by_serial, welders_of, welds_of
from qcapp.production.services import lock_unit

from ..models import Result, ResultDecision
from ..queries import Adopted, adopted, plan_of
from ..queries.loading import Slot, current_slots, excluded_of_items, rounds_of, sign_offs_of, units_adopted
from ..queries.slots import heads
from ..queries.standing import covers, due_checkpoints, inputs_of, stage_operations
from .operations import Operation

if TYPE_CHECKING:
    from django.db.models import QuerySet

    from qcapp.people.models import Person

STORED_COLUMNS = (
    "operation", "checkpoint_id", "round", "inspection", "purpose", "answer", "outcome", "nearest_limit",
    "person_id", "gauge_id", "replaces", "body_digest", "excess", "flags",
)  # fmt: skip


class Row(NamedTuple):
    """A stored or just taken answer, as far as the rules look at it."""

    operation: UUID
    checkpoint_id: int
    round: int
    inspection: int
    purpose: str
    answer: str
    outcome: str
    nearest_limit: str
    person_id: int
    gauge_id: int | None
    replaces: tuple[str, ...]
    body_digest: str
    excess: str
    flags: tuple[str, ...]

    @property
    def slot(self) -> Slot:
        return self.checkpoint_id, self.round, self.inspection


@dataclass
class Bench:
    """Everything about one unit that its operations are held against. `rows` grows while they are taken."""

    unit: UnitCard
    plan: Adopted
    cards: dict[UUID, dict[str, CheckpointCard]]  # by revision and key
    rounds: dict[int, tuple[int, str]]
    first_unsigned_stage: int | None
    holds: list[HoldCard]
    rows: dict[Slot, list[Row]]

    @cached_property
    def welders(self) -> dict[str, int]:
        """Who welded each joint; asked only where a joint is inspected."""
        return welders_of(self.unit.item_id)

    @cached_property
    def welded_at(self) -> dict[str, datetime]:
        """When each joint was welded last; asked only where the plan lets time pass after it."""
        return {weld.joint: weld.at for weld in sorted(welds_of(self.unit.item_id), key=lambda weld: weld.at)}

    @cached_property
    def due(self) -> frozenset[int]:
        """The plan's checkpoints that are due on the unit."""
        return self._due_among(self.plan.checkpoints)

    @cached_property
    def excluded(self) -> frozenset[int]:
        """The characteristics of which it was decided that they do not apply to the unit."""
        return excluded_of_items([self.unit.item_id]).get(self.unit.item_id, frozenset())

    def _due_among(self, cards: Iterable[CheckpointCard]) -> frozenset[int]:
        unit = self.unit
        return due_checkpoints(cards, unit.number, self.rounds, variant=unit.variant, excluded=self.excluded)

    def card_of(self, operation: Operation) -> CheckpointCard:
        """The checkpoint that the operation names. Raises NotFound `checkpoint_unknown`."""
        card = self.cards[operation.revision].get(operation.checkpoint)
        if card is None:
            key = shown(operation.checkpoint)
            raise NotFound("checkpoint_unknown", f"The plan has no checkpoint “{key}”.", checkpoint=key)
        return card

    def round_of(self, card: CheckpointCard) -> int:
        return self.rounds.get(card.id, (1, ""))[0]

    def standing(self) -> dict[Slot, list[Row]]:
        """The heads of every slot that is loaded."""
        return {slot: heads(rows) for slot, rows in self.rows.items()}

    def is_due(self, card: CheckpointCard) -> bool:
        return card.id in self.due or card.id in self._due_among([card])


@dataclass
class Circumstances:
    """The benches of a submission by serial, the people by badge, the gauges by day and number."""

    benches: dict[str, Bench | QcError]
    revisions: dict[tuple[str, UUID], QcError]
    people: dict[str, Person]
    gauges: dict[Any, dict[str, GaugeCard]]
    rights: dict[tuple[int, Any], bool]

    def bench_of(self, operation: Operation) -> Bench:
        """The unit's circumstances. Raises what stands against the serial or the revision named."""
        bench = self.benches[operation.serial]
        if isinstance(bench, QcError):
            raise bench
        if refusal := self.revisions.get((operation.serial, operation.revision)):
            raise refusal
        return bench

    def person_of(self, operation: Operation) -> Person:
        person = self.people.get(operation.recorded_by)
        if person is None:
            badge = shown(operation.recorded_by)
            raise NotFound("badge_unknown", f"No person has the badge “{badge}”; check it.", badge=badge)
        return person

    def gauge_of(self, operation: Operation) -> GaugeCard | None:
        if not operation.gauge:
            return None
        card = self.gauges[site_day(operation.recorded_at)].get(operation.gauge)
        if card is None:
            number = shown(operation.gauge)
            raise NotFound("gauge_unknown", f"There is no gauge {number}; read the label again.", gauge=number)
        return card

    def setup_reason(self, gauge: GaugeCard | None, at: datetime) -> str:
        """Why the gauge's set-up check is no proof at that moment; empty where none is asked, or it had passed."""
        if gauge is None:
            return ""
        asked = self.setups.get(gauge.id)
        return asked.reason(at) if asked else ""

    @cached_property
    def setups(self) -> dict[int, SetupCard]:
        """What is asked of the gauges of the submission; one query where nothing is."""
        return setups_of({card.id for cards in self.gauges.values() for card in cards.values()})

    @property
    def known(self) -> dict[UUID, Row]:
        """Every answer loaded, by operation: a resent one is among them, because its body names the same place."""
        return {
            row.operation: row
            for bench in self.benches.values()
            if isinstance(bench, Bench)
            for rows in bench.rows.values()
            for row in rows
        }

    def may_record(self, person: Person, at: datetime) -> bool:
        """Whether the person might record on that day, asked once for each person and day."""
        key = (person.pk, site_day(at))
        if key not in self.rights:
            self.rights[key] = may(person, Act.RECORD_RESULT, at)
        return self.rights[key]


def load(operations: Iterable[Operation], sent_by: Person, at: datetime) -> Circumstances:
    """The circumstances of a submission; the rows of its units are locked until the end of the transaction.

    The sender's right to send was checked before.
    """
    operations = list(operations)
    by_serial: dict[str, list[Operation]] = defaultdict(list)
    for operation in operations:
        by_serial[operation.serial].append(operation)
    revisions: dict[tuple[str, UUID], QcError] = {}
    benches = {
        serial: found if isinstance(found, QcError) else _bench(*found, by_serial[serial], revisions)
        for serial, found in _locked(by_serial).items()
    }
    return Circumstances(
        benches=benches,
        revisions=revisions,
        people=_people(operations, sent_by),
        gauges=_gauges(operations),
        rights={},
    )


def _people(operations: Iterable[Operation], sent_by: Person) -> dict[str, Person]:
    """Everybody named; nearly always that is the sender alone."""
    badges = {operation.recorded_by for operation in operations}
    others = badges - {sent_by.badge}
    return {sent_by.badge: sent_by} | (people_by_badge(others) if others else {})


def _locked(serials: Iterable[str]) -> dict[str, tuple[UnitCard, Adopted] | QcError]:
    """Each unit with its plan, locked in the order of their keys, so that two submissions never wait for each other."""
    places = units_adopted(serials)
    found: dict[str, tuple[UnitCard, Adopted] | QcError] = {}
    for serial, (unit_id, uuid, revision_id, state) in sorted(places.items(), key=lambda pair: pair[1][0]):
        found[serial] = lock_unit(unit_id), plan_of(uuid, revision_id, state)
    for serial in serials:
        if serial not in found:
            found[serial] = _unknown(serial)
    return found


def _unknown(serial: str) -> QcError:
    """Why there is nothing to record results to."""
    try:
        unit = unit_by_serial(serial)
        adopted(unit.item_id)
    except QcError as refusal:
        return refusal
    return NotFound("serial_unknown", f"There is no unit {shown(serial)}; read it again.", serial=shown(serial))


def _gauges(operations: Iterable[Operation]) -> dict[Any, dict[str, GaugeCard]]:
    numbers: dict[Any, set[str]] = defaultdict(set)
    instants: dict[Any, datetime] = {}
    for operation in operations:
        if operation.gauge:
            day = site_day(operation.recorded_at)
            numbers[day].add(operation.gauge)
            instants[day] = operation.recorded_at
    return {day: gauges_by_number(wanted, instants[day]) for day, wanted in numbers.items()}


def _bench(
    unit: UnitCard,
    plan: Adopted,
    operations: list[Operation],
    refusals: dict[tuple[str, UUID], QcError],
) -> Bench:
    cards = {plan.revision.uuid: {card.key: card for card in plan.checkpoints}}
    for uuid in {operation.revision for operation in operations} - set(cards):
        try:
            cards[uuid] = _other_revision(uuid, unit)
        except QcError as refusal:
            refusals[operations[0].serial, uuid] = refusal
    rounds = rounds_of(unit.item_id)
    return Bench(
        unit=unit,
        plan=plan,
        cards=cards,
        rounds=rounds,
        first_unsigned_stage=first_unsigned_stage(unit.item_id, plan, rounds),
        holds=open_holds(unit.item_id) if unit.on_hold else [],
        rows=_rows(unit.item_id, _concerned(operations, cards, plan)),
    )


def bench_of_plan(unit: UnitCard, plan: Adopted, keys: set[str]) -> Bench:
    """The unit on this plan with what was answered to these checkpoints and to all that read them."""
    cards = {plan.revision.uuid: {card.key: card for card in plan.checkpoints}}
    rounds = rounds_of(unit.item_id)
    ids = _with_derived(keys, cards, plan)
    return Bench(unit, plan, cards, rounds, None, [], _rows(unit.item_id, ids))


def accepted_flags(result_ids: Iterable[int]) -> dict[int, set[str]]:
    """For each result what a signed decision has accepted about it."""
    found: dict[int, set[str]] = defaultdict(set)
    rows = ResultDecision.objects.filter(result__in=list(result_ids), accepted=True)
    for result, about in rows.values_list("result_id", "about"):
        found[result].add(about)
    return found


def _other_revision(uuid: UUID, unit: UnitCard) -> dict[str, CheckpointCard]:
    """The cards of a revision that the unit is not inspected to: one of its family that was released once."""
    revision = revision_card(uuid)
    if revision.family_id != unit.family_id:
        message = f"That plan is for {revision.family_code}, not for {unit.serial}; pick the unit again."
        raise Refused("plan_of_other_family", message)
    if revision.released_at is None:
        message = f"Revision {revision.letter} was never released; results are recorded to a released plan."
        raise Refused("revision_not_released", message)
    return {card.key: card for card in checkpoints_of(revision.id)}


def first_unsigned_stage(item_id: int, plan: Adopted, rounds: Mapping[int, tuple[int, str]]) -> int | None:
    """Number of the first stage without a signature that covers what counts now; None when all are signed."""
    signed = sign_offs_of(item_id)
    operations = current_slots(item_id) if signed else {}
    for stage in plan.stages:
        row = signed.get(stage.id)
        if row is None or row.covers != covers(stage_operations(stage.id, plan.checkpoints, rounds, operations)):
            return stage.number
    return None


def _concerned(
    operations: Iterable[Operation], cards: Mapping[UUID, Mapping[str, CheckpointCard]], plan: Adopted
) -> set[int]:
    """Ids of the checkpoints named, of the derived ones that read them, and of all that those read."""
    return _with_derived({op.checkpoint for op in operations}, cards, plan)


def _with_derived(named: set[str], cards: Mapping[UUID, Mapping[str, CheckpointCard]], plan: Adopted) -> set[int]:
    named = set(named)
    reading = {card.key: set(inputs_of(card)) for card in plan.checkpoints if card.kind == "derived"}
    while more := {key for key, inputs in reading.items() if key not in named and inputs & named}:
        named |= more
    named |= {key for derived in named & reading.keys() for key in reading[derived]}
    return {card.id for by_key in cards.values() for key, card in by_key.items() if key in named}


def _rows(item_id: int, checkpoint_ids: set[int]) -> dict[Slot, list[Row]]:
    found: dict[Slot, list[Row]] = defaultdict(list)
    for row in _read(Result.objects.filter(item=item_id, checkpoint__in=checkpoint_ids)):
        found[row.slot].append(row)
    return found


def rows_of_operations(operations: Iterable[UUID]) -> dict[UUID, Row]:
    """The stored answers of these operations, wherever they belong."""
    return {row.operation: row for row in _read(Result.objects.filter(operation__in=list(operations)))}


def _read(results: QuerySet[Result]) -> Iterator[Row]:
    stored = results.order_by("id").values_list(*STORED_COLUMNS)
    for *values, replaces, body_digest, excess, flags in stored:
        yield Row._make([*values, tuple(replaces), body_digest, excess, tuple(flags)])
