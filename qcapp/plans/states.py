"""The life of a plan revision. A released one never changes; events beside it say what became of it."""

from __future__ import annotations

from enum import StrEnum

from qcapp.core.workflow import Move, TransitionTable


class RevisionState(StrEnum):
    DRAFT = "draft"
    IN_REVIEW = "in_review"
    RELEASED = "released"
    SUPERSEDED = "superseded"
    WITHDRAWN = "withdrawn"
    DISCARDED = "discarded"

    @property
    def label(self) -> str:
        return self.value.replace("_", " ")


S = RevisionState
REVISION_STATES = TransitionTable(
    initial=S.DRAFT,
    moves=(
        Move("send_for_review", frozenset({S.DRAFT}), S.IN_REVIEW),
        Move("discard", frozenset({S.DRAFT}), S.DISCARDED),
        Move("return", frozenset({S.IN_REVIEW}), S.DRAFT),
        Move("approve", frozenset({S.IN_REVIEW}), S.IN_REVIEW),
        Move("release", frozenset({S.IN_REVIEW}), S.RELEASED),
        Move("supersede", frozenset({S.RELEASED}), S.SUPERSEDED),
        Move("withdraw", frozenset({S.RELEASED, S.SUPERSEDED}), S.WITHDRAWN),
    ),
)
# What was done to a revision, by the name of the move or of the event that began it.
EVENT_WORDS = {
    "import": "imported",
    "revise": "begun from the revision before",
    "send_for_review": "sent for review",
    "discard": "discarded",
    "return": "returned",
    "approve": "approved",
    "release": "released",
    "supersede": "superseded",
    "withdraw": "withdrawn",
}
