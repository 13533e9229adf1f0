"""Readers of nonconformance reports and concessions."""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any
from uuid import UUID

from django.db.models import Count, QuerySet

from qcapp.core.errors import NotFound

from .models import Concession, DispositionProposal, Move, Report
from .states import ENDED, REPORT_STATES, Disposition, ReportState

LONGEST_LIST = 200


@dataclass(frozen=True)
class MoveCard:
    """One step of a report. `signed` says how it was signed, empty where it was not."""

    name: str
    to_state: str
    note: str
    data: dict[str, Any]
    by_id: int
    by_name: str
    signed: str
    at: datetime

    @property
    def label(self) -> str:
        return self.name.replace("_", " ")


@dataclass(frozen=True)
class ProposalCard:
    """The disposition proposed last, who has signed it and whose signature is missing."""

    id: int
    disposition: str
    label: str
    instruction: str
    procedure: str
    reinspect: list[str]
    concession_lower: Decimal | None
    concession_upper: Decimal | None
    by_name: str
    by_id: int
    at: datetime
    signed: dict[str, str]  # role -> name
    signer_ids: frozenset[int]
    missing: tuple[str, ...]


@dataclass(frozen=True)
class ReportCard:
    """A report in a list."""

    id: int
    uuid: UUID
    number: str
    title: str
    severity: str
    state: str
    state_label: str
    disposition: str
    disposition_label: str
    item_id: int
    serial: str
    unit_id: int | None
    family_code: str
    checkpoint_number: int | None
    checkpoint_id: int | None
    raised_at: datetime
    raised_by_name: str
    changed_at: datetime

    @property
    def ended(self) -> bool:
        return self.state in ENDED


@dataclass(frozen=True)
class ReportView:
    """Everything about one report."""

    card: ReportCard
    description: str
    cause: str
    facts: dict[str, Any]
    raised_by_id: int
    result_id: int | None
    recorded_by_id: int | None
    moves: list[MoveCard]
    proposal: ProposalCard | None
    concession: ConcessionCard | None
    possible: list[str]


@dataclass(frozen=True)
class ConcessionCard:
    """Permission for one nonconforming item and checkpoint, with limits of its own."""

    number: str
    report_number: str
    checkpoint_id: int | None
    checkpoint_number: int | None
    lower: Decimal | None
    upper: Decimal | None
    statement: str
    approved_at: datetime

    @property
    def limits(self) -> str:
        if self.lower is not None and self.upper is not None:
            return f"{self.lower} to {self.upper}"
        if self.upper is not None:
            return f"max {self.upper}"
        return f"min {self.lower}" if self.lower is not None else ""


def _reports() -> QuerySet[Report]:
    return Report.objects.select_related(
        "status", "item__unit", "item__family", "checkpoint__characteristic", "raised_by", "result"
    )


def report_row(number: str) -> Report:
    """The row of a report. Raises NotFound `report_unknown`."""
    row = None if "\0" in number else _reports().filter(number__iexact=number.strip()).first()
    if row is None:
        raise NotFound("report_unknown", f"There is no report {number[:40]}; look it up in the list of reports.")
    return row


def report(number: str) -> ReportView:
    """One report with its moves, its latest proposal and what may be done next. Raises NotFound `report_unknown`."""
    row = report_row(number)
    concession = Concession.objects.filter(report=row).select_related("report", "checkpoint__characteristic").first()
    return ReportView(
        card=_card(row),
        description=row.description,
        cause=row.status.get_cause_display(),
        facts=json.loads(row.facts),
        raised_by_id=row.raised_by_id,
        result_id=row.result_id,
        recorded_by_id=None if row.result is None else row.result.person_id,
        moves=moves_of(row.pk),
        proposal=proposal_of(row.pk),
        concession=None if concession is None else _concession(concession),
        possible=REPORT_STATES.possible(row.status.state),
    )


def moves_of(report_id: int) -> list[MoveCard]:
    """The steps of a report, the first one first."""
    rows = Move.objects.filter(report=report_id).select_related("by", "signature").order_by("id")
    return [
        MoveCard(
            name=row.name, to_state=row.to_state, note=row.note, data=json.loads(row.data), by_id=row.by_id,
            by_name=row.by.name, signed="" if row.signature is None else row.signature.get_method_display(), at=row.at,
        )
        for row in rows
    ]  # fmt: skip


