"""Raising a report by the verdict, in the result's own transaction."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING, Any, NamedTuple
from uuid import UUID

from django.db.models import QuerySet

from qcapp.audit import services as audit
from qcapp.audit.verbs import Verb
from qcapp.core.sealing import canonical
from qcapp.inspections.queries import answer_of_operation
from qcapp.inspections.queries.secrets import source_of_round
from qcapp.inspections.queries.series import text_of
from qcapp.lib.fields import uuid7
from qcapp.lib.plain_text import shown
from qcapp.lib.site_days import shift_at
from qcapp.lib.statements import Prepared, add_row
from qcapp.production.queries import welder_of
from qcapp.production.services import place_new_hold

from ..announcing import tell_raised
from ..cards import ConcessionCard
from ..models import Report, ReportStatus
from ..queries import ENDED_VALUES, concessions_of
from ..signals import report_raised
from ..states import ReportState
from .steps import ALSO_FOUND, entry_of, next_paper, remark, step

if TYPE_CHECKING:
    from qcapp.inspections.signals import Judged
    from qcapp.people.models import Person

LONGEST_TITLE = 160
FIXTURE_KEY = "fixture"  # the record checkpoint that names the weld fixture


def raise_from_results(
    *, judgements: list[Judged], by: Person, at: datetime, entries: list[audit.Act]
) -> dict[UUID, str]:
    """For every result that does not pass, the number of the report it raised or joined, by operation.

    Inside the submission's transaction, which has locked the units: a result out of band never stands without its
    report. One report per item, checkpoint and round; a further failing answer of the same round joins it, and a
    failing answer in a round that a report opened sends that report back. The audit entries are added to `entries`,
    which the submission writes last: the counters are locked before the chain, never after.
    """
    found: dict[UUID, str] = {}
    for one in judgements:
        if not one.passes:
            report, entry = _raise_or_join(one, by, at)
            found[one.operation] = report.number
            entries += [entry] if entry else []
    return found


def _raise_or_join(one: Judged, by: Person, at: datetime) -> tuple[Report, audit.Act | None]:
    standing = _standing(one)
    return _raise(one, by, at) if standing is None else (standing, _join(standing, one, by, at))


def _standing(one: Judged) -> Report | None:
    """The report that has not ended and this failing answer belongs to: of its round, or the one that opened it."""
    rows = _NOT_ENDED(item_id=one.item_id)
    if not rows:
        return None
    opened_by = source_of_round(one.item_id, one.checkpoint_card.id, one.round) if one.round > 1 else ""
    here = (one.checkpoint_card.characteristic_id, one.round)
    key = next((key for key, number, *place in rows if number == opened_by or here == _place(*place)), None)
    known = Report.objects.select_related("status__decided", "item__unit", "result", "checkpoint")
    return None if key is None else known.get(pk=key)


def _not_ended(item_id: int) -> QuerySet[Report, Any]:
    rows = Report.objects.filter(item=item_id).exclude(status__state__in=ENDED_VALUES).order_by("-id")
    return rows.values_list("pk", "number", "checkpoint__characteristic", "result__round")


_NOT_ENDED = Prepared(_not_ended, item_id=-1)


def _place(characteristic_id: int | None, turn: int | None) -> tuple[int | None, int]:
    return characteristic_id, turn or 0


def _join(report: Report, one: Judged, by: Person, at: datetime) -> audit.Act | None:
    """Write the answer down beside the report; a correction to be verified has failed, unless it is conceded."""
    card = one.checkpoint_card
    data = {
        "operation": str(one.operation),
        "answer": one.described_answer,
        "checkpoint_id": card.id,
        "round": one.round,
    }
    if report.status.state != ReportState.TO_BE_VERIFIED:
        remark(report, ALSO_FOUND, by=one.person, at=at, note=f"Also found: {_finding(one)}.", data=data)
        return None
    if concession := _permission(report, one):
        note = f"Inspected again: {_finding(one)}, within concession {concession.number}."
        remark(report, "within_concession", by=one.person, at=at, note=note, data=data)
        return None
    step(report, "fail_verification", by=one.person, at=at, note=f"Inspected again: {_finding(one)}.", data=data)
    return entry_of(report, Verb.REPORT_CORRECTION_FAILED, by=by, at=at, **data)


def _permission(report: Report, one: Judged) -> ConcessionCard | None:
    """The report's concession, when a repair left the part where it is permitted to be."""
    for concession in concessions_of(report.item_id):
        here = (report.number, one.checkpoint_card.characteristic_id)
        if (concession.report_number, concession.characteristic_id) == here:
            return concession if concession.covers(answer_of_operation(one.operation).answer) else None
    return None


