"""Raising a report: by the verdict, in the result's own transaction, or by hand."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING, Any

from django.db import transaction

from qcapp.audit.verbs import Verb
from qcapp.core.errors import Invalid
from qcapp.core.sealing import canonical
from qcapp.inspections.queries import counting_answer, rounds_of
from qcapp.lib.plain_text import plain_text
from qcapp.people.roles import Act
from qcapp.people.services import require
from qcapp.production.queries import unit_by_serial
from qcapp.production.services import lock_unit, place_hold

from ..models import Report, ReportStatus
from ..queries import report_row
from ..states import ENDED, ReportState
from .steps import enter, next_paper, remark, step

if TYPE_CHECKING:
    from qcapp.inspections.signals import Judged
    from qcapp.people.models import Person

LONGEST_TITLE = 160


def raise_from_results(*, judgements: list[Judged], by: Person, at: datetime) -> dict[Any, str]:
    """For every result that does not pass, the number of the report it raised or joined. {operation: number}.

    Inside the submission's transaction, the unit's row locked by it: a result out of band never stands without its
    report. One report per item, checkpoint and round; a further failing answer of the same round joins it.
    """
    return {one.operation: _raise_or_join(one, by, at) for one in judgements if not one.passes}


def _raise_or_join(one: Judged, by: Person, at: datetime) -> str:
    standing = _standing(one)
    if standing is None:
        return _raise(one, by, at).number
    data = {"operation": str(one.operation), "answer": one.described_answer, "round": one.round}
    if standing.status.state == ReportState.TO_BE_VERIFIED:
        step(standing, "fail_verification", by=by, at=at, note=f"Inspected again: {one.described_answer}.", data=data)
        enter(standing, Verb.REPORT_CORRECTION_FAILED, by=by, at=at, **data)
    else:
        remark(standing, "also_found", by=by, at=at, note=f"Also answered: {one.described_answer}.", data=data)
    return standing.number


def _standing(one: Judged) -> Report | None:
    """The report that this failing answer belongs to: of the same round, or the one whose correction opened the round."""
    rows = Report.objects.filter(item=one.item_id).exclude(status__state__in=[state.value for state in ENDED])
    rows = rows.select_related("status", "item__unit").order_by("-id")
    opened_by = rounds_of(one.item_id).get(one.checkpoint_card.id, (1, ""))[1]
    for row in rows:
        same_round = row.result is not None and row.result.round == one.round
        if row.checkpoint_id == one.checkpoint_card.id and (same_round or row.number == opened_by):
            return row
        if row.number == opened_by and row.status.state == ReportState.TO_BE_VERIFIED:
            return row
    return None


def _raise(one: Judged, by: Person, at: datetime) -> Report:
    card = one.checkpoint_card
    title = f"{card.number} {card.title}: {one.described_answer}, limits {card.limits_text}"
    report = Report.objects.create(
        number=next_paper("NCR", at), item_id=one.item_id, checkpoint_id=card.id, result_id=one.result_id,
        title=_cut(title), severity=card.criticality, facts=canonical(_facts(one)), raised_by=one.person, raised_at=at,
    )  # fmt: skip
    report.status = ReportStatus.objects.create(report=report, state=ReportState.OPEN, changed_at=at)
    place_hold(
        by=by, item_id=one.item_id, from_stage=card.stage_number, source=report.number, at=at,
        reason=_cut(f"{card.number} {card.title}: {one.described_answer}, limits {card.limits_text}."),
    )  # fmt: skip
    enter(report, Verb.REPORT_RAISED, by=by, at=at, title=report.title, operation=str(one.operation))
    return report


def _facts(one: Judged) -> dict[str, Any]:
    card = one.checkpoint_card
    return {
        "serial": one.serial, "checkpoint": card.key, "number": card.number, "title": card.title,
        "criticality": card.criticality, "stage": card.stage_number, "answer": one.described_answer,
        "limits": card.limits_text, "outcome": str(one.outcome), "excess": one.excess, "nearest_limit": one.nearest_limit,
        "gauge": one.gauge_number or "", "joint": card.joint, "person": one.person.name, "badge": one.person.badge,
        "recorded_at": one.recorded_at.isoformat(), "round": one.round, "inspection": one.inspection,
        "operation": str(one.operation),
    }  # fmt: skip


def _cut(text: str) -> str:
    return text if len(text) <= LONGEST_TITLE else text[: LONGEST_TITLE - 1].rstrip() + "…"


@transaction.atomic
def raise_by_hand(
    *, by: Person, serial: str, title: str, description: str, severity: str, checkpoint_key: str = "", at: datetime
) -> str:
    """A report from the floor about a unit, which goes on hold at once. Gives its number.

    Raises NotAllowed, NotFound `serial_unknown`, Invalid `severity_unknown`, `checkpoint_unknown` or of `plain_text`.
    """
    require(by, Act.RAISE_REPORT, at)
    title = plain_text("What is wrong", title, longest=LONGEST_TITLE)
    description = plain_text("The description", description, longest=600, needed=False)
    if severity not in set(Report.Severity.values):
        raise Invalid("severity_unknown", "The severity is critical, major or minor; choose one.")
    unit = lock_unit(unit_by_serial(serial).id)
    card = counting_answer(unit.item_id, checkpoint_key).card if checkpoint_key else None
    report = Report.objects.create(
        number=next_paper("NCR", at), item_id=unit.item_id, checkpoint_id=None if card is None else card.id, title=title,
        description=description, severity=severity, raised_by=by, raised_at=at,
        facts=canonical({"serial": unit.serial, "person": by.name, "badge": by.badge, "checkpoint": checkpoint_key}),
    )  # fmt: skip
    ReportStatus.objects.create(report=report, state=ReportState.OPEN, changed_at=at)
    place_hold(
        by=by, item_id=unit.item_id, from_stage=None if card is None else card.stage_number, source=report.number,
        reason=title, at=at,
    )  # fmt: skip
    enter(report_row(report.number), Verb.REPORT_RAISED, by=by, at=at, title=title)
    return report.number
