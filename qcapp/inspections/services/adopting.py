"""A unit in build takes over another plan revision, or stays with its own: previewed, signed, written once.

Old results stay as they are. What goes over is a new row beside a note of where it came from; a result that did not
pass stays out of band whatever the new limits say, until a disposition.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import TYPE_CHECKING, Any
from uuid import UUID, uuid5

from django.db import transaction

from qcapp.audit import services as audit
from qcapp.audit.verbs import Verb
from qcapp.core.errors import Conflict, Invalid
from qcapp.core.sealing import canonical, digest
from qcapp.gauges.queries import gauges_by_number
from qcapp.lib.plain_text import plain_text
from qcapp.people.queries import people_by_id
from qcapp.people.roles import Act
from qcapp.people.services import require, write_signature
from qcapp.plans.queries import CheckpointCard, RevisionCard, checkpoints_of, revision_card
from qcapp.production.queries import UnitCard, unit_by_serial
from qcapp.production.services import lock_unit

from ..models import Adoption, CarriedAnswer, PlanChoice, Reinspection, ResultDecision
from ..queries import Adopted, adopted
from ..queries.adopting import AdoptionPreview, Carry, carry, preview_of, sources_of
from ..queries.loading import reopenings_of, rounds_of
from ..states import Flag
from . import circumstances, computing, drafts
from .circumstances import Bench
from .drafts import Draft, Stamp
from .recording import judgement_of, tell

if TYPE_CHECKING:
    from qcapp.gauges.queries import GaugeCard
    from qcapp.people.models import Person, Signature
    from qcapp.people.services import Proof

DEVICE = "plan revision"
ADOPT, STAY = PlanChoice.Choice.ADOPT, PlanChoice.Choice.STAY
MOST_UNITS = 100


def choose_plan(
    *, proof: Proof, revision_uuid: UUID, shown: Mapping[str, str], choice: str, reason: str, at: datetime
) -> dict[str, list[str]]:
    """For each unit the reports that its adoption raised. `shown` has the preview's digest for each serial.

    One signature for all units named; all adopt or stay, or none. Raises Invalid `choice_unknown`, `no_unit_named`,
    `too_many_units` or of `plain_text`; NotFound `serial_unknown`, `no_plan_adopted`, `revision_unknown`; Refused of
    `check_adoptable`; Conflict `preview_outdated` when an answer came in since it was shown.
    """
    person = proof.person
    require(person, Act.CHOOSE_PLAN, at)
    reason = plain_text("The reason", reason, longest=300)
    _check_choice(choice, shown)
    with transaction.atomic():
        ids = sorted((unit_by_serial(serial).id, serial) for serial in shown)
        units = [lock_unit(unit_id) for unit_id, _ in ids]
        to = revision_card(revision_uuid)
        previews = [preview_of(unit, to) for unit in units]
        _check_as_shown(previews, {unit.serial: shown[serial] for unit, (_, serial) in zip(units, ids, strict=True)})
        signature = _sign(proof, to, previews, choice, reason, at)
        acts = [_Choosing(preview, person, signature, choice, reason, at) for preview in previews]
        stored = [draft for act in acts for draft in act.store()]
        numbers = tell([judgement_of(draft) for draft in stored], at=at, by=person)
        for act in acts:
            act.audit(numbers)
    return {act.preview.unit.serial: act.reports(numbers) for act in acts}


def _check_choice(choice: str, shown: Mapping[str, str]) -> None:
    if choice not in PlanChoice.Choice.values:
        raise Invalid("choice_unknown", "A unit stays with its plan revision, or adopts the other.", field="choice")
    if not shown:
        raise Invalid("no_unit_named", "Choose at least one unit.", field="units")
    if len(shown) > MOST_UNITS:
        raise Invalid("too_many_units", f"Choose at most {MOST_UNITS} units at once.", field="units")


def _check_as_shown(previews: Sequence[AdoptionPreview], shown: Mapping[str, str]) -> None:
    other = [one.unit.serial for one in previews if one.covers != shown[one.unit.serial]]
    if other:
        message = f"Answers of {', '.join(other)} changed since this was shown; look at the preview again."
        raise Conflict("preview_outdated", message, units=other)


def _sign(
    proof: Proof, to: RevisionCard, previews: Sequence[AdoptionPreview], choice: str, reason: str, at: datetime
) -> Signature:
    serials = ", ".join(one.unit.serial for one in previews)
    words = f"adopts revision {to.letter}" if choice == ADOPT else f"stays with its revision, not {to.letter}"
    return write_signature(
        proof=proof,
        act=Act.CHOOSE_PLAN,
        meaning=f"{serials} {words}: {reason}"[:300],
        subject=to.subject,
        covers=digest(canonical([choice, reason, sorted(one.covers for one in previews)])),
        at=at,
    )


class _Choosing:
    """One unit's part of the act."""

    def __init__(
        self, preview: AdoptionPreview, person: Person, signature: Signature, choice: str, reason: str, at: datetime
    ) -> None:
        self.preview, self.person, self.at = preview, person, at
        self.adopts = choice == ADOPT
        adoption = None
        if self.adopts:
            adoption = Adoption.objects.create(
                item_id=preview.unit.item_id, revision_id=preview.to.id, by=person, at=at
            )
        self.row = PlanChoice.objects.create(
            item_id=preview.unit.item_id, choice=choice, from_revision_id=preview.frm.id,
            to_revision_id=preview.to.id, adoption=adoption, reason=reason, signature=signature,
            covers=preview.covers, at=at,
        )  # fmt: skip
        self.carried: list[Draft] = []
        self.computed: list[Draft] = []

    def store(self) -> list[Draft]:
        """Everything that goes over, stored; gives what raises reports: verdicts that got worse or are new."""
        if not self.adopts:
            return []
        unit, carries = self.preview.unit, self.preview.carries
        open_rounds(unit.item_id, carries, by=self.person, at=self.at)
        bench = bench_on(unit, adopted(unit.item_id), [one.card for one in carries])
        self.carried = store_carries(bench, carries, name=self.row.uuid, by=self.person, at=self.at, choice=self.row)
        self.computed = _compute(bench, self.carried, self.person, self.at)
        worse = {one.source.operation for one in self.preview.worse}
        return [d for d in self.carried if d.base in worse] + self.computed

    def reports(self, numbers: Mapping[str, str]) -> list[str]:
        """The reports that this unit's adoption raised or joined."""
        mine = (str(draft.operation) for draft in (*self.carried, *self.computed))
        return sorted({numbers[operation] for operation in mine if operation in numbers})

    def audit(self, numbers: Mapping[str, str]) -> None:
        one = self.preview
        payload: dict[str, Any] = {
            "choice": str(self.row.uuid), "from": one.frm.letter, "to": one.to.letter, "reason": self.row.reason,
            "covers": one.covers,
        }  # fmt: skip
        if self.adopts:
            payload |= {
                "carried": [[str(d.base), str(d.operation), d.body_digest] for d in self.carried],
                "computed": [[str(d.operation), d.body_digest] for d in self.computed],
                "kept_out_of_band": sorted({c.card.number for c in one.kept}),
                "left_out_of_band": list(one.left_failing),
                "reports": self.reports(numbers),
            }
        verb = Verb.UNIT_PLAN_ADOPTED if self.adopts else Verb.UNIT_PLAN_KEPT
        subject = f"unit {one.unit.serial}"
        audit.record(verb=verb, actor=self.person.uuid, subject=subject, at=self.at, payload=payload)


