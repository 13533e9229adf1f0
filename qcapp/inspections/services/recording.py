"""A submission of operations: taken one after the other, stored in one statement, answered one by one."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any, NamedTuple
from uuid import UUID

from qcapp.audit import services as audit
from qcapp.audit.verbs import Verb
from qcapp.core.checkpoints.kinds import passes
from qcapp.core.errors import Conflict, QcError
from qcapp.lib.site_days import site_day

from ..queries.slots import heads
from ..signals import Judged, judged
from . import circumstances, computing, drafts, rules
from .circumstances import Circumstances, Row
from .drafts import Draft, Stamp
from .operations import Operation, named_id, read_operation

if TYPE_CHECKING:
    from qcapp.people.models import Person

WORDS = {
    "in_band": "is in band.",
    "near_limit": "is near its limit.",
    "conforms": "It conforms.",
    "does_not_conform": "It does not conform.",
    "recorded": "It is recorded.",
}


@dataclass(frozen=True)
class Computed:
    """A derived checkpoint that an operation brought up to date."""

    checkpoint: str
    verdict: str
    value: str
    report: str | None = None

    def to_json(self) -> dict[str, Any]:
        return {
            "checkpoint": self.checkpoint,
            "verdict": self.verdict,
            "value": self.value,
            "report": self.report,
        }


class Verdictlet(NamedTuple):
    """What became of one operation: applied, a duplicate of a stored one, or rejected with code and sentence."""

    id: str
    outcome: str
    code: str = ""
    message: str = ""
    verdict: str | None = None
    excess: str | None = None
    nearest_limit: str | None = None
    limits: str | None = None
    report: str | None = None
    flags: tuple[str, ...] = ()
    conflict: bool = False
    computed: tuple[Computed, ...] = ()

    @property
    def applied(self) -> bool:
        return self.outcome == "applied"

    @property
    def rejected(self) -> bool:
        return self.outcome == "rejected"

    def to_json(self) -> dict[str, Any]:
        """Plain values, every key present."""
        return {
            "id": self.id,
            "outcome": self.outcome,
            "code": self.code,
            "message": self.message,
            "verdict": self.verdict,
            "excess": self.excess,
            "nearest_limit": self.nearest_limit,
            "limits": self.limits,
            "report": self.report,
            "flags": list(self.flags),
            "conflict": self.conflict,
            "computed": [entry.to_json() for entry in self.computed],
        }


def rejected(identifier: str, refusal: QcError) -> Verdictlet:
    """The answer to an operation that was not stored."""
    return Verdictlet(identifier, "rejected", refusal.code, refusal.message)


@dataclass(frozen=True)
class Sender:
    """Who sends, from where, by which clock.

    `from_file` when a person answers for a file of several people, `from_paper` for a sheet that another filled in.
    """

    person: Person
    device: str
    sent_at: datetime | None
    at: datetime
    from_file: bool = False
    from_paper: bool = False
    proven: frozenset[str] = frozenset()  # operations signed by the key of whoever recorded them

    @property
    def clock_off(self) -> timedelta:
        """How far the sending clock is from the server's, ahead or behind."""
        return abs(self.sent_at - self.at) if self.sent_at else timedelta(0)

    @property
    def stamp(self) -> Stamp:
        return Stamp(self.person, self.device, self.at)


@dataclass
class Submission:
    """The operations of one request on their way through. Answers stand at the place of their operation."""

    sender: Sender
    answers: list[Verdictlet | None]
    operations: list[tuple[int, Operation]]
    taken: dict[int, Draft] = field(default_factory=dict)


def read_all(bodies: Sequence[object], sender: Sender) -> Submission:
    """Every body read; those that cannot be are answered already. Touches no database."""
    answers: list[Verdictlet | None] = [None] * len(bodies)
    operations = []
    for place, body in enumerate(bodies):
        try:
            operations.append((place, read_operation(body)))
        except QcError as refusal:
            answers[place] = rejected(named_id(body), refusal)
    return Submission(sender, answers, operations)


def record(submission: Submission) -> list[Verdictlet]:
    """Take, store and answer the operations, inside the caller's transaction."""
    operations = [operation for _, operation in submission.operations]
    sender = submission.sender
    around = circumstances.load(operations, sender.person, sender.at)
    if not sender.from_file:
        around.rights[sender.person.pk, site_day(sender.at)] = True  # checked when the submission came
    known = around.known
    for place, operation in submission.operations:
        try:
            _take(place, operation, submission, around, known)
        except QcError as refusal:
            submission.answers[place] = rejected(str(operation.id), refusal)
    stored = drafts.insert(list(submission.taken.values()), submission.sender.stamp)
    if len(stored) < len(submission.taken):
        _give_up_lost(submission, around)
    followed = _compute(stored, submission.sender)
    everything = stored + [draft for draft, _ in followed]
    drafts.project(everything)
    entries: list[audit.Act] = []
    reports = tell([judgement_of(draft) for draft in everything], at=sender.at, by=sender.person, entries=entries)
    _answer(submission, followed, reports)
    _audit(everything, submission.sender, entries)
    return [answer for answer in submission.answers if answer]


