"""What every step of a report has in common: the locked row, the move, the projection, the numbers."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from django.conf import settings

from qcapp.audit import services as audit
from qcapp.audit.verbs import Verb
from qcapp.core.sealing import canonical
from qcapp.production.services import lock_unit

from ..models import Move, Report, ReportStatus
from ..queries import report_row
from ..states import REPORT_STATES

if TYPE_CHECKING:
    from qcapp.people.models import Person, Signature


def locked(number: str) -> Report:
    """The report with its unit's row locked first, then its status: the fixed order. Raises NotFound."""
    row = report_row(number)
    unit = getattr(row.item, "unit", None)
    if unit is not None:
        lock_unit(unit.pk)
    row.status = ReportStatus.objects.select_for_update().get(report=row)
    return row


def next_paper(prefix: str, at: datetime) -> str:
    """The next number of a yearly series without gaps: NCR-2026-0031. The year is the site's."""
    year = at.astimezone(ZoneInfo(settings.QCAPP_SITE_ZONE)).year
    return f"{prefix}-{year}-{audit.next_number(series=f'{prefix}-{year}'):04}"


def step(
    report: Report, move: str, *, by: Person, at: datetime, note: str = "", data: dict[str, Any] | None = None,
    signature: Signature | None = None,
) -> str:  # fmt: skip
    """Make a move of the table and write it down. Returns the new state; raises TransitionNotAllowed."""
    before = report.status.state
    after = REPORT_STATES.next(before, move)
    _write(report, move, before, after, by=by, at=at, note=note, data=data, signature=signature)
    ReportStatus.objects.filter(report=report).update(state=after, changed_at=at)
    report.status.state = after
    return after


def remark(
    report: Report, name: str, *, by: Person, at: datetime, note: str = "", data: dict[str, Any] | None = None,
    signature: Signature | None = None,
) -> None:  # fmt: skip
    """Write something down without leaving the state."""
    state = report.status.state
    _write(report, name, state, state, by=by, at=at, note=note, data=data, signature=signature)


def _write(
    report: Report, name: str, before: str, after: str, *, by: Person, at: datetime, note: str,
    data: dict[str, Any] | None, signature: Signature | None,
) -> None:  # fmt: skip
    Move.objects.create(
        report=report, name=name, from_state=before, to_state=after, note=note, data=canonical(data or {}), by=by, at=at,
        signature=signature,
    )  # fmt: skip


def enter(report: Report, verb: Verb, /, *, by: Person, at: datetime, **payload: Any) -> None:
    """The audit entry of a step: the last statement of its transaction."""
    body = {"serial": serial_of(report), "state": str(report.status.state), **payload}
    audit.record(verb=verb, actor=by.uuid, subject=f"report {report.number}", at=at, payload=body)


def serial_of(report: Report) -> str:
    unit = getattr(report.item, "unit", None)
    return "" if unit is None else str(unit.serial)
