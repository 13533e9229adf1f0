"""Where a unit stands. Holds are apart: a unit in build, released or dispatched can be on hold as well."""

from __future__ import annotations

from enum import StrEnum

from qcapp.core.workflow import Move, TransitionTable


class UnitState(StrEnum):
    IN_BUILD = "in_build"
    RELEASED = "released"
    DISPATCHED = "dispatched"
    SCRAPPED = "scrapped"

    @property
    def label(self) -> str:
        return self.value.replace("_", " ")


U = UnitState
UNIT_STATES = TransitionTable(
    initial=U.IN_BUILD,
    moves=(
        Move("release", frozenset({U.IN_BUILD}), U.RELEASED),
        Move("withdraw_release", frozenset({U.RELEASED, U.DISPATCHED}), U.IN_BUILD),
        Move("dispatch", frozenset({U.RELEASED}), U.DISPATCHED),
        Move("scrap", frozenset({U.IN_BUILD}), U.SCRAPPED),
    ),
)


class HeatState(StrEnum):
    """What goods-in decided about a heat; nothing may be made of one that is not accepted."""

    ENTERED = "entered"
    ACCEPTED = "accepted"
    HELD = "held"
    REFUSED = "refused"

    @property
    def label(self) -> str:
        return HEAT_WORDS.get(self.value, self.value)


HEAT_WORDS = {"entered": "not decided"}


class LotState(StrEnum):
    """What the inspection of a lot said; a refused lot is used only after every piece was sorted."""

    OPEN = "open"
    ACCEPTED = "accepted"
    REFUSED = "refused"
    SORTED = "sorted"

    @property
    def label(self) -> str:
        return LOT_WORDS.get(self.value, self.value)


LOT_WORDS = {"open": "not judged"}


USABLE_LOTS = frozenset({LotState.ACCEPTED, LotState.SORTED})
LOT_STATES = TransitionTable(
    initial=LotState.OPEN,
    moves=(
        Move("accept", frozenset({LotState.OPEN}), LotState.ACCEPTED),
        Move("refuse", frozenset({LotState.OPEN, LotState.ACCEPTED}), LotState.REFUSED),
        Move("sort", frozenset({LotState.REFUSED}), LotState.SORTED),
    ),
)
