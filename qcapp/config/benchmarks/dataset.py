"""Thousands of invented frames for the benchmark: people, gauges and plan by the services, the bulk past them.

A frame's results are judged by the product's own kinds and stored by its own writer of results, a whole frame in one
statement. What the services would write one by one around them (units, signatures, sign-offs, the acts in the audit
chain) is loaded in bulk.
"""

from __future__ import annotations

import csv
import io
from collections import defaultdict
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any

from django.apps import apps
from django.db import transaction

from qcapp.audit.verbs import Verb
from qcapp.config.demonstration import cast as demonstration
from qcapp.config.demonstration.readings import Bench as Readings
from qcapp.core.identification import lookup_key
from qcapp.gauges.queries import all_gauges
from qcapp.inspections.queries import Adopted
from qcapp.inspections.queries.standing import covers
from qcapp.inspections.services import MEANING, circumstances, computing, drafts
from qcapp.inspections.services.operations import body_digest
from qcapp.lib.fields import uuid7
from qcapp.people.roles import Act, Role
from qcapp.people.services import demonstration_proof
from qcapp.plans import services as plans
from qcapp.plans.queries import CheckpointCard, checkpoints_of, released_revision
from qcapp.production.queries import UnitCard, units_of_items
from qcapp.production.services import add_family

from . import bulk_audit

if TYPE_CHECKING:
    from qcapp.gauges.queries import GaugeCard
    from qcapp.people.models import Person

FAMILY = "FR-200"
RESULTS = 160  # typed for each frame by the first inspector
VARIANTS = 24  # differently answered frames; after so many they come round again
AT_ONCE = 100  # frames in one transaction
SEED = 160
DEVICE = "tablet-bench-2"
EXTRA = 900  # numbers of the checkpoints that fill the plan up

Tick = Callable[[int], None]


def plan_text() -> str:
    """The demonstration's frame plan with everything due on every frame, filled up to RESULTS typed checkpoints."""
    rows = list(demonstration.rows_of(f"plans/{FAMILY}.csv"))
    typed = sum(row["kind"] != "derived" for row in rows)
    last = rows[-1]["stage_number"], rows[-1]["stage_name"]
    for extra in range(RESULTS - typed):
        row = dict.fromkeys(rows[0], "") | {
            "number": str(EXTRA + extra + 70), "key": f"extra_{extra}", "title": f"Look-over, area {extra + 1}",
            "kind": "attribute", "criticality": "minor", "hold_point": rows[-1]["hold_point"],
            "witness_point": rows[-1]["witness_point"],
        }  # fmt: skip
        rows.append(row | {"stage_number": last[0], "stage_name": last[1]})
    text = io.StringIO()
    writer = csv.DictWriter(text, rows[0])
    writer.writeheader()
    writer.writerows(row | {"frequency": "every"} for row in rows)
    return text.getvalue()


@dataclass
class Shop:
    """The invented shop with its released plan; frames are loaded into it."""

    cast: demonstration.Cast
    begin: datetime
    now: datetime
    plan: Adopted
    gauges: list[GaugeCard]

    @classmethod
    def made(cls, now: datetime) -> Shop:
        """People, gauges and the released plan in an empty database."""
        begin = now - timedelta(days=90)
        cast = demonstration.make_people(begin)
        demonstration.make_gauges(cast, begin, now)
        _release_plan(cast, begin)
        card = released_revision(FAMILY)
        return cls(cast, begin, now, Adopted(card, card.stages, tuple(checkpoints_of(card.id))), all_gauges(now))

    def person(self, role: Role, index: int = 0) -> Person:
        return self.cast.with_role(role, index)

    def gauge_for(self, card: CheckpointCard) -> GaugeCard | None:
        fitting = [one for one in self.gauges if one.kind_key in card.gauge_kinds and one.usable]
        return fitting[0] if fitting else None

    def first_answers(self, unit: UnitCard) -> list[Prepared]:
        """What the first inspector answers on this frame, in the plan's order."""
        return [one for one in _variant(self, unit.number % VARIANTS) if one.inspection == 1]

    def open_frames(self, first: int, count: int) -> list[UnitCard]:
        """Frames in build with these running numbers, on the plan, nothing answered."""
        with transaction.atomic():
            return _open(self, range(first, first + count))

    def load_frames(self, first: int, count: int, tick: Tick) -> list[str]:
        """The serials of frames that are answered and signed to the end; `tick` hears how many are done."""
        variants = [_variant(self, number) for number in range(VARIANTS)]
        serials = []
        for start in range(first, first + count, AT_ONCE):
            numbers = range(start, min(start + AT_ONCE, first + count))
            with transaction.atomic():
                units = _open(self, numbers)
                answered = [_answer(self, unit, variants[unit.number % VARIANTS]) for unit in units]
                bulk_audit.append(_acts(self, units, answered, _sign(self, units, answered)))
            serials += [unit.serial for unit in units]
            tick(len(serials))
        return serials


