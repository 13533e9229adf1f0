"""Where a report belongs in the counts: its facts in columns, written with it."""

from __future__ import annotations

import json
from typing import Any

from qcapp.core.errors import NotFound
from qcapp.inspections.queries import Adopted, adopted
from qcapp.inspections.queries.series import texts_of

from ..models import ReportPlace

FIXTURE_KEY = "fixture"  # the record checkpoint that names the weld fixture


def place(report: Any) -> None:
    """Write the place of a report that was just raised: joint, fixture and supplier as far as they are known."""
    facts = json.loads(report.facts)
    plan = _plan_of(report.item_id)
    cards = plan.checkpoints if plan else ()
    here = next((card for card in cards if card.id == report.checkpoint_id), None)
    ReportPlace.objects.create(
        report=report, family_id=plan.revision.family_id if plan else report.item.family_id,
        characteristic_id=here.characteristic_id if here else report.checkpoint and report.checkpoint.characteristic_id,
        raised_at=report.raised_at, joint=_text(facts, "joint", 12) or ("" if here is None else here.joint),
        fixture=_text(facts, "fixture", 60) if "fixture" in facts else _fixture(report.item_id, cards)[:60],
        supplier=_text(facts, "supplier", 80),
    )  # fmt: skip


def _plan_of(item_id: int) -> Adopted | None:
    try:
        return adopted(item_id)
    except NotFound:  # a lot, or something that came in
        return None


def _fixture(item_id: int, plan: tuple[Any, ...]) -> str:
    keys = [card.characteristic_id for card in plan if card.key == FIXTURE_KEY and card.kind == "record"]
    return texts_of([item_id], keys).get(item_id, "") if keys else ""


def _text(facts: dict[str, Any], name: str, longest: int) -> str:
    return str(facts.get(name) or "")[:longest]
