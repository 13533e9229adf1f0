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
