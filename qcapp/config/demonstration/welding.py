"""The demonstration's weld procedures and qualifications; one qualification has run out."""

from __future__ import annotations

from datetime import datetime, timedelta
from decimal import Decimal

from qcapp.people.roles import Role
from qcapp.production.services.welding import Range, add_procedure, add_qualification

from .cast import Cast

# Invented. Processes by their numbers in ISO 4063: 141 TIG, 135 MAG (from memory).
PROCEDURES = (
    ("WPS-07", "C", "Tube to tube, low-alloy", ("141", "1.0", "3.0"), ("25CrMo4", "S235"), "W-CrMo1 1.6 mm", None),
    ("WPS-08", "A", "Low-alloy tube to mild plate", ("141", "1.5", "6.0"), ("25CrMo4", "S355"), "W-CrMo1 1.6 mm", 120),
    ("WPS-11", "B", "Mild plate and brackets", ("135", "2.0", "8.0"), ("S235", "S355"), "G3Si1 0.8 mm", None),
)
# Which welder, certificate, process and range, issued how many days ago, for how many days.
QUALIFICATIONS = (
    (0, "Q-2214", ("141", "0.7", "6.0"), 200, 730),
    (0, "Q-2215", ("135", "2.0", "10.0"), 200, 730),
    (1, "Q-2107", ("141", "0.7", "6.0"), 150, 730),
    (1, "Q-1988", ("135", "2.0", "10.0"), 800, 730),
)


def make_welding(cast: Cast, at: datetime) -> None:
    """Procedures and qualifications as the welding coordinator wrote them down."""
    by = cast.with_role(Role.WELDING_COORDINATOR)
    for number, revision, title, scope, grades, filler, preheat in PROCEDURES:
        told = {"number": number, "revision": revision, "title": title, "filler": filler, "preheat": preheat}
        add_procedure(by=by, scope=_range(scope), base_grades=grades, at=at, **told)  # type: ignore[arg-type]  # as told
    for turn, certificate, scope, ago, days in QUALIFICATIONS:
        issued_on = at.date() - timedelta(days=ago)
        add_qualification(
            by=by,
            welder=cast.with_role(Role.WELDER, turn),
            certificate=certificate,
            scope=_range(scope),
            issued_on=issued_on,
            expires_on=issued_on + timedelta(days=days),
            at=at,
        )


def _range(scope: tuple[str, str, str]) -> Range:
    process, lowest, highest = scope
    return Range(process, Decimal(lowest), Decimal(highest))
