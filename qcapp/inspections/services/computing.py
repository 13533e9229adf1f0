"""Derived checkpoints, computed by the server in the transaction of the answers that they read."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import TYPE_CHECKING
from uuid import uuid5

from qcapp.core.checkpoints.kinds import kind
from qcapp.core.errors import Invalid
from qcapp.core.formulas import order
from qcapp.core.sealing import digest

from ..queries.slots import heads
from ..queries.standing import inputs_of
from .circumstances import Bench, Row
from .drafts import Draft, judged_answer, plain_json

if TYPE_CHECKING:
    from qcapp.plans.queries import CheckpointCard


def computed(bench: Bench, taken: Sequence[Draft]) -> list[tuple[Draft, Draft]]:
    """Each derived answer that changes with the answers taken, beside the one that set it off; not stored yet.

    Computed once all inputs are answered, and again when one of them changes. The operation is named after the
    trigger and the key (UUID version 5), so that sending again computes nothing twice. A formula that fails on
    these values leaves its checkpoint open.
    """
    own = bench.plan.revision.uuid
    cards = bench.cards[own]
    triggers = {draft.card.key: draft for draft in taken if cards.get(draft.card.key) is draft.card}
    roots = {draft.operation: draft for draft in taken}
    found = []
    for key in _in_order(cards):
        trigger = _trigger(cards[key], triggers)
        draft = _compute(bench, cards[key], cards, trigger) if trigger else None
        if trigger and draft:
            bench.rows[draft.row.slot].append(draft.row)
            triggers[key] = draft
            roots[draft.operation] = roots[trigger.operation]
            found.append((draft, roots[draft.operation]))
    return found


def _in_order(cards: Mapping[str, CheckpointCard]) -> list[str]:
    """Keys of the derived checkpoints, those that others read first."""
    formulas = {card.key: card.spec.formula for card in cards.values() if card.kind == "derived"}
    return [key for key in order(formulas) if key in formulas] if formulas else []


def _trigger(card: CheckpointCard, triggers: Mapping[str, Draft]) -> Draft | None:
    """The last taken answer that this checkpoint reads."""
    read = [triggers[key] for key in inputs_of(card) if key in triggers]
    return read[-1] if read else None


def _compute(bench: Bench, card: CheckpointCard, cards: Mapping[str, CheckpointCard], trigger: Draft) -> Draft | None:
    values = _values(bench, card, cards)
    if values is None or not bench.is_due(card):
        return None
    try:
        answer = kind("derived").compute(card.spec, values).to_json()  # type: ignore[attr-defined]
        judged = judged_answer(answer, card, None)
    except Invalid:
        return None
    turn = bench.round_of(card)
    standing = heads(bench.rows.get((card.id, turn, 1), []))
    if [row.answer for row in standing] == [judged.answer]:
        return None
    operation = uuid5(trigger.operation, card.key)
    body = {"computed": card.key, "trigger": str(trigger.operation), "answer": judged.answer}
    return Draft(
        bench=bench,
        card=card,
        operation=operation,
        body_digest=digest(plain_json(body)),
        round=turn,
        inspection=1,
        purpose="computed",
        answer=judged.answer,
        described=judged.described,
        raw="",
        outcome=judged.outcome,
        excess=judged.excess,
        nearest_limit=judged.nearest_limit,
        plot=judged.plot,
        gauge=None,
        expanded_uncertainty="",
        person=trigger.person,
        recorded_at=trigger.recorded_at,
        base=trigger.operation,
        replaces=tuple(str(row.operation) for row in standing),
        reason="",
    )


def _values(bench: Bench, card: CheckpointCard, cards: Mapping[str, CheckpointCard]) -> dict[str, Decimal] | None:
    """The numbers that the formula reads, None when one of them is missing or in conflict."""
    found: dict[str, Decimal] = {}
    for key in inputs_of(card):
        row = _counting(bench, cards[key]) if key in cards else None
        number = _number(cards[key], row) if row else None
        if number is None:
            return None
        found[key] = number
    return found


def _counting(bench: Bench, card: CheckpointCard) -> Row | None:
    """The answer that counts in the checkpoint's current round: the deciding third, else the first."""
    turn = bench.round_of(card)
    for inspection in (3, 1):
        standing = heads(bench.rows.get((card.id, turn, inspection), []))
        if standing:
            return standing[0] if len(standing) == 1 else None
    return None


def _number(card: CheckpointCard, row: Row) -> Decimal | None:
    number = kind(card.kind).read_answer(json.loads(row.answer), card.spec).number()
    return number if number is None else Decimal(number)
