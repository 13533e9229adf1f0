"""What a timer does for corrective actions and for the queue: proposes by the threshold, and reminds."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db import transaction
from django.urls import reverse

from qcapp.lib.site_days import site_day
from qcapp.messages.kinds import Kind
from qcapp.messages.services import tell
from qcapp.nonconformance.queries.queue import late_for
from qcapp.nonconformance.waiting import LATE_AFTER
from qcapp.people.roles import Role

from ..models import Step
from ..queries.actions import step_card
from ..states import ENDED, StepState
from .opening import propose_by_threshold

SOON = timedelta(days=3)


@dataclass(frozen=True)
class FollowedUp:
    """What one run did."""

    proposed: tuple[str, ...]
    steps: int
    queues: int


def follow_up(*, at: datetime) -> FollowedUp:
    """Propose what the threshold asks for, and remind of steps and reports that wait. Twice a day does it once."""
    proposed = propose_by_threshold(at=at)
    return FollowedUp(tuple(proposed), remind_of_steps(at=at), remind_of_queues(at=at))


@transaction.atomic
def remind_of_steps(*, at: datetime) -> int:
    """Tell owners three days before a step is due, on the day, and once in every week that it is late."""
    today = site_day(at)
    rows = Step.objects.filter(due_on__lte=today + SOON).exclude(action__status__state__in=list(ENDED))
    told = 0
    for row in rows.select_related("owner", "action").prefetch_related("events__by"):
        if step_card(row).state == StepState.AGREED:
            tell(
                to=row.owner, kind=Kind.REMINDER, subject=f"{row.action.number}: {_due(row.due_on, today)}",
                text=row.text, link=reverse("improvement:action", kwargs={"number": row.action.number}),
                about=f"action {row.action.number}", key=f"step {row.pk} {_occasion(row.due_on, today)}", at=at,
            )  # fmt: skip
            told += 1
    return told


@transaction.atomic
def remind_of_queues(*, at: datetime) -> int:
    """Tell each role once a week how many reports wait for it longer than they should."""
    year, week, _ = site_day(at).isocalendar()
    told = 0
    for role in Role:
        late = late_for(role, at)
        if late:
            tell(
                to=role, kind=Kind.REMINDER, subject=f"{late} report{'s' if late > 1 else ''} waiting for the "
                f"{role.label} longer than {LATE_AFTER} days", text="The queue shows them, the oldest first.",
                link=f"{reverse('nonconformance:list')}?waiting={role.value}&order=longest", at=at,
                key=f"queue of {role.value} {year}-W{week:02}",
            )  # fmt: skip
            told += 1
    return told


def _due(due_on: date, today: date) -> str:
    days = (due_on - today).days
    if days < 0:
        return f"a step of yours is {-days} day{'s' if days < -1 else ''} late"
    return "a step of yours is due today" if days == 0 else f"a step of yours is due in {days} days"


def _occasion(due_on: date, today: date) -> str:
    days = (due_on - today).days
    if days > 0:
        return "soon"
    return "today" if days == 0 else f"late {-days // 7}"