# --------------------------------------------------------------------------------------------------- taking


def _take(
    place: int, operation: Operation, submission: Submission, around: Circumstances, known: dict[UUID, Row]
) -> None:
    if operation.id in known:
        submission.answers[place] = _again(operation, known[operation.id], around)
        return
    draft = _draft(operation, submission.sender, around)
    row = draft.row
    draft.bench.rows[row.slot].append(row)
    submission.taken[place] = draft
    known[operation.id] = row


def _draft(operation: Operation, sender: Sender, around: Circumstances) -> Draft:
    """The operation held against every rule and judged. Raises the QcError that refuses it."""
    bench = around.bench_of(operation)
    card = bench.card_of(operation)
    person = around.person_of(operation)
    gauge = around.gauge_of(operation)
    rules.check_place(operation, card, bench)
    measured_at = min(operation.recorded_at, sender.at)
    allowed = around.may_record(person, measured_at)
    rules.check_person(operation, card, bench, person, may_record=allowed)
    judged_as = drafts.judged_answer(operation.answer, card, gauge)
    replaces = rules.replaced_by(operation, card, bench, person, gauge)
    flags = rules.flags_of(
        operation,
        card,
        bench,
        gauge,
        at=sender.at,
        clock_off=sender.clock_off,
        from_paper=sender.from_paper,
        setup=around.setup_reason(gauge, operation.recorded_at),
        sent_by_other=_sent_by_other(operation, person, sender),
        authorised=around.is_authorised(person, card, measured_at),
    )
    return Draft(
        bench=bench,
        card=card,
        operation=operation.id,
        body_digest=operation.digest,
        round=operation.round,
        inspection=operation.inspection,
        purpose=operation.purpose,
        answer=judged_as.answer,
        described=judged_as.described,
        raw=operation.raw,
        outcome=judged_as.outcome,
        excess=judged_as.excess,
        nearest_limit=judged_as.nearest_limit,
        plot=judged_as.plot,
        gauge=gauge,
        expanded_uncertainty=judged_as.expanded_uncertainty,
        person=person,
        recorded_at=operation.recorded_at,
        base=operation.base[0] if operation.base else None,
        replaces=replaces,
        reason=operation.reason,
        flags=flags,
    )


def _sent_by_other(operation: Operation, person: Person, sender: Sender) -> bool:
    if sender.from_file or sender.from_paper or person.pk == sender.person.pk:
        return False
    return str(operation.id) not in sender.proven


def _again(operation: Operation, known: Row, around: Circumstances) -> Verdictlet:
    """The same operation once more: a duplicate with the stored verdict. Raises Conflict `key_reused`."""
    if known.body_digest != operation.digest:
        message = "This identifier was used for another entry; make a new one for this."
        raise Conflict("key_reused", message, operation=str(operation.id))
    return Verdictlet(
        str(operation.id),
        "duplicate",
        message="It is stored already.",
        verdict=known.outcome,
        excess=known.excess or None,
        nearest_limit=known.nearest_limit or None,
        limits=around.bench_of(operation).card_of(operation).limits_text,
        flags=known.flags,
    )


def _give_up_lost(submission: Submission, around: Circumstances) -> None:
    """The identifier is in use elsewhere, or the database would not have it: answer so, and forget the draft."""
    lost = {place: draft for place, draft in submission.taken.items() if draft.result_id is None}
    known = circumstances.rows_of_operations(draft.operation for draft in lost.values())
    operations = dict(submission.operations)
    for place, draft in lost.items():
        del submission.taken[place]
        draft.bench.rows[draft.row.slot].remove(draft.row)
        try:
            if draft.operation not in known:
                raise Conflict("not_stored", "The database did not take this entry; send it again.")
            submission.answers[place] = _again(operations[place], known[draft.operation], around)
        except QcError as refusal:
            submission.answers[place] = rejected(str(draft.operation), refusal)


# ------------------------------------------------------------------------------------------ what follows from it


