"""Every pair of a state and a move of a corrective action, of its steps, and of a unit in a field action."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from django.db import transaction

from qcapp.core.errors import QcError, TransitionNotAllowed
from qcapp.core.workflow import mermaid
from qcapp.improvement.services import leading
from qcapp.improvement.services.opening import propose_by_threshold
from qcapp.improvement.states import (
    ACTION_STATES,
    FIELD_CLOSED,
    FIELD_NEXT,
    STEP_STATES,
    ActionState,
    FieldEventKind,
    StepState,
)

from ..factories.improvement import LATER, Led, frame
from ..factories.inspections import Workshop
from ..unchanged import rows_of

DIAGRAM = Path(__file__).resolve().parents[2] / "docs" / "diagrams" / "action-states.md"


def good_frames(workshop: Workshop) -> None:
    """Enough units from before and after the action's day, all in band."""
    for number in range(30, 36):
        frame(workshop, number, "62.01", LATER)
    frame(workshop, 40, "62.02", LATER.replace(day=2))


def proposed(workshop: Workshop) -> Led:
    (number,) = [
        one for one in propose_by_threshold(at=LATER) if Led(workshop.cast, one).view.card.basis == "checkpoint"
    ]
    return Led(workshop.cast, number)


BRINGS: dict[str, Callable[[Workshop], Led]] = {
    "proposed": proposed,
    "open": lambda shop: _with_all(Led.opened(shop)),
    "acting": lambda shop: Led.opened(shop).acting().done(),
    "watched": lambda shop: Led.opened(shop).acting().done().watch(),
    "closed": lambda shop: Led.opened(shop).acting().done().watch().close(),
    "dropped": lambda shop: Led.opened(shop).drop(),
}
MOVES: dict[str, Callable[[Led], object]] = {
    "accept": lambda led: leading.accept(by=led.cast.engineer, number=led.number, at=LATER),
    "agree": lambda led: led.agree(),
    "watch": lambda led: led.watch(),
    "look_again": lambda led: led.look_again(),
    "close": lambda led: led.close(),
    "drop": lambda led: led.drop(),
}
# Rules besides the table, met before it.
STANDS_AGAINST = {
    ("proposed", "agree"): "causes_missing",
    ("proposed", "watch"): "steps_not_verified",
    ("open", "watch"): "steps_not_verified",
    ("dropped", "agree"): "causes_missing",
    ("dropped", "watch"): "steps_not_verified",
}


def _with_all(led: Led) -> Led:
    led.explain()
    led.step()
    return led


def outcome(led: Led, move: str) -> str:
    """The state after the move, undone afterwards, or the code that refused it."""
    try:
        with transaction.atomic():
            MOVES[move](led)
            state = led.state
            transaction.set_rollback(True)
            return state
    except QcError as refusal:
        told = refusal.details.get("possible", ACTION_STATES.possible(led.state))
        return refusal.code if told == ACTION_STATES.possible(led.state) else "told what is not possible"


def expected(state: str, move: str) -> str:
    if (state, move) in STANDS_AGAINST:
        return STANDS_AGAINST[state, move]
    targets = [one.target for one in ACTION_STATES.moves if one.name == move and state in one.source]
    return targets[0] if targets else "transition_not_allowed"


@pytest.mark.django_db
@pytest.mark.parametrize("state", BRINGS)
def test_makes_the_moves_of_the_table_and_no_other(thrice: Workshop, state: str) -> None:
    good_frames(thrice)
    assert thrice.cast.engineer
    led = BRINGS[state](thrice)
    assert led.state == state
    before = rows_of("improvement", "shop_messages")
    assert {move: outcome(led, move) for move in MOVES} == {move: expected(state, move) for move in MOVES}
    assert rows_of("improvement", "shop_messages") == before


def test_tries_every_state_and_every_move() -> None:
    assert set(BRINGS) == set(ActionState) == set(ACTION_STATES.states())
    assert set(MOVES) == {move.name for move in ACTION_STATES.moves}
    assert set(ACTION_STATES.reachable()) == set(ActionState)
    assert [state for state in ActionState if not ACTION_STATES.possible(state)] == ["closed", "dropped"]


STEP_BRINGS: dict[str, tuple[str, ...]] = {
    "agreed": (), "done": ("do",), "verified": ("do", "verify"), "cancelled": ("cancel",),
}  # fmt: skip


@pytest.mark.django_db
@pytest.mark.parametrize("state", STEP_BRINGS)
@pytest.mark.parametrize("move", [move.name for move in STEP_STATES.moves])
def test_moves_a_step_by_the_table_and_no_other_way(led: Led, state: str, move: str) -> None:
    step = led.step()
    people: dict[str, Any] = {"do": led.cast.welder}
    for name in STEP_BRINGS[state]:
        led.move(step, name, people.get(name, led.cast.quality_manager))
    targets = [one.target for one in STEP_STATES.moves if one.name == move and state in one.source]
    before = rows_of("improvement")
    try:
        led.move(step, move, people.get(move, led.cast.engineer))
        found = led.view.steps[0].state
    except TransitionNotAllowed:
        assert rows_of("improvement") == before
        found = ""
    assert found == (targets[0] if targets else "")


def test_brings_a_step_into_every_state() -> None:
    assert set(STEP_BRINGS) == set(StepState) == set(STEP_STATES.states())


def test_leaves_a_closed_unit_of_a_field_action_alone() -> None:
    assert set(FIELD_NEXT) == {"", *FieldEventKind}
    assert {kind for kind, following in FIELD_NEXT.items() if not following} == FIELD_CLOSED


def test_keeps_the_diagram_of_the_documents_current() -> None:
    text = DIAGRAM.read_text(encoding="utf-8")
    assert mermaid(ACTION_STATES) in text
    assert mermaid(STEP_STATES) in text
