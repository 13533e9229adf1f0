"""Opening corrective actions: by a person, or proposed by the threshold."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from typing import TYPE_CHECKING

from django.db import transaction
from django.urls import reverse

from qcapp.audit.verbs import Verb
from qcapp.core.errors import Conflict, Invalid, Refused
from qcapp.lib.plain_text import plain_text
from qcapp.messages.kinds import Kind
from qcapp.messages.services import tell
from qcapp.nonconformance.queries import report_row
from qcapp.people.roles import Act, Role
from qcapp.people.services import require
from qcapp.production.queries import family_by_code

from ..cards import BASES, Cluster
from ..models import ActionReport, ActionStatus, CorrectiveAction
from ..queries.similar import cluster_of, clusters
from ..states import ENDED, ActionState
from .steps_of_life import enter, locked, move, next_paper

if TYPE_CHECKING:
    from qcapp.people.models import Person


@transaction.atomic
def open_action(*, by: Person, title: str, problem: str, basis: str, value: str, family_code: str, at: datetime) -> str:
    """The number of a new corrective action for a group of similar reports, all of which it answers.

    Raises NotAllowed, Invalid `basis_unknown`, `nothing_similar` or of `plain_text`, Conflict `action_running`.
    """
    require(by, Act.LEAD_ACTION, at)
    title = plain_text("The title", title, longest=160)
    problem = plain_text("The problem", " ".join(problem.split()), longest=600)
    cluster = cluster_of(basis, value, family_code, at=at)
    row = create(cluster, title, problem, by, at)
    move(row, "accept", by=by, at=at)
    ActionStatus.objects.filter(pk=row.status.pk).update(owner=by)
    enter(row, Verb.ACTION_OPENED, by=by, at=at, title=title, reports=[one.number for one in cluster.reports])
    return row.number


@transaction.atomic
def propose_by_threshold(*, at: datetime) -> list[str]:
    """The numbers of the actions that the threshold of the setting proposes now; none twice for the same reports."""
    opened: list[CorrectiveAction] = []
    for cluster in clusters(at=at):
        if cluster.over_threshold and _running(cluster) is None:
            problem = f"{cluster.words}: {', '.join(one.number for one in cluster.reports)}."
            row = create(cluster, cluster.words[:160], problem[:600], None, at)
            _tell_proposed(row, at)
            opened.append(row)
    for row in opened:
        enter(row, Verb.ACTION_PROPOSED, by=None, at=at, title=row.title)
    return [row.number for row in opened]


@transaction.atomic
def add_reports(*, by: Person, number: str, reports: Iterable[str], at: datetime) -> None:
    """Further reports that the action answers.

    Raises NotAllowed, NotFound, Refused `action_ended`, Conflict `report_in_action`.
    """
    require(by, Act.LEAD_ACTION, at)
    row = locked(number)
    if row.status.state in ENDED:
        raise Refused("action_ended", f"{row.number} has ended; open another corrective action.")
    known = set(row.reports.values_list("report_id", flat=True))
    found = [report_row(one) for one in reports]
    if not found:
        raise Invalid("reports_missing", "Name at least one report.")
    for report in found:
        if report.pk in known:
            raise Conflict("report_in_action", f"{report.number} is answered by {row.number} already.")
        ActionReport.objects.create(action=row, report=report, at=at)
    enter(row, Verb.ACTION_REPORTS_ADDED, by=by, at=at, reports=[report.number for report in found])


def _running(cluster: Cluster) -> CorrectiveAction | None:
    """The action of this kind that has not ended."""
    rows = CorrectiveAction.objects.filter(basis=cluster.basis, value=cluster.value)
    rows = rows.filter(family__code=cluster.family_code) if cluster.family_code else rows.filter(family=None)
    return rows.exclude(status__state__in=list(ENDED)).first()


def create(cluster: Cluster, title: str, problem: str, by: Person | None, at: datetime) -> CorrectiveAction:
    """A proposed action with its reports. Raises Conflict `action_running`."""
    running = _running(cluster)
    if running is not None:
        message = f"{running.number} is running for this {BASES[cluster.basis]}; add the reports to it."
        raise Conflict("action_running", message, number=running.number)
    family = family_by_code(cluster.family_code).id if cluster.family_code else None
    row = CorrectiveAction.objects.create(
        number=next_paper("CA", at), title=title, problem=problem, basis=cluster.basis, value=cluster.value,
        family_id=family, characteristic_id=cluster.characteristic_id, opened_by=by, opened_at=at,
    )  # fmt: skip
    row.status = ActionStatus.objects.create(action=row, state=ActionState.PROPOSED, changed_at=at)
    ActionReport.objects.bulk_create(ActionReport(action=row, report_id=one.id, at=at) for one in cluster.reports)
    return row


def _tell_proposed(row: CorrectiveAction, at: datetime) -> None:
    link = reverse("improvement:action", kwargs={"number": row.number})
    text = f"{row.title}. The threshold proposes a corrective action: accept it, or drop it with a reason."
    tell(
        to=Role.QUALITY_MANAGER, kind=Kind.ACTION_PROPOSED, subject=f"{row.number} is proposed", text=text, link=link,
        about=f"action {row.number}", key=f"{row.number} proposed", at=at,
    )  # fmt: skip
