"""Holds on units that may have the same fault, and the notes of those who looked at them."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import TYPE_CHECKING

from django.db import transaction

from qcapp.audit.verbs import Verb
from qcapp.core.errors import Invalid, Refused
from qcapp.lib.plain_text import plain_text
from qcapp.people.roles import Act
from qcapp.people.services import require
from qcapp.production.queries import holds_of, unit_by_serial
from qcapp.production.services import lock_unit, place_hold

from ..queries import units_of_report
from ..states import ENDED
from .steps import enter, locked, remark

if TYPE_CHECKING:
    from qcapp.people.models import Person

MOST = 2000


@transaction.atomic
def hold_suspects(*, by: Person, number: str, serials: Sequence[str], reason: str, at: datetime) -> list[str]:
    """Put the chosen units on hold for a report in one act; gives the serials newly held.

    A unit that the report holds already stays as it is; one whose hold was lifted gets a new one. Closing the report
    does not lift these holds: each is lifted by its own signed act. Raises NotAllowed, NotFound `report_unknown`,
    `serial_unknown`, Invalid `no_units`, `too_many_units` or of `plain_text`, Refused `report_ended`.
    """
    require(by, Act.HOLD_SUSPECTS, at)
    reason = plain_text("The reason", " ".join(reason.split()), longest=240)
    wanted = list(dict.fromkeys(serial.strip().upper() for serial in serials if serial.strip()))
    if not 1 <= len(wanted) <= MOST:
        code = "no_units" if not wanted else "too_many_units"
        raise Invalid(code, f"Choose from 1 to {MOST} units.")
    units = {serial: unit_by_serial(serial) for serial in wanted}
    own = set(units_of_report(number))
    for unit_id in sorted({unit.id for unit in units.values()} | own):
        lock_unit(unit_id)
    report = locked(number)
    if report.status.state in ENDED:
        raise Refused("report_ended", f"{report.number} has ended; raise a new report for these units.")
    held = []
    for serial, unit in units.items():
        source = _source(unit.item_id, report.number)
        if unit.id not in own and source and unit.state != "scrapped":
            said = f"Suspect: {reason}"
            place_hold(by=by, item_id=unit.item_id, from_stage=None, source=source, reason=said, at=at)
            held.append(serial)
    remark(report, "suspects_held", by=by, at=at, note=f"{len(held)} on hold: {reason}", data={"serials": held})
    enter(report, Verb.REPORT_SUSPECTS_HELD, by=by, at=at, serials=held, reason=reason)
    return held


def _source(item_id: int, number: str) -> str:
    """What the next hold of this report on the unit is called; empty while one stands."""
    mine = [hold for hold in holds_of(item_id) if hold.source.split(" / ")[0] == number]
    if any(hold.is_open for hold in mine):
        return ""
    return number if not mine else f"{number} / {len(mine) + 1}"
