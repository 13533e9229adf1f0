"""For whom a report waits in each state, and since when it counts as old."""

from __future__ import annotations

from collections.abc import Collection

from qcapp.people.roles import Role

from .states import NEEDS_CORRECTION, Disposition, ReportState

# What the next step is, and the roles that take it. A disposition that is proposed waits for the roles it still needs.
DECIDERS = (Role.QUALITY_MANAGER,)
CORRECTORS = (Role.WELDER, Role.ASSEMBLER)
WAITS: dict[str, tuple[str, tuple[Role, ...]]] = {
    ReportState.OPEN: ("contain", (Role.INSPECTOR, Role.QUALITY_MANAGER)),
    ReportState.CONTAINED: ("propose a disposition", DECIDERS),
    ReportState.IN_CORRECTION: ("finish the correction", CORRECTORS),
    ReportState.TO_BE_VERIFIED: ("inspect again and close", (Role.INSPECTOR, Role.QUALITY_MANAGER)),
}
AGES = ((1, "up to a day"), (3, "up to 3 days"), (7, "up to a week"), (14, "up to two weeks"), (0, "longer"))
LATE_AFTER = 7  # days in one state; the list says so in words and colour


def next_step(state: str, disposition: str, missing: Collection[str]) -> tuple[str, tuple[Role, ...]]:
    """What is done next and who does it; nobody, where the report has ended."""
    if state == ReportState.CONTAINED and missing:
        return "sign the disposition", tuple(role for role in Role if role in missing)
    if state == ReportState.DECIDED:
        corrected = bool(disposition) and Disposition(disposition) in NEEDS_CORRECTION
        return ("start the correction", CORRECTORS) if corrected else ("close", DECIDERS)
    return WAITS.get(state, ("", ()))


def states_of(role: Role) -> list[str]:
    """States in which a report waits for the role whatever was proposed or decided."""
    return [state for state, (_, roles) in WAITS.items() if role in roles and state != ReportState.CONTAINED]
