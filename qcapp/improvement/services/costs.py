"""What a report or an action costs: minutes at the rate in force, and material. Written once, reversed when wrong."""

from __future__ import annotations

from datetime import datetime
from decimal import ROUND_HALF_EVEN, Decimal
from typing import TYPE_CHECKING, Any

from django.db import IntegrityError, transaction

from qcapp.audit import services as audit
from qcapp.audit.verbs import Verb
from qcapp.core.errors import Conflict, Invalid, NotFound, Refused
from qcapp.lib.plain_text import plain_text
from qcapp.nonconformance.queries import report_row
from qcapp.people.roles import Act
from qcapp.people.services import require

from ..models import CostEntry
from ..queries.actions import action_row
from ..queries.settings import setting

if TYPE_CHECKING:
    from qcapp.people.models import Person

MOST_MINUTES = 60_000
MOST_MATERIAL = Decimal(1_000_000)


def cents_of(minutes: int, rate_per_hour: Decimal, material: Decimal) -> int:
    """The sum in hundredths, rounded half to even once, at the end."""
    sum_ = rate_per_hour * minutes / 60 + material
    return int((sum_ * 100).quantize(Decimal(1), rounding=ROUND_HALF_EVEN))


@transaction.atomic
def record_cost(*, by: Person, about: str, what: str, minutes: int, material: Decimal, at: datetime) -> int:
    """Minutes and material of a report or a corrective action, named by its number; gives the entry's key.

    Raises NotAllowed, NotFound `report_unknown`, `action_unknown`, Invalid `cost_out_of_range`, `cost_empty` or of
    `plain_text`, Refused `rate_not_set`.
    """
    require(by, Act.RECORD_COST, at)
    what = plain_text("What was done", what, longest=160)
    if not (0 <= minutes <= MOST_MINUTES and material.is_finite() and 0 <= material <= MOST_MATERIAL):
        raise Invalid("cost_out_of_range", "Minutes and material are numbers from 0 up; correct them.")
    if minutes == 0 and material == 0:
        raise Invalid("cost_empty", "Give minutes, material or both.")
    now = setting()
    if now.rate_per_hour is None:
        raise Refused("rate_not_set", "No rate is set yet; the quality manager sets it under Improvement, Settings.")
    row = CostEntry.objects.create(
        what=what, minutes=minutes, rate_per_hour=now.rate_per_hour, material=material, currency=now.currency,
        cents=cents_of(minutes, now.rate_per_hour, material), by=by, at=at, **_of(about),
    )  # fmt: skip
    _enter(Verb.COST_RECORDED, row, about, by, at)
    return row.pk


@transaction.atomic
def reverse_cost(*, by: Person, entry_id: int, reason: str, at: datetime) -> int:
    """An entry that takes a wrong one back; both stay. Raises NotAllowed, NotFound `cost_unknown`, Conflict."""
    require(by, Act.RECORD_COST, at)
    reason = plain_text("The reason", reason, longest=140)
    wrong = CostEntry.objects.filter(pk=entry_id, reverses=None).select_related("report", "action").first()
    if wrong is None:
        raise NotFound("cost_unknown", "There is no such entry to take back; look at the list again.")
    try:
        with transaction.atomic():
            row = CostEntry.objects.create(
                report=wrong.report, action=wrong.action, what=f"Taken back: {reason}", minutes=-wrong.minutes,
                rate_per_hour=wrong.rate_per_hour, material=-wrong.material, currency=wrong.currency,
                cents=-wrong.cents, reverses=wrong, by=by, at=at,
            )  # fmt: skip
    except IntegrityError:
        raise Conflict("cost_taken_back", "This entry was taken back already.") from None
    _enter(Verb.COST_REVERSED, row, str(wrong.report or wrong.action), by, at)
    return row.pk


def _of(about: str) -> dict[str, Any]:
    if about.strip().upper().startswith("CA-"):
        return {"action": action_row(about)}
    return {"report": report_row(about)}


def _enter(verb: Verb, row: CostEntry, about: str, by: Person, at: datetime) -> None:
    kind = "report" if row.report_id else "action"
    payload = {"what": row.what, "minutes": row.minutes, "cents": row.cents, "currency": row.currency}
    audit.record(verb=verb, actor=by.uuid, subject=f"{kind} {about.strip().upper()}", at=at, payload=payload)
