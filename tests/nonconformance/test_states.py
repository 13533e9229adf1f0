"""Every pair of a state and a move: what is in the table happens, everything else changes nothing and says what can."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from django.db import transaction

from qcapp.core.errors import QcError, TransitionNotAllowed
from qcapp.core.workflow import mermaid
from qcapp.nonconformance.states import DECIDERS, REPORT_STATES, Disposition, ReportState
from qcapp.people.roles import ACTS, Act, Role

from ..factories.nonconformance import Case
from ..unchanged import rows_of

DIAGRAM = Path(__file__).resolve().parents[2] / "docs" / "diagrams" / "report-states.md"

# How a report comes into each state, and a variant of "decided" for the disposition that needs no correction.
BRINGS: dict[str, Callable[[Case], object]] = {
    "open": lambda case: case,
    "contained": lambda case: case.contain().propose(),
    "decided": lambda case: case.decide(),
    "decided, use as is": lambda case: case.decide("use_as_is"),
    "in_correction": lambda case: case.decide().start(),
    "to_be_verified": lambda case: case.decide().start().finish().inspect_again(),
    "closed": lambda case: case.decide().start().finish().inspect_again().close(),
    "withdrawn": lambda case: case.correct_the_entry().withdraw(),
}
# Each move of the table as somebody makes it, first of all what it needs besides the state.
MOVES: dict[str, Callable[[Case], object]] = {
    "contain": lambda case: case.contain(),
    "decide": lambda case: case.sign("quality_manager", "engineer"),
    "start_correction": lambda case: case.start(),
    "finish_correction": lambda case: case.finish(),
    "fail_verification": lambda case: case.fail(),
    "close": lambda case: case.close(),
    "close_without_correction": lambda case: case.close_without_correction(),
    "withdraw": lambda case: case.withdraw(),
}
# Legal by the table, but refused for what was decided, or for the answer that counts.
STANDS_AGAINST = {
    ("open", "withdraw"): "still_does_not_conform",
    ("contained", "withdraw"): "still_does_not_conform",
    ("decided", "withdraw"): "still_does_not_conform",
    ("decided, use as is", "withdraw"): "still_does_not_conform",
    ("decided", "close_without_correction"): "correction_needed",
    ("decided, use as is", "start_correction"): "no_correction_needed",
}


def outcome(case: Case, move: str) -> str:
    """The state after the move, undone afterwards, or the code that refused it."""
    try:
        with transaction.atomic():
            MOVES[move](case)
            state = case.state
            transaction.set_rollback(True)
            return state
    except QcError as refusal:
        complaints = _says_what_is_possible(case, refusal) if isinstance(refusal, TransitionNotAllowed) else ""
        return refusal.code + complaints


def _says_what_is_possible(case: Case, refusal: TransitionNotAllowed) -> str:
    """Empty when the refusal names the moves that are possible, to programs and to people."""
    possible = REPORT_STATES.possible(case.state)
    named = refusal.details["possible"] == possible
    return "" if named and all(name.replace("_", " ") in refusal.message for name in possible) else ", silent"


def expected(brought: str, move: str) -> str:
    state = brought.partition(",")[0]
    if (brought, move) in STANDS_AGAINST:
        return STANDS_AGAINST[brought, move]
    targets = [one.target for one in REPORT_STATES.moves if one.name == move and state in one.source]
    return targets[0] if targets else "transition_not_allowed"


@pytest.mark.django_db
@pytest.mark.parametrize("brought", BRINGS)
def test_makes_the_moves_of_the_table_and_no_other(case: Case, brought: str) -> None:
    BRINGS[brought](case)
    assert case.state == brought.partition(",")[0]
    before = rows_of("nonconformance", "production", "inspections")
    assert {move: outcome(case, move) for move in MOVES} == {move: expected(brought, move) for move in MOVES}
    assert rows_of("nonconformance", "production", "inspections") == before


@pytest.mark.django_db
def test_withdraws_from_every_state_before_the_correction(case: Case) -> None:
    case.correct_the_entry()
    for bring in ("open", "contained", "decided"):
        with transaction.atomic():
            BRINGS[bring](case)
            assert case.withdraw().state == "withdrawn"
            transaction.set_rollback(True)


def test_tries_every_state_and_every_move() -> None:
    assert {name.partition(",")[0] for name in BRINGS} == set(ReportState) == set(REPORT_STATES.states())
    assert set(MOVES) == {move.name for move in REPORT_STATES.moves}
    assert set(REPORT_STATES.reachable()) == set(ReportState)


def test_ends_closed_or_withdrawn_and_nowhere_else() -> None:
    assert [state for state in ReportState if not REPORT_STATES.possible(state)] == ["closed", "withdrawn"]


def test_asks_signatures_for_every_severity_and_disposition() -> None:
    pairs = {(severity, choice) for severity in ("critical", "major", "minor") for choice in Disposition}
    assert set(DECIDERS) == pairs
    for (_, choice), roles in DECIDERS.items():
        assert roles, choice
        assert len(set(roles)) == len(roles)
        assert {Role(role) for role in roles} <= ACTS[Act.DECIDE_REPORT]
        if choice in {Disposition.USE_AS_IS, Disposition.REPAIR}:
            assert "engineer" in roles  # ISO 9001:2015, 8.7.1: by a person with authority; the engineer's limits


def test_keeps_the_diagram_of_the_documents_current() -> None:
    assert mermaid(REPORT_STATES) in DIAGRAM.read_text(encoding="utf-8")