def _release_plan(cast: demonstration.Cast, at: datetime) -> None:
    author, releaser = cast.with_role(Role.QUALITY_MANAGER, 1), cast.with_role(Role.QUALITY_MANAGER)
    add_family(
        by=author, code=FAMILY, name="trike frame", serial_pattern="FR-200-{number:4}", certificate_prefix="FR", at=at
    )
    card = plans.import_plan(
        by=author, family_code=FAMILY, letter="D", text_or_bytes=plan_text(), filename="frame.csv", at=at,
        change_note="Invented, for the benchmark.",
    )  # fmt: skip
    plans.send_for_review(by=author, revision_uuid=card.uuid, at=at)
    engineer = cast.with_role(Role.ENGINEER)
    plans.approve(proof=demonstration_proof(engineer, at), revision_uuid=card.uuid, at=at)
    plans.release(proof=demonstration_proof(releaser, at), revision_uuid=card.uuid, at=at)


def _open(shop: Shop, numbers: range) -> list[UnitCard]:
    item_of, unit_of, event_of, adoption_of = (
        apps.get_model(name)
        for name in ("production.Item", "production.Unit", "production.UnitEvent", "inspections.Adoption")
    )
    family, by = shop.plan.revision.family_id, shop.person(Role.INSPECTOR).pk
    items = item_of.objects.bulk_create(item_of(kind="unit", family_id=family) for _ in numbers)
    units = unit_of.objects.bulk_create(
        unit_of(
            item=item, serial=(serial := f"{FAMILY}-{number:04}"), lookup=lookup_key(serial), number=number,
            order_number=f"S-{number}", state="in_build", opened_by_id=by, opened_at=_opened_at(shop, number),
        )
        for item, number in zip(items, numbers, strict=True)
    )  # fmt: skip
    event_of.objects.bulk_create(
        event_of(unit=unit, move="open", state="in_build", by_id=by, at=unit.opened_at) for unit in units
    )
    revision = shop.plan.revision.id
    adoption_of.objects.bulk_create(
        adoption_of(item_id=unit.item_id, revision_id=revision, by_id=by, at=unit.opened_at) for unit in units
    )
    cards = units_of_items([item.pk for item in items])
    return [cards[item.pk] for item in items]


def _opened_at(shop: Shop, number: int) -> datetime:
    return shop.begin + timedelta(days=2, minutes=number % 80_000)


# ----------------------------------------------------------------------------------------------------- answers


@dataclass(frozen=True)
class Prepared:
    """A judged answer that frames share."""

    card: CheckpointCard
    inspection: int
    gauge: GaugeCard | None
    answer: dict[str, Any]
    judgement: drafts.Judgement

    def given(self, unit: UnitCard) -> dict[str, Any]:
        """What is answered for this frame: a serial read back from it is its own."""
        return {"text": unit.serial} if self.card.spec_json.get("pattern") else self.answer


def _variant(shop: Shop, variant: int) -> list[Prepared]:
    readings = Readings(f"{FAMILY}-{variant + 1:04}", variant, 0, SEED)
    typed = [_prepared(shop, card, readings) for card in shop.plan.checkpoints if card.kind != "derived"]
    return [*typed, *(replace(one, inspection=2) for one in typed if one.card.second_inspection)]


def _prepared(shop: Shop, card: CheckpointCard, readings: Readings) -> Prepared:
    gauge = shop.gauge_for(card)
    same = gauge is not None and gauge.unit_of_measure == card.unit_of_measure
    uncertainty = gauge.expanded_uncertainty if gauge and same else None
    answer = readings.answer(card, shop.begin.date(), uncertainty)
    return Prepared(card, 1, gauge, answer, drafts.judged_answer(answer, card, gauge))


def _answer(shop: Shop, unit: UnitCard, prepared: list[Prepared]) -> list[drafts.Draft]:
    """Every answer of the frame stored and projected, what is computed from them too."""
    bench = _bench(shop, unit)
    typed = [_draft(shop, bench, one) for one in prepared]
    for draft in typed:
        bench.rows[draft.row.slot].append(draft.row)
    sender = shop.person(Role.INSPECTOR)
    stamp = drafts.Stamp(sender, DEVICE, unit.opened_at + timedelta(days=9))
    stored = drafts.insert([*typed, *(draft for draft, _ in computing.computed(bench, typed))], stamp)
    drafts.project(stored)
    return stored


