"""The life of a nonconformance report, in one table."""

from __future__ import annotations

from enum import StrEnum

from qcapp.core.workflow import Move, TransitionTable


class ReportState(StrEnum):
    OPEN = "open"
    CONTAINED = "contained"
    DECIDED = "decided"
    IN_CORRECTION = "in_correction"
    TO_BE_VERIFIED = "to_be_verified"
    CLOSED = "closed"
    WITHDRAWN = "withdrawn"

    @property
    def label(self) -> str:
        return self.value.replace("_", " ")


class Disposition(StrEnum):
    USE_AS_IS = "use_as_is"
    REWORK = "rework"
    REPAIR = "repair"
    SCRAP = "scrap"
    RETURN_TO_SUPPLIER = "return_to_supplier"

    @property
    def label(self) -> str:
        return self.value.replace("_", " ")


S = ReportState
REPORT_STATES = TransitionTable(
    initial=S.OPEN,
    moves=(
        Move("contain", frozenset({S.OPEN}), S.CONTAINED),
        Move("decide", frozenset({S.CONTAINED}), S.DECIDED),
        Move("start_correction", frozenset({S.DECIDED}), S.IN_CORRECTION),
        Move("finish_correction", frozenset({S.IN_CORRECTION}), S.TO_BE_VERIFIED),
        Move("fail_verification", frozenset({S.TO_BE_VERIFIED}), S.CONTAINED),
        Move("close", frozenset({S.TO_BE_VERIFIED}), S.CLOSED),
        Move("close_without_correction", frozenset({S.DECIDED}), S.CLOSED),
        Move("withdraw", frozenset({S.OPEN, S.CONTAINED, S.DECIDED}), S.WITHDRAWN),
    ),
)
ENDED = frozenset({S.CLOSED, S.WITHDRAWN})

# Which dispositions need a correction on the floor; the others close from "decided".
NEEDS_CORRECTION = frozenset({Disposition.REWORK, Disposition.REPAIR})
# Permission for something that does not conform: needs limits of its own and the engineer.
NEEDS_CONCESSION = frozenset({Disposition.USE_AS_IS, Disposition.REPAIR})
# The part does not go on: nothing is proven at closing, and its hold stays.
GOES_NO_FURTHER = frozenset({Disposition.SCRAP, Disposition.RETURN_TO_SUPPLIER})


# Whose signatures a disposition needs, each by another person: (severity, disposition) to roles, in any order.
# Use as is and repair leave something that does not conform, so the engineer always signs them.
_QUALITY = ("quality_manager",)
_BOTH = ("quality_manager", "engineer")
_ALL_THREE = ("quality_manager", "engineer", "welding_coordinator")
DECIDERS: dict[tuple[str, Disposition], tuple[str, ...]] = {
    ("critical", Disposition.USE_AS_IS): _BOTH,
    ("critical", Disposition.REWORK): _BOTH,
    ("critical", Disposition.REPAIR): _ALL_THREE,
    ("critical", Disposition.SCRAP): _BOTH,
    ("critical", Disposition.RETURN_TO_SUPPLIER): _QUALITY,
    ("major", Disposition.USE_AS_IS): _BOTH,
    ("major", Disposition.REWORK): _QUALITY,
    ("major", Disposition.REPAIR): _BOTH,
    ("major", Disposition.SCRAP): _BOTH,
    ("major", Disposition.RETURN_TO_SUPPLIER): _QUALITY,
    ("minor", Disposition.USE_AS_IS): _BOTH,
    ("minor", Disposition.REWORK): _QUALITY,
    ("minor", Disposition.REPAIR): _BOTH,
    ("minor", Disposition.SCRAP): _QUALITY,
    ("minor", Disposition.RETURN_TO_SUPPLIER): _QUALITY,
}
