"""Every nonconformance report of the unit with its outcome, and the concessions under which it stands."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from .record import Record

if TYPE_CHECKING:
    from qcapp.nonconformance.cards import ConcessionCard, ReportCard


@dataclass(frozen=True)
class ReportLine:
    """One report as the certificate lists it."""

    number: str
    title: str
    severity: str
    disposition: str
    state: str
    raised: str


@dataclass(frozen=True)
class ConcessionLine:
    """One concession with its limits."""

    number: str
    report: str
    checkpoint: str
    limits: str
    statement: str
    approved: str


@dataclass(frozen=True)
class Nonconformances:
    """Both lists; empty ones are printed as "none". Without `shown`, the family chose to leave its reports out."""

    shown: bool
    reports: tuple[ReportLine, ...]
    concessions: tuple[ConcessionLine, ...]


def build(record: Record) -> Nonconformances:
    """Reports in the order they were raised; withdrawn ones are listed as withdrawn."""
    listed = record.standing.reports if record.choice.reports else []
    return Nonconformances(
        shown=record.choice.reports,
        reports=tuple(_report(record, one) for one in listed),
        concessions=tuple(_concession(record, one) for one in record.standing.concessions),
    )


def _report(record: Record, one: ReportCard) -> ReportLine:
    parts = [one.disposition_label]
    parts += [f"procedure {one.procedure}"] if one.procedure else []
    parts += [f"{one.reinspected} inspected again"] if one.reinspected else []
    return ReportLine(
        number=one.number,
        title=one.title,
        severity=one.severity,
        disposition=", ".join(part for part in parts if part),
        state=f"{one.state_label} {record.day(one.changed_at)}",
        raised=record.day(one.raised_at),
    )


def _concession(record: Record, one: ConcessionCard) -> ConcessionLine:
    return ConcessionLine(
        number=one.number,
        report=one.report_number,
        checkpoint="" if one.checkpoint_number is None else str(one.checkpoint_number),
        limits=one.limits,
        statement=one.says,
        approved=record.day(one.approved_at),
    )