def _bench(shop: Shop, unit: UnitCard) -> circumstances.Bench:
    cards = {shop.plan.revision.uuid: {card.key: card for card in shop.plan.checkpoints}}
    return circumstances.Bench(
        unit=unit, plan=shop.plan, cards=cards, rounds={}, first_unsigned_stage=1, holds=[], rows=defaultdict(list)
    )  # fmt: skip


def _draft(shop: Shop, bench: circumstances.Bench, prepared: Prepared) -> drafts.Draft:
    card, judged = prepared.card, prepared.judgement
    if (answer := prepared.given(bench.unit)) != prepared.answer:
        judged = drafts.judged_answer(answer, card, prepared.gauge)
    person = shop.person(Role.INSPECTOR, prepared.inspection - 1)
    operation = uuid7()
    recorded_at = bench.unit.opened_at + timedelta(days=card.stage_number, seconds=30 * card.position)
    body = {"id": str(operation), "serial": bench.unit.serial, "checkpoint": card.key, "answer": judged.answer}
    return drafts.Draft(
        bench=bench, card=card, operation=operation, body_digest=body_digest(body), round=1,
        inspection=prepared.inspection, purpose="reading", answer=judged.answer, described=judged.described, raw="",
        outcome=judged.outcome, excess=judged.excess, nearest_limit=judged.nearest_limit, plot=judged.plot,
        gauge=prepared.gauge, expanded_uncertainty=judged.expanded_uncertainty, person=person,
        recorded_at=recorded_at, base=None, replaces=(), reason="",
    )  # fmt: skip


def _sign(shop: Shop, units: list[UnitCard], answered: list[list[drafts.Draft]]) -> list[dict[str, Any]]:
    """A signature over every stage of each frame, covering the answers that stand; gives the rows written."""
    signature_of, sign_off_of = apps.get_model("people.Signature"), apps.get_model("inspections.StageSignOff")
    wanted: list[tuple[Any, dict[str, Any]]] = []
    for unit, stored in zip(units, answered, strict=True):
        for stage in shop.plan.stages:
            operations = [draft.operation for draft in stored if draft.card.stage_id == stage.id]
            at = unit.opened_at + timedelta(days=stage.number, hours=3)
            sign_off: dict[str, Any] = {
                "item_id": unit.item_id, "stage_id": stage.id, "covers": covers(operations),
                "answers": len(operations), "at": at,
            }  # fmt: skip
            meaning = MEANING.format(number=stage.number, name=stage.name, serial=unit.serial)
            signature = signature_of(
                person_id=shop.person(Role.INSPECTOR).pk, role=Role.INSPECTOR, act=Act.SIGN_STAGE.value,
                meaning=meaning, subject=f"unit {unit.serial}", covers=sign_off["covers"], method="demonstration",
                at=at,
            )  # fmt: skip
            wanted.append((signature, sign_off))
    signature_of.objects.bulk_create(signature for signature, _ in wanted)
    sign_off_of.objects.bulk_create(sign_off_of(signature=signature, **rest) for signature, rest in wanted)
    return [rest for _, rest in wanted]


def _acts(
    shop: Shop, units: list[UnitCard], answered: list[list[drafts.Draft]], signed: list[dict[str, Any]]
) -> Iterator[bulk_audit.Act]:
    """What the services would have audited: the opening, each submission of a stage, each signature."""
    inspector = shop.person(Role.INSPECTOR).uuid
    numbers = {stage.id: stage.number for stage in shop.plan.stages}
    for unit, stored in zip(units, answered, strict=True):
        subject = f"unit {unit.serial}"
        plan = {"family": unit.family_code, "plan": shop.plan.revision.letter, "order_number": unit.order_number}
        yield bulk_audit.Act(Verb.UNIT_OPENED, inspector, subject, unit.opened_at, plan)
        submissions: dict[tuple[int, int], list[drafts.Draft]] = defaultdict(list)
        for draft in stored:
            submissions[draft.card.stage_number, draft.inspection].append(draft)
        for sent in submissions.values():
            results = [[str(draft.operation), draft.body_digest] for draft in sent]
            told = {"device": DEVICE, "sent_at": None, "results": results, "failing": 0}
            yield bulk_audit.Act(Verb.RESULTS_RECORDED, sent[0].person.uuid, subject, sent[-1].recorded_at, told)
    by_item = {unit.item_id: unit for unit in units}
    for row in signed:
        told = {"stage": numbers[row["stage_id"]], "covers": row["covers"], "answers": row["answers"]}
        yield bulk_audit.Act(Verb.STAGE_SIGNED, inspector, f"unit {by_item[row['item_id']].serial}", row["at"], told)
