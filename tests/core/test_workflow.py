"""Moves between states: each is in the table or refused, and a refusal names what is possible."""

from __future__ import annotations

from dataclasses import FrozenInstanceError

import pytest
from hypothesis import given
from hypothesis import strategies as st

from qcapp.core.errors import Invalid, TransitionNotAllowed
from qcapp.core.workflow import Move, TransitionTable, mermaid

REVISION = TransitionTable(
    "draft",
    (
        Move("send_to_review", frozenset({"draft"}), "in_review"),
        Move("send_back", frozenset({"in_review"}), "draft"),
        Move("release", frozenset({"in_review"}), "released"),
        Move("supersede", frozenset({"released"}), "superseded"),
        Move("withdraw", frozenset({"released", "in_review"}), "withdrawn"),
    ),
)
NAMES = st.sampled_from(["draft", "in_review", "released", "held", "closed"])
MOVES = st.builds(Move, st.sampled_from("abcd"), st.frozensets(NAMES, min_size=1), NAMES)


@st.composite
def tables(draw: st.DrawFn) -> TransitionTable:
    seen: set[tuple[str, str]] = set()
    kept = []
    for move in draw(st.lists(MOVES, max_size=8)):
        pairs = {(state, move.name) for state in move.source}
        if not pairs & seen:
            seen |= pairs
            kept.append(move)
    return TransitionTable(draw(NAMES), tuple(kept))


def test_cannot_be_changed_once_built() -> None:
    with pytest.raises(FrozenInstanceError):
        REVISION.initial = "released"  # type: ignore[misc]  # the mistake it is to catch
    with pytest.raises(FrozenInstanceError):
        REVISION.moves[0].target = "released"  # type: ignore[misc]


def test_gives_the_state_after_a_move() -> None:
    assert REVISION.next("draft", "send_to_review") == "in_review"
    assert REVISION.next("released", "withdraw") == "withdrawn"


def test_lists_the_moves_of_a_state_in_table_order() -> None:
    assert REVISION.possible("in_review") == ["send_back", "release", "withdraw"]
    assert REVISION.possible("superseded") == []


def test_lists_the_states_with_the_initial_one_first() -> None:
    assert REVISION.states() == ["draft", "in_review", "released", "superseded", "withdrawn"]
    assert TransitionTable("only", ()).states() == ["only"]


def test_refuses_a_move_that_does_not_start_here_and_names_the_possible_ones() -> None:
    with pytest.raises(TransitionNotAllowed) as refusal:
        REVISION.next("in_review", "supersede")
    assert refusal.value.code == "transition_not_allowed"
    assert refusal.value.details["possible"] == ["send_back", "release", "withdraw"]
    assert "send back, release, withdraw" in refusal.value.message


def test_says_so_when_a_state_has_no_way_out() -> None:
    with pytest.raises(TransitionNotAllowed, match="No move leads on"):
        REVISION.next("superseded", "release")


def test_refuses_a_move_that_no_state_knows() -> None:
    with pytest.raises(TransitionNotAllowed) as refusal:
        REVISION.next("draft", "burn")
    assert refusal.value.details["possible"] == ["send_to_review"]


def test_refuses_an_unknown_state() -> None:
    with pytest.raises(Invalid) as refusal:
        REVISION.possible("lost")
    assert refusal.value.code == "state_unknown"


def test_refuses_a_table_in_which_order_would_decide() -> None:
    twice = (Move("go", frozenset({"a"}), "b"), Move("go", frozenset({"a", "c"}), "d"))
    with pytest.raises(ValueError, match="two moves named go"):
        TransitionTable("a", twice)


def test_refuses_a_move_that_starts_nowhere() -> None:
    with pytest.raises(ValueError, match="starts nowhere"):
        TransitionTable("a", (Move("go", frozenset(), "b"),))


def test_knows_which_states_can_be_reached() -> None:
    stray = TransitionTable("a", (Move("go", frozenset({"a"}), "b"), Move("come", frozenset({"c"}), "a")))
    assert stray.reachable() == ["a", "b"]
    assert REVISION.reachable() == ["draft", "in_review", "released", "withdrawn", "superseded"]


@given(tables(), st.sampled_from("abcd"))
def test_moves_exactly_where_the_table_says(table: TransitionTable, name: str) -> None:
    for state in table.states():
        targets = [m.target for m in table.moves if m.name == name and state in m.source]
        if targets:
            assert [table.next(state, name)] == targets
            assert name in table.possible(state)
        else:
            with pytest.raises(TransitionNotAllowed):
                table.next(state, name)


@given(tables(), st.lists(st.integers(0, 20), max_size=12))
def test_reaches_only_states_that_it_calls_reachable(table: TransitionTable, choices: list[int]) -> None:
    state = table.initial
    for choice in choices:
        possible = table.possible(state)
        if not possible:
            break
        state = table.next(state, possible[choice % len(possible)])
        assert state in table.reachable()


def test_draws_the_table_as_a_state_diagram() -> None:
    assert mermaid(REVISION).splitlines() == [
        "stateDiagram-v2",
        '    state "in review" as in_review',
        "    [*] --> draft",
        "    draft --> in_review: send to review",
        "    in_review --> draft: send back",
        "    in_review --> released: release",
        "    released --> superseded: supersede",
        "    in_review --> withdrawn: withdraw",
        "    released --> withdrawn: withdraw",
        "    superseded --> [*]",
        "    withdrawn --> [*]",
    ]


@given(tables())
def test_draws_each_move_of_each_state_once(table: TransitionTable) -> None:
    arrows = [line for line in mermaid(table).splitlines() if " --> " in line and "[*]" not in line]
    assert len(arrows) == len(set(arrows)) == sum(len(move.source) for move in table.moves)
