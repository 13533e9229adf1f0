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


class Method(StrEnum):
    """Ways of correcting that disturb more than they touch and may not be repeated at will."""

    RE_WELDING = "re_welding"
    COLD_STRAIGHTENING = "cold_straightening"

    @property
    def label(self) -> str:
        return {"re_welding": "re-welding", "cold_straightening": "cold straightening"}[self.value]


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


# What the quality manager's own table can never go below: for each disposition the roles that always sign.
ALWAYS_SIGN: dict[Disposition, frozenset[str]] = {
    Disposition.USE_AS_IS: frozenset({"engineer", "quality_manager"}),
    Disposition.REPAIR: frozenset({"engineer", "quality_manager"}),
    Disposition.REWORK: frozenset({"quality_manager"}),
    Disposition.SCRAP: frozenset({"quality_manager"}),
    Disposition.RETURN_TO_SUPPLIER: frozenset({"quality_manager"}),
}
# Two persons decide about a critical finding, except to send it back as it came.
TWO_WHERE_CRITICAL = frozenset({Disposition.REWORK, Disposition.SCRAP})
MAY_DECIDE = frozenset({"quality_manager", "engineer", "welding_coordinator"})
# Who signs a deviation permit before anything is made to it.
PERMIT_ROLES = ("engineer", "quality_manager")


def too_few(severity: str, disposition: Disposition, roles: frozenset[str]) -> str:
    """Why these roles are too few to decide, as a sentence; empty when they suffice."""
    missing = sorted(ALWAYS_SIGN[disposition] - roles)
    if missing:
        names = " and ".join(role.replace("_", " ") for role in missing)
        return f"{disposition.label.capitalize()} always needs the {names}."
    if severity == "critical" and disposition in TWO_WHERE_CRITICAL and len(roles) < 2:
        return f"{disposition.label.capitalize()} of a critical finding is decided by two roles."
    return ""


# Of a lot that is split, the part that leads the report: what has to be corrected comes first.
LEADING = (
    Disposition.REPAIR, Disposition.REWORK, Disposition.USE_AS_IS, Disposition.RETURN_TO_SUPPLIER, Disposition.SCRAP,
)  # fmt: skip