# ------------------------------------------------------------------------------------------------- carrying


def open_rounds(item_id: int, carries: Sequence[Carry], *, by: Person, at: datetime) -> None:
    """Open for the new checkpoints the rounds that the old ones had, under the same sources."""
    opened = reopenings_of(item_id)
    pairs = {one.before.id: one.card.id for one in carries}
    for old, new in pairs.items():
        known = {turn for turn, _ in opened.get(new, ())}
        for turn, source in opened.get(old, ()):
            if turn not in known:
                Reinspection.objects.create(item_id=item_id, checkpoint_id=new, round=turn, source=source, by=by, at=at)


def bench_on(unit: UnitCard, plan: Adopted, cards: Sequence[CheckpointCard]) -> Bench:
    """The unit on its present plan, with everything answered to these checkpoints and to what is computed from them."""
    return circumstances.bench_of_plan(unit, plan, {card.key for card in cards})


def store_carries(
    bench: Bench,
    carries: Sequence[Carry],
    *,
    name: UUID,
    by: Person,
    at: datetime,
    choice: PlanChoice | None = None,
    decision: ResultDecision | None = None,
    joins: bool = False,
) -> list[Draft]:
    """New rows for the answers that go over, projected, each with a note of where it came from.

    They take the place of what an earlier stay on the same revision left there, unless `joins`: then both stand.
    """
    people = people_by_id({one.source.person_id for one in carries})
    before = {slot: [str(row.operation) for row in heads_of] for slot, heads_of in bench.standing().items()}
    accepted = circumstances.accepted_flags([one.source.result_id for one in carries])
    gauges = gauges_by_number({one.source.gauge_number for one in carries if one.source.gauge_number}, at)
    made = []
    for one in carries:
        slot = (one.card.id, one.source.round, one.source.inspection)
        replaces = () if joins else tuple(before.get(slot, ()))
        flags = _flags(one, accepted.get(one.source.result_id, set()))
        gauge = gauges.get(one.source.gauge_number or "")
        made.append(_draft(bench, one, people[one.source.person_id], gauge, name, replaces, flags))
    for draft in made:
        bench.rows[draft.row.slot].append(draft.row)
    stored = drafts.insert(made, Stamp(by, DEVICE, at))
    if len(stored) < len(made):
        raise Conflict("not_stored", "The database did not take the answers; try again.")
    drafts.project(stored)
    CarriedAnswer.objects.bulk_create(
        CarriedAnswer(
            choice=choice, decision=decision, source_id=one.source.result_id, result_id=draft.result_id or 0,
            how=one.how, judged_as=one.judged_as, at=at,
        )
        for one, draft in zip(carries, made, strict=True)
    )  # fmt: skip
    return made


