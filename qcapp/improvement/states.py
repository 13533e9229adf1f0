"""The life of a corrective action and of one of its steps, and what becomes of a unit in a field action."""

from __future__ import annotations

from enum import StrEnum

from qcapp.core.workflow import Move, TransitionTable


class ActionState(StrEnum):
    PROPOSED = "proposed"
    OPEN = "open"
    ACTING = "acting"
    WATCHED = "watched"
    CLOSED = "closed"
    DROPPED = "dropped"

    @property
    def label(self) -> str:
        return ACTION_WORDS[self]


A = ActionState
ACTION_WORDS = {
    A.PROPOSED: "proposed",
    A.OPEN: "looking for the cause",
    A.ACTING: "being done",
    A.WATCHED: "effect is watched",
    A.CLOSED: "closed, effective",
    A.DROPPED: "dropped",
}
ACTION_STATES = TransitionTable(
    initial=A.PROPOSED,
    moves=(
        Move("accept", frozenset({A.PROPOSED}), A.OPEN),
        Move("agree", frozenset({A.OPEN}), A.ACTING),
        Move("watch", frozenset({A.ACTING}), A.WATCHED),
        Move("look_again", frozenset({A.ACTING, A.WATCHED}), A.OPEN),
        Move("close", frozenset({A.WATCHED}), A.CLOSED),
        Move("drop", frozenset({A.PROPOSED, A.OPEN, A.ACTING}), A.DROPPED),
    ),
)
ENDED = frozenset({A.CLOSED, A.DROPPED})


class StepState(StrEnum):
    AGREED = "agreed"
    DONE = "done"
    VERIFIED = "verified"
    CANCELLED = "cancelled"


STEP = StepState
STEP_STATES = TransitionTable(
    initial=STEP.AGREED,
    moves=(
        Move("do", frozenset({STEP.AGREED}), STEP.DONE),
        Move("verify", frozenset({STEP.DONE}), STEP.VERIFIED),
        Move("send_back", frozenset({STEP.DONE}), STEP.AGREED),
        Move("cancel", frozenset({STEP.AGREED}), STEP.CANCELLED),
    ),
)


class FieldEventKind(StrEnum):
    NOTIFIED = "notified"
    ANSWERED = "answered"
    FINE = "fine"  # checked, and nothing to correct
    TO_CORRECT = "to_correct"  # checked, and to be corrected
    CORRECTED = "corrected"

    @property
    def label(self) -> str:
        return FIELD_WORDS[self]


F = FieldEventKind
FIELD_WORDS = {
    F.NOTIFIED: "notified",
    F.ANSWERED: "answered",
    F.FINE: "checked, nothing to correct",
    F.TO_CORRECT: "checked, to be corrected",
    F.CORRECTED: "corrected",
}
# What may be recorded next: a unit is checked before it is corrected, and what is closed is left alone. Whether the
# customer was notified or has answered holds nothing up: a unit that stands in the workshop may be checked at once.
FIELD_NEXT: dict[str, tuple[FieldEventKind, ...]] = {
    "": (F.NOTIFIED, F.ANSWERED, F.FINE, F.TO_CORRECT),
    F.NOTIFIED: (F.NOTIFIED, F.ANSWERED, F.FINE, F.TO_CORRECT),
    F.ANSWERED: (F.NOTIFIED, F.ANSWERED, F.FINE, F.TO_CORRECT),
    F.TO_CORRECT: (F.NOTIFIED, F.ANSWERED, F.CORRECTED),
    F.FINE: (),
    F.CORRECTED: (),
}
FIELD_CLOSED = frozenset({F.FINE, F.CORRECTED})