def _raise(one: Judged, by: Person, at: datetime) -> tuple[Report, audit.Act]:
    card = one.checkpoint_card
    report = open_report(
        about=About(one.item_id, one.family_id, card.id, card.characteristic_id, one.result_id),
        title=cut(_finding(one)),
        severity=card.criticality,
        facts=_facts(one) | around(one.item_id, card.joint, one.recorded_at),
        raised_by=one.person,
        at=at,
    )
    # The hold says where, not what: it stands on the bench of whoever gives the second inspection.
    reason, stage = cut(f"Found at {card.number} {card.title}."), card.stage_number
    place_new_hold(by=by, item_id=one.item_id, from_stage=stage, source=report.number, reason=reason, at=at)
    told = {"serial": one.serial, "title": report.title, "operation": str(one.operation)}
    return report, entry_of(report, Verb.REPORT_RAISED, by=by, at=at, **told)


def _finding(one: Judged) -> str:
    """505 Axle plates, parallel: 0.38 mm (max 0.30 mm)."""
    card = one.checkpoint_card
    limits = f" ({card.limits_text})" if card.kind in {"measured", "count", "derived"} else ""
    return f"{card.number} {card.title}: {one.described_answer}{limits}"


def _facts(one: Judged) -> dict[str, Any]:
    card = one.checkpoint_card
    return {
        "serial": one.serial,
        "checkpoint": card.key,
        "number": card.number,
        "title": card.title,
        "criticality": card.criticality,
        "kind": card.kind,
        "stage": card.stage_number,
        "answer": one.described_answer,
        "limits": card.limits_text,
        "outcome": str(one.outcome),
        "excess": one.excess,
        "unit_of_measure": card.unit_of_measure,
        "nearest_limit": one.nearest_limit,
        "gauge": one.gauge_number,
        "joint": card.joint,
        "person": one.person.name,
        "badge": one.person.badge,
        "recorded_at": one.recorded_at.isoformat(),
        "round": one.round,
        "inspection": one.inspection,
        "operation": str(one.operation),
    }


def cut(text: str) -> str:
    """At most LONGEST_TITLE characters that can be seen, for a title and for a reason."""
    text = shown(text, len(text))
    return text if len(text) <= LONGEST_TITLE else text[: LONGEST_TITLE - 1].rstrip() + "…"


def around(item_id: int, joint: str, at: datetime) -> dict[str, str]:
    """Fixture, welder of the joint and shift, where they are known."""
    welder = welder_of(item_id, joint) if joint else None
    known = {
        "fixture": text_of(item_id, FIXTURE_KEY),
        "welder": welder.name if welder else "",
        "shift": shift_at(at),
    }
    return {name: value for name, value in known.items() if value}


class About(NamedTuple):
    """What a report is about, by the keys of its rows."""

    item_id: int
    family_id: int
    checkpoint_id: int | None = None
    characteristic_id: int | None = None
    result_id: int | None = None


def open_report(
    *, about: About, raised_by: Person, at: datetime, facts: dict[str, Any], cause: str = "unknown", **told: Any
) -> Report:
    """A new report under the next number of the year, open from its first moment; two rows, and who has to know.

    The caller has locked what it is about.
    """
    columns: dict[str, Any] = {
        "item_id": about.item_id,
        "checkpoint_id": about.checkpoint_id,
        "result_id": about.result_id,
    }
    columns |= {"number": next_paper("NCR", at), "facts": canonical(facts), "raised_by_id": raised_by.pk}
    columns |= {"uuid": uuid7(), "raised_at": at, **told}
    report = Report(pk=add_row(Report, **columns), **columns)
    state = {"report_id": report.pk, "state": ReportState.OPEN.value, "cause": cause, "changed_at": at}
    report.status = ReportStatus(pk=add_row(ReportStatus, **state), **state)
    for row in (report, report.status):
        row._state.adding = False  # they stand in the database, as `add_row` wrote them
    tell_raised(report, facts, raised_by)
    where = {"family_id": about.family_id, "characteristic_id": about.characteristic_id}
    report_raised.send(sender=None, report=report, facts=facts, **where)
    return report
