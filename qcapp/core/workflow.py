"""States and the moves between them, read from a table. Nothing that moves a state lives anywhere else.

A room writes its table in `states.py`; its services ask the table for the next state before they write
anything. The diagrams of the documents are drawn from the same tables.
"""

from __future__ import annotations

from dataclasses import dataclass

from qcapp.core.errors import Invalid, TransitionNotAllowed


@dataclass(frozen=True)
class Move:
    """A named step that leads from any state of `source` to `target`."""

    name: str
    source: frozenset[str]
    target: str


@dataclass(frozen=True)
class TransitionTable:
    """All moves of one thing, and the state in which it begins.

    Building a table raises ValueError when a move starts nowhere or when a state has two moves of one name:
    the next state must never be a matter of order.
    """

    initial: str
    moves: tuple[Move, ...]

    def __post_init__(self) -> None:
        object.__setattr__(self, "moves", tuple(self.moves))
        seen: set[tuple[str, str]] = set()
        for move in self.moves:
            if not move.source:
                raise ValueError(f"The move {move.name} starts nowhere; give it at least one source state.")
            for state in move.source:
                if (state, move.name) in seen:
                    raise ValueError(f"The state {state} has two moves named {move.name}; rename one.")
                seen.add((state, move.name))

    def states(self) -> list[str]:
        """Every state of the table, the initial one first, then in the order of the moves."""
        found = [self.initial]
        for move in self.moves:
            found += [*sorted(move.source), move.target]
        return list(dict.fromkeys(found))

    def possible(self, state: str) -> list[str]:
        """Names of the moves that start at `state`, in table order. Raises Invalid on an unknown state."""
        if state not in self.states():
            raise Invalid(
                "state_unknown",
                f"There is no state “{state}”; known are {', '.join(self.states())}.",
                state=str(state),
            )
        return [move.name for move in self.moves if state in move.source]

    def next(self, state: str, move_name: str) -> str:
        """The state after the move. Raises TransitionNotAllowed, naming the possible moves."""
        possible = self.possible(state)
        for move in self.moves:
            if move.name == move_name and state in move.source:
                return move.target
        raise TransitionNotAllowed(
            "transition_not_allowed",
            _refusal(state, move_name, possible),
            possible=possible,
            state=str(state),
        )

    def reachable(self) -> list[str]:
        """The states that some sequence of moves reaches from the initial one, itself included."""
        found = [self.initial]
        for state in found:
            found += [m.target for m in self.moves if state in m.source and m.target not in found]
        return list(dict.fromkeys(found))


def _words(name: str) -> str:
    return name.replace("_", " ")


def _refusal(state: str, move_name: str, possible: list[str]) -> str:
    choice = f"Possible now: {', '.join(map(_words, possible))}." if possible else "No move leads on from there."
    return " ".join([f"“{_words(move_name)}” is not possible while the state is “{_words(state)}”.", choice])


def mermaid(table: TransitionTable) -> str:
    """The table as the text of a state diagram; states without a way out end in the final dot."""
    lines = ["stateDiagram-v2"]
    lines += [f'    state "{_words(state)}" as {state}' for state in table.states() if "_" in state]
    lines.append(f"    [*] --> {table.initial}")
    for move in table.moves:
        lines += [f"    {source} --> {move.target}: {_words(move.name)}" for source in sorted(move.source)]
    lines += [f"    {state} --> [*]" for state in table.states() if not table.possible(state)]
    return "\n".join(lines) + "\n"
