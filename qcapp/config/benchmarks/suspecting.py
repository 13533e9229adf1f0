"""Speed of the suspect population against the bare SQL of its rows, over FRAMES frames: `benchmark --nonconformance`.

Every frame has its fixture, one measured value and the heat of its tubes; the report is raised on one more frame of the
same fixture, out of band.
"""

from __future__ import annotations

import sys
from collections import defaultdict
from collections.abc import Iterator
from datetime import timedelta
from typing import Any

from django.apps import apps
from django.db import connection, transaction
from django.utils import timezone

from qcapp.affected.suspects import Population, population
from qcapp.core.sealing import canonical
from qcapp.inspections.queries import Adopted
from qcapp.inspections.services import circumstances, drafts, record_operations
from qcapp.inspections.services.operations import body_digest
from qcapp.lib.fields import uuid7
from qcapp.people.roles import Role
from qcapp.plans.queries import CheckpointCard
from qcapp.production.queries import UnitCard

from .dataset import DEVICE, Shop
from .nonconformance import KEY, OUT_OF_BAND
from .own_house import own_house
from .registry import Effort, Measurement, alternate, benchmark

FRAMES, AT_ONCE = 20_000, 400  # a heat of tubes lasts AT_ONCE frames
FIRST, FAILING = 1, 90_001
FIXTURES = ("TF-1", "TF-2", "TF-3", "TF-4")
GOOD, NEAR = "196.2", "196.02"
MOST = 300.0
BARE = (
    """SELECT r.item_id FROM inspections_result r JOIN inspections_currentanswer c ON c.result_id = r.id
       WHERE r.characteristic_id = %(fixture)s AND r.answer = %(text)s ORDER BY r.id""",
    """SELECT DISTINCT item_id FROM inspections_result WHERE gauge_id = %(gauge)s""",
    """SELECT u.serial, u.state FROM production_unit u ORDER BY u.item_id DESC LIMIT 500""",
)


@benchmark("nonconformance", name="suspects")
def suspects(effort: Effort) -> Iterator[Measurement]:
    """The whole population of a report on a fixture, with gauge, heat and each unit's own outcome."""
    with own_house() as kind:
        shop = Shop.made(timezone.now())
        count = effort.of(FRAMES, least=40)
        _load(shop, count)
        number = _failing(shop)
        viewer, at = shop.person(Role.CUSTOMER_SERVICE), timezone.now()
        found = population(number, viewer=viewer, at=at)
        _check(found, count)
        told = _told(shop)
        ours, theirs = alternate(
            lambda: population(number, viewer=viewer, at=at), lambda: [_select(sql, told) for sql in BARE],
            effort.repeats,
        )  # fmt: skip
        value = ours * 1000
        against = f"the bare SQL of its rows on {kind}; {found.total} suspects of {count} frames"
        goal, met = f"below {MOST:g} ms", value < MOST
        yield Measurement("suspect population", value, "ms", theirs * 1000, ours / theirs, goal, met, against)


def _check(found: Population, count: int) -> None:
    keys = {source.key for source in found.sources}
    if not {"fixture", "gauge", "heat"} <= keys or found.total < count // len(FIXTURES) // 2:
        raise RuntimeError(f"The population is not what was loaded: {sorted(keys)}, {found.total}.")