def _draft(
    bench: Bench,
    one: Carry,
    person: Person,
    gauge: GaugeCard | None,
    name: UUID,
    replaces: tuple[str, ...],
    flags: list[str],
) -> Draft:
    source = one.source
    operation = uuid5(name, f"{source.operation} {one.card.key}")
    body = {"carried": str(source.operation), "to": one.card.key, "outcome": one.outcome, "by": str(name)}
    return Draft(
        bench=bench,
        card=one.card,
        operation=operation,
        body_digest=digest(drafts.plain_json(body)),
        round=source.round,
        inspection=source.inspection,
        purpose="carried",
        answer=one.answer,
        described=one.described,
        raw=source.raw,
        outcome=one.outcome,
        excess=one.excess,
        nearest_limit=one.nearest_limit,
        plot=one.plot,
        gauge=gauge,
        expanded_uncertainty=source.expanded_uncertainty,
        person=person,
        recorded_at=source.recorded_at,
        base=source.operation,
        replaces=replaces,
        reason=_why(one),
        flags=flags,
    )


def _flags(one: Carry, accepted: set[str]) -> list[str]:
    """What still has to be decided about it, and whether its gauge is of a kind that the new plan asks for."""
    flags = [flag for flag in one.source.flags if flag not in accepted]
    if set(one.card.gauge_kinds) == set(one.before.gauge_kinds) or not one.card.gauge_kinds:
        return flags
    missing = Flag.GAUGE_MISSING if one.source.gauge_number is None else None
    differs = Flag.GAUGE_KIND_DIFFERS if one.source.gauge_kind not in one.card.gauge_kinds else None
    found = missing or differs
    return [*flags, found.value] if found and found.value not in flags else flags


def _why(one: Carry) -> str:
    """What the history shows beside the answer."""
    before = one.before.limits_text
    if one.kept:
        return f"Carried over; out of band to {before}. A looser limit does not clear it."[:300]
    if one.how == CarriedAnswer.How.JUDGED:
        return f"Carried over and judged again; the limits were {before}."[:300]
    return "Carried over; the checkpoint says the same."


def _compute(bench: Bench, carried: Sequence[Draft], by: Person, at: datetime) -> list[Draft]:
    """Derived answers that the new plan computes from what went over, or computes otherwise."""
    derived = {draft.card.key for draft in carried if draft.card.kind == "derived"}
    taken = [draft for draft in carried if draft.round == bench.round_of(draft.card)]
    found = [draft for draft, _ in computing.computed(bench, taken) if draft.card.key not in derived]
    stored = drafts.insert(found, Stamp(by, DEVICE, at))
    drafts.project(stored)
    return stored


# ------------------------------------------------------------------------------- answers to another revision


def carry_accepted(*, decision: ResultDecision, unit: UnitCard, by: Person, at: datetime) -> None:
    """Take an accepted answer to another revision over to the checkpoint of the unit's own plan.

    Inside the caller's transaction. Nothing goes over where the plan has no such checkpoint, or measures another
    thing there; where an answer stands already both stand, in conflict.
    """
    result = decision.result
    plan = adopted(unit.item_id)
    own = {card.characteristic_id: card for card in plan.checkpoints}.get(result.characteristic_id)
    old = next(card for card in checkpoints_of(result.checkpoint.revision_id) if card.id == result.checkpoint_id)
    source = next((one for one in sources_of(unit.item_id, [old.id]) if one.result_id == result.pk), None)
    taken = carry(source, old, own) if own and source and own.id != old.id else None
    if taken is None or source is None or source.round > _round_now(unit.item_id, taken.card.id):
        return
    bench = bench_on(unit, plan, [taken.card])
    made = store_carries(
        bench, [taken], name=uuid5(source.operation, "accepted"), by=by, at=at, decision=decision, joins=True
    )
    computed = _compute(bench, made, by, at)
    told = [*(made if taken.worse else []), *computed]
    tell([judgement_of(draft) for draft in told], at=at, by=by)


def _round_now(item_id: int, checkpoint_id: int) -> int:
    return rounds_of(item_id).get(checkpoint_id, (1, ""))[0]