def proposal_of(report_id: int) -> ProposalCard | None:
    """The disposition proposed last: an older proposal no longer counts."""
    row = DispositionProposal.objects.filter(report=report_id).select_related("by").order_by("-id").first()
    if row is None:
        return None
    rows = row.signatures.select_related("signature__person")
    signed = {line.role: line.signature.person.name for line in rows}
    return ProposalCard(
        id=row.pk, disposition=row.disposition, label=Disposition(row.disposition).label, instruction=row.instruction,
        procedure=row.procedure, reinspect=list(row.reinspect), concession_lower=row.concession_lower,
        concession_upper=row.concession_upper, by_name=row.by.name, by_id=row.by_id, at=row.at, signed=signed,
        signer_ids=frozenset(line.signature.person_id for line in rows),
        missing=tuple(role for role in row.roles if role not in signed),
    )  # fmt: skip


def reports(*, state: str = "", serial: str = "", limit: int = LONGEST_LIST) -> list[ReportCard]:
    """Reports, the latest first. `state` is a state's name, or `active` for all that have not ended."""
    rows = _reports().order_by("-id")
    if state == "active":
        rows = rows.exclude(status__state__in=[ended.value for ended in ENDED])
    elif state in set(ReportState):
        rows = rows.filter(status__state=state)
    if serial and "\0" not in serial:
        rows = rows.filter(item__unit__serial__iexact=serial.strip())
    return [_card(row) for row in rows[:limit]]


def counts_by_state() -> dict[str, int]:
    """How many reports stand in each state."""
    rows = Report.objects.values("status__state").annotate(n=Count("id")).order_by()
    found = {row["status__state"]: row["n"] for row in rows}
    return {state.value: found.get(state.value, 0) for state in ReportState}


def reports_of(item_id: int) -> list[ReportCard]:
    """Every report about an item, the first one first."""
    return [_card(row) for row in _reports().filter(item=item_id).order_by("id")]


def open_reports(item_id: int) -> list[ReportCard]:
    """The reports about an item that have not ended."""
    return [card for card in reports_of(item_id) if not card.ended]


def concessions_of(item_id: int) -> list[ConcessionCard]:
    """The concessions under which an item stands, the first one first."""
    rows = Concession.objects.filter(item=item_id).select_related("report", "checkpoint__characteristic")
    return [_concession(row) for row in rows.order_by("id")]


def report_numbers_by_result(item_id: int) -> dict[int, str]:
    """For each result that raised a report, its number."""
    rows = Report.objects.filter(item=item_id, result__isnull=False)
    return dict(rows.values_list("result_id", "number"))


def active_by_checkpoint(item_id: int) -> dict[int, str]:
    """For each checkpoint of the item with a report that has not ended, the number of the latest one."""
    rows = Report.objects.filter(item=item_id, checkpoint__isnull=False)
    rows = rows.exclude(status__state__in=[ended.value for ended in ENDED]).order_by("id")
    return dict(rows.values_list("checkpoint_id", "number"))


def _card(row: Report) -> ReportCard:
    unit = getattr(row.item, "unit", None)
    return ReportCard(
        id=row.pk, uuid=row.uuid, number=row.number, title=row.title, severity=row.severity, state=row.status.state,
        state_label=ReportState(row.status.state).label, disposition=row.status.disposition,
        disposition_label=row.status.disposition.replace("_", " "), item_id=row.item_id,
        serial="" if unit is None else unit.serial, unit_id=None if unit is None else unit.pk,
        family_code=row.item.family.code,
        checkpoint_number=None if row.checkpoint is None else row.checkpoint.characteristic.number,
        checkpoint_id=row.checkpoint_id, raised_at=row.raised_at, raised_by_name=row.raised_by.name,
        changed_at=row.status.changed_at,
    )  # fmt: skip


def _concession(row: Concession) -> ConcessionCard:
    return ConcessionCard(
        number=row.number, report_number=row.report.number, checkpoint_id=row.checkpoint_id,
        checkpoint_number=None if row.checkpoint is None else row.checkpoint.characteristic.number,
        lower=row.lower, upper=row.upper, statement=row.statement, approved_at=row.approved_at,
    )  # fmt: skip