def _load(shop: Shop, count: int) -> None:
    cards = {card.key: card for card in shop.plan.checkpoints}
    for first in range(FIRST, FIRST + count, AT_ONCE):
        with transaction.atomic():
            units = shop.open_frames(first, min(AT_ONCE, FIRST + count - first))
            _answer(shop, cards, units)
            _made_of(shop, units, first // AT_ONCE)
        sys.stderr.write(f"\r{first + AT_ONCE - FIRST} frames ")
        sys.stderr.flush()
    with connection.cursor() as cursor:
        cursor.execute("VACUUM (ANALYZE)" if connection.vendor == "postgresql" else "ANALYZE")


def _answer(shop: Shop, cards: dict[str, CheckpointCard], units: list[UnitCard]) -> None:
    """The fixture of each, and a value: every twelfth near its limit."""
    made = []
    for unit in units:
        value = NEAR if unit.number % 12 == 0 else GOOD
        given = {"fixture": {"text": FIXTURES[unit.number % len(FIXTURES)]}, KEY: {"value": value}}
        made += [_draft(shop, unit, cards[key], answer) for key, answer in given.items()]
    for draft in made:
        draft.bench.rows[draft.row.slot].append(draft.row)
    stored = drafts.insert(made, drafts.Stamp(shop.person(Role.INSPECTOR), DEVICE, shop.now))
    drafts.project(stored)


def _draft(shop: Shop, unit: UnitCard, card: CheckpointCard, answer: dict[str, Any]) -> drafts.Draft:
    gauge = shop.gauge_for(card)
    judged = drafts.judged_answer(answer, card, gauge)
    operation = uuid7()
    body = {"id": str(operation), "serial": unit.serial, "checkpoint": card.key, "answer": judged.answer}
    return drafts.Draft(
        bench=_bench(unit, shop.plan), card=card, operation=operation, body_digest=body_digest(body), round=1,
        inspection=1, purpose="reading", answer=judged.answer, described=judged.described, raw="",
        outcome=judged.outcome, excess=judged.excess, nearest_limit=judged.nearest_limit, plot=judged.plot,
        gauge=gauge, expanded_uncertainty=judged.expanded_uncertainty, person=shop.person(Role.INSPECTOR),
        recorded_at=unit.opened_at + timedelta(days=card.stage_number), base=None, replaces=(), reason="",
    )  # fmt: skip


def _bench(unit: UnitCard, plan: Adopted) -> circumstances.Bench:
    return circumstances.Bench(
        unit=unit, plan=plan, cards={}, rounds={}, first_unsigned_stage=1, holds=[], rows=defaultdict(list)
    )


def _made_of(shop: Shop, units: list[UnitCard], place: int) -> None:
    """One heat for these frames."""
    heat_of, used_of = apps.get_model("production.Heat"), apps.get_model("production.Consumption")
    by, number = shop.person(Role.INSPECTOR), f"H{place:04}"
    heat = heat_of.objects.create(
        number=number, lookup=number, supplier="Millbrook Tube", grade="4130", state="accepted", entered_by=by,
        entered_at=shop.now,
    )  # fmt: skip
    used_of.objects.bulk_create(
        used_of(item_id=unit.item_id, heat=heat, use="main tubes", by=by, at=shop.now) for unit in units
    )


def _failing(shop: Shop) -> str:
    """The number of the report on one more frame of the first fixture and the last heat."""
    (unit,) = shop.open_frames(FAILING, 1)
    used_of = apps.get_model("production.Consumption")
    heat = used_of.objects.order_by("-id").values_list("heat_id", flat=True)[0]
    used_of.objects.create(item_id=unit.item_id, heat_id=heat, by=shop.person(Role.INSPECTOR), at=shop.now)
    _send(shop, unit, "fixture", {"text": FIXTURES[0]})
    return _send(shop, unit, KEY, {"value": OUT_OF_BAND})


def _send(shop: Shop, unit: UnitCard, key: str, answer: dict[str, Any]) -> str:
    inspector = shop.person(Role.INSPECTOR)
    card = next(one for one in shop.plan.checkpoints if one.key == key)
    gauge, at = shop.gauge_for(card), timezone.now()
    operation = {
        "id": str(uuid7()), "v": 1, "kind": "result", "serial": unit.serial,
        "revision": str(shop.plan.revision.uuid), "checkpoint": key, "round": 1, "inspection": 1,
        "purpose": "reading", "answer": answer, "raw": "", "gauge": gauge and gauge.number,
        "recorded_at": at.isoformat(), "recorded_by": inspector.badge, "base": None, "reason": "",
    }  # fmt: skip
    (said,) = record_operations(sent_by=inspector, device=DEVICE, sent_at=at, operations=[operation], at=at)
    return str(said.report or "")


def _told(shop: Shop) -> dict[str, Any]:
    cards = {card.key: card for card in shop.plan.checkpoints}
    gauge = shop.gauge_for(cards[KEY])
    text = canonical({"text": FIXTURES[0]})
    return {"fixture": cards["fixture"].characteristic_id, "text": text, "gauge": gauge.id if gauge else 0}


def _select(sql: str, told: dict[str, Any]) -> list[Any]:
    with connection.cursor() as cursor:
        cursor.execute(sql, told)
        return cursor.fetchall()
