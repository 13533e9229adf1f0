"""The demonstration's weld procedures and qualifications; one qualification has run out."""

from __future__ import annotations

from datetime import datetime, timedelta
from decimal import Decimal

import uuid_utils.compat as uuids

from qcapp.people.roles import Role
from qcapp.people.services import demonstration_proof
from qcapp.production.queries.welding import qualifications, weld_procedures
from qcapp.production.services import record_weld
from qcapp.production.services.authorising import authorise_inspector, record_eyesight
from qcapp.production.services.continuity import confirm_qualification
from qcapp.production.services.fixtures import add_fixture, verify_fixture
from qcapp.production.services.welding import Arc, Range, add_procedure, add_qualification, start_weld

from .cast import Cast

# Invented. Processes by their numbers in ISO 4063: 141 TIG, 135 MAG (from memory).
PROCEDURES = (
    ("WPS-07", "C", "Tube to tube, low-alloy", ("141", "1.0", "3.0"), ("25CrMo4", "S235"), "W-CrMo1 1.6 mm", None),
    ("WPS-08", "A", "Low-alloy tube to mild plate", ("141", "1.5", "6.0"), ("25CrMo4", "S355"), "W-CrMo1 1.6 mm", 120),
    ("WPS-11", "B", "Mild plate and brackets", ("135", "2.0", "8.0"), ("S235", "S355"), "G3Si1 0.8 mm", None),
)
# Which welder, certificate, process and range, issued how many days ago, for how many days.
# Those of process 141 are confirmed where these records begin; Q-2215 is not, for want of such work, and has lapsed.
QUALIFICATIONS = (
    (0, "Q-2214", ("141", "0.7", "6.0"), 200, 730),
    (0, "Q-2215", ("135", "2.0", "10.0"), 200, 730),
    (1, "Q-2107", ("141", "0.7", "6.0"), 150, 730),
    (1, "Q-1988", ("135", "2.0", "10.0"), 800, 730),
)


FILLERS = ("F-2231", "F-2247", "F-2260")  # lots of filler rod, invented

# Invented: number, name, verified how many days ago.
FIXTURES = (
    ("TF-01", "tack fixture 1, frames", 120), ("TF-02", "tack fixture 2, frames", 345),
    ("RS-01", "restraint for welding out", 372), ("AF-01", "alignment fixture, head and pivot", 60),
)  # fmt: skip


def make_welding(cast: Cast, at: datetime) -> None:
    """Procedures and qualifications as the welding coordinator wrote them down."""
    by = cast.with_role(Role.WELDING_COORDINATOR)
    for number, revision, title, scope, grades, filler, preheat in PROCEDURES:
        told = {"number": number, "revision": revision, "title": title, "filler": filler, "preheat": preheat}
        add_procedure(by=by, scope=_range(scope), base_grades=grades, at=at, **told)  # type: ignore[arg-type]  # as told
    for turn, certificate, scope, ago, days in QUALIFICATIONS:
        issued_on = at.date() - timedelta(days=ago)
        ends = issued_on + timedelta(days=days)
        add_qualification(
            by=by, welder=cast.with_role(Role.WELDER, turn), certificate=certificate, scope=_range(scope),
            issued_on=issued_on, expires_on=ends, at=at,
        )  # fmt: skip
    for one in qualifications():
        if one.process == "141":
            evidence = "Weld book of cell 1, kept on paper until these records began."
            confirm_qualification(proof=demonstration_proof(by, at), uuid=one.uuid, evidence=evidence, at=at)


def make_papers(cast: Cast, at: datetime) -> None:
    """Fixtures with their verifications, one overdue since a week; inspectors authorised, one method run out."""
    keeper, by = cast.with_role(Role.METROLOGY), cast.with_role(Role.WELDING_COORDINATOR)
    for number, name, ago in FIXTURES:
        add_fixture(by=keeper, number=number, name=name, at=at)
        done_on = at.date() - timedelta(days=ago)
        verify_fixture(
            by=keeper, number=number, done_on=done_on, passed=True, done_by="Calibration room (invented)",
            document=f"FV-{number}", at=at,
        )  # fmt: skip
    for turn in range(3):
        inspector = cast.with_role(Role.INSPECTOR, turn)
        record_eyesight(
            by=by, inspector=inspector, done_on=at.date() - timedelta(days=40 + 30 * turn), passed=True, at=at
        )
        for method, days in (("visual", 1500), ("penetrant", 900 + 200 * turn)):
            issued_on = at.date() - timedelta(days=300)
            authorise_inspector(
                by=by, inspector=inspector, method=method, certificate=f"I-{30 + turn}{method[0].upper()}",
                issued_on=issued_on, expires_on=issued_on + timedelta(days=days), at=at,
            )  # fmt: skip


def weld_joints(cast: Cast, turn: int, serial: str, joints: list[str], at: datetime) -> None:
    """What a welder said before the arc on these joints; where no procedure is kept, only that it was done."""
    welder = cast.with_role(Role.WELDER, turn)
    known = next((one for one in weld_procedures() if one.number == "WPS-07"), None)
    if known is None:
        record_weld(by=welder, welder=welder, serial=serial, joints=joints, procedure="WPS-07", at=at)
        return
    lot = FILLERS[int(serial[-2:]) // 10 % len(FILLERS)]
    arc = Arc(
        operation=uuids.uuid7(), serial=serial, joints=tuple(joints), procedure=known.uuid, thickness=Decimal("2.5"),
        base_grade="25CrMo4", filler_lot=lot, machine=f"TIG-{turn + 1}", fixture="RS-01",
    )  # fmt: skip
    start_weld(by=welder, arc=arc, unqualified="refuse", at=at)


def _range(scope: tuple[str, str, str]) -> Range:
    process, lowest, highest = scope
    return Range(process, Decimal(lowest), Decimal(highest))
