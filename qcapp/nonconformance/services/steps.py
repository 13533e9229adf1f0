"""What every step of a report has in common: the locked row, the move, the numbers, the audit entry."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING, Any

from qcapp.audit import services as audit
from qcapp.audit.verbs import Verb
from qcapp.core.sealing import canonical
from qcapp.lib.site_days import site_day
from qcapp.production.services import lock_unit

from ..models import Move, Report, ReportItem, ReportStatus
from ..queries import report_row, units_of_report
from ..states import REPORT_STATES

if TYPE_CHECKING:
    from qcapp.people.models import Person, Signature

ALSO_FOUND = "also_found"  # a further failing answer that joined the report
LONGEST_NOTE = 600


def locked(number: str) -> Report:
    """The report as it stands with its units' rows locked first, then its status: the fixed order. Raises NotFound."""
    for unit_id in units_of_report(number):
        lock_unit(unit_id)
    row = report_row(number)
    row.status = ReportStatus.objects.select_for_update(of=("self",)).select_related("decided").get(report=row)
    return row


def next_paper(prefix: str, at: datetime) -> str:
    """The next number of a yearly series without gaps: NCR-2026-0031. The year is the site's."""
    year = site_day(at).year
    return f"{prefix}-{year}-{audit.next_number(series=f'{prefix}-{year}'):04}"


def step(
    report: Report,
    move: str,
    *,
    by: Person,
    at: datetime,
    note: str = "",
    data: dict[str, Any] | None = None,
    signature: Signature | None = None,
) -> str:
    """The state after a move of the table, written down. Raises TransitionNotAllowed.

    A correction that failed takes the disposition out of force: the report is decided again.
    """
    before = report.status.state
    after = REPORT_STATES.next(before, move)
    _write(report, move, (before, after), by=by, at=at, note=note, data=data, signature=signature)
    report.status.state, report.status.changed_at = after, at
    if move == "fail_verification":
        report.status.decided = None
    report.status.save(update_fields=["state", "changed_at", "decided"])
    return after


def remark(
    report: Report,
    name: str,
    *,
    by: Person,
    at: datetime,
    note: str = "",
    data: dict[str, Any] | None = None,
    signature: Signature | None = None,
) -> None:
    """Something written down that leaves the state as it is."""
    state = report.status.state
    _write(report, name, (state, state), by=by, at=at, note=note, data=data, signature=signature)


def _write(
    report: Report,
    name: str,
    states: tuple[str, str],
    *,
    by: Person,
    at: datetime,
    note: str,
    data: dict[str, Any] | None,
    signature: Signature | None,
) -> None:
    Move.objects.create(
        report=report,
        name=name,
        from_state=states[0],
        to_state=states[1],
        note=note[:LONGEST_NOTE],
        data=canonical(data or {}),
        by=by,
        at=at,
        signature=signature,
    )


def enter(report: Report, verb: Verb, /, *, by: Person, at: datetime, **payload: Any) -> None:
    """The audit entry of a step: the last statement of its transaction."""
    audit.record_all([entry_of(report, verb, by=by, at=at, **payload)])


def entry_of(report: Report, verb: Verb, /, *, by: Person, at: datetime, **payload: Any) -> audit.Act:
    """The same, for a caller that writes it with others."""
    told = payload if "serial" in payload else {"serial": serial_of(report), **payload}
    body = {"state": str(report.status.state), **told}
    return audit.Act(verb=verb, actor=by.uuid, subject=f"report {report.number}", at=at, payload=body)


def serial_of(report: Report) -> str:
    """The serial of the unit that the report is about; empty for a lot."""
    unit = getattr(report.item, "unit", None)
    return "" if unit is None else str(unit.serial)


def named(report: Report) -> str:
    """What the report is about, as a signature says it: FR-200-0147, FR-200-0147 and 3 more, a lot of TK-200."""
    serial = serial_of(report) or f"a lot of {report.item.family.code}"
    further = ReportItem.objects.filter(report=report.pk).count()
    return f"{serial} and {further} more" if further else serial