def _compute(stored: Sequence[Draft], sender: Sender) -> list[tuple[Draft, Draft]]:
    """The derived answers that changed, stored, each beside the taken answer that set it off."""
    by_bench: dict[int, list[Draft]] = {}
    for draft in stored:
        by_bench.setdefault(id(draft.bench), []).append(draft)
    found = [pair for taken in by_bench.values() for pair in computing.computed(taken[0].bench, taken)]
    kept = {draft.operation for draft in drafts.insert([draft for draft, _ in found], sender.stamp)}
    return [pair for pair in found if pair[0].operation in kept]


def tell(
    judgements: list[Judged], *, at: datetime, by: Person, entries: list[audit.Act] | None = None
) -> dict[str, str]:
    """Send `judged`; the numbers of the reports that answer it, by operation.

    The audit entries go into `entries`, for the caller to write; without it they are written here.
    """
    if not judgements:
        return {}
    found: dict[str, str] = {}
    added: list[audit.Act] = []
    for _, reports in judged.send(sender=None, judgements=judgements, at=at, by=by, entries=added):
        if isinstance(reports, dict):
            found |= {str(operation): str(number) for operation, number in reports.items()}
    if entries is not None:
        entries += added
    elif added:
        audit.record_all(added)
    return found


def judgement_of(draft: Draft) -> Judged:
    """The stored answer as the receivers of `judged` get it."""
    unit = draft.bench.unit
    return Judged(
        result_id=draft.result_id or 0,
        operation=draft.operation,
        item_id=unit.item_id,
        unit_id=unit.id,
        serial=unit.serial,
        checkpoint_card=draft.card,
        outcome=draft.outcome,
        passes=draft.passes,
        excess=draft.excess,
        nearest_limit=draft.nearest_limit,
        described_answer=draft.described,
        gauge_number=draft.gauge.number if draft.gauge else "",
        person=draft.person,
        round=draft.round,
        inspection=draft.inspection,
        recorded_at=draft.recorded_at,
        family_id=unit.family_id,
    )


# ------------------------------------------------------------------------------------------------- answering


def _answer(submission: Submission, followed: Sequence[tuple[Draft, Draft]], reports: dict[str, str]) -> None:
    conflicts = _conflicts(submission.taken.values())
    for place, draft in submission.taken.items():
        submission.answers[place] = Verdictlet(
            id=str(draft.operation),
            outcome="applied",
            message=_sentence(draft),
            verdict=draft.outcome,
            excess=draft.excess or None,
            nearest_limit=draft.nearest_limit or None,
            limits=draft.card.limits_text,
            report=reports.get(str(draft.operation)),
            flags=tuple(draft.flags),
            conflict=(id(draft.bench), draft.row.slot) in conflicts,
            computed=tuple(_computed(follower, reports) for follower, root in followed if root is draft),
        )


def _computed(draft: Draft, reports: dict[str, str]) -> Computed:
    return Computed(draft.card.key, draft.outcome, draft.described, reports.get(str(draft.operation)))


def _conflicts(taken: Iterable[Draft]) -> set[tuple[int, Any]]:
    slots = {(id(draft.bench), draft.row.slot): draft.bench.rows[draft.row.slot] for draft in taken}
    return {slot for slot, rows in slots.items() if len(heads(rows)) > 1}


def _sentence(draft: Draft) -> str:
    """What the value came to: "62.20 ° is out of band: 0.05 above the upper limit (61.85 to 62.15 °)."."""
    if draft.outcome != "out_of_band":
        words = WORDS[draft.outcome]
        return f"{draft.described} {words}" if words.startswith("is") else words
    side = {"lower": "below the lower limit", "upper": "above the upper limit"}.get(draft.nearest_limit, "outside")
    return f"{draft.described} is out of band: {draft.excess} {side} ({draft.card.limits_text})."


# -------------------------------------------------------------------------------------------------- auditing


def _audit(stored: Sequence[Draft], sender: Sender, before: Sequence[audit.Act]) -> None:
    """What came of it, then one entry for each unit of the submission, with the digests of what was stored."""
    by_unit: dict[str, list[Draft]] = {}
    for draft in stored:
        by_unit.setdefault(draft.bench.unit.serial, []).append(draft)
    own = [
        audit.Act(
            verb=Verb.RESULTS_IMPORTED if sender.from_file else Verb.RESULTS_RECORDED,
            actor=sender.person.uuid,
            subject=f"unit {serial}",
            at=sender.at,
            payload={
                "device": sender.device,
                "sent_at": sender.sent_at.isoformat() if sender.sent_at else None,
                "results": [[str(draft.operation), draft.body_digest] for draft in rows],
                "failing": sum(not passes(draft.outcome) for draft in rows),
            },
        )
        for serial, rows in sorted(by_unit.items())
    ]
    if own:
        audit.record_all([*before, *own])
