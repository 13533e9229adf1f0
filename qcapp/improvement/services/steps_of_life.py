"""What every step of an action's life has in common: the locked status, the move, the number, the audit entry."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING, Any

from qcapp.audit import services as audit
from qcapp.audit.verbs import Verb
from qcapp.core.sealing import canonical
from qcapp.lib.site_days import site_day

from ..models import ActionMove, ActionStatus, CorrectiveAction
from ..queries.actions import action_row
from ..states import ACTION_STATES

if TYPE_CHECKING:
    from qcapp.people.models import Person, Signature


def next_paper(prefix: str, at: datetime) -> str:
    """The next number of a yearly series without gaps: CA-2026-0003. The year is the site's."""
    year = site_day(at).year
    return f"{prefix}-{year}-{audit.next_number(series=f'{prefix}-{year}'):04}"


def locked(number: str) -> CorrectiveAction:
    """The action with its status locked. Raises NotFound `action_unknown`."""
    row = action_row(number)
    row.status = ActionStatus.objects.select_for_update().get(action=row)
    return row


def move(
    row: CorrectiveAction,
    name: str,
    *,
    by: Person | None,
    at: datetime,
    note: str = "",
    data: dict[str, Any] | None = None,
    signature: Signature | None = None,
) -> None:
    """A move of the table, written down. Raises TransitionNotAllowed."""
    before = row.status.state
    after = ACTION_STATES.next(before, name)
    ActionMove.objects.create(
        action=row, name=name, from_state=before, to_state=after, note=note, data=canonical(data or {}), by=by, at=at,
        signature=signature,
    )  # fmt: skip
    row.status.state, row.status.changed_at = after, at
    row.status.save()


def enter(row: CorrectiveAction, verb: Verb, /, *, by: Person | None, at: datetime, **payload: Any) -> None:
    """The audit entry: the last statement of the transaction."""
    body = {"state": str(row.status.state), **payload}
    actor = None if by is None else by.uuid
    audit.record(verb=verb, actor=actor, subject=f"action {row.number}", at=at, payload=body)
