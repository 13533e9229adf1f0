"""Every nonconformance report of the unit with its outcome, and the concessions under which it stands."""

from __future__ import annotations

from dataclasses import dataclass

from .record import Record


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
    """Both lists; empty ones are printed as "none"."""

    reports: tuple[ReportLine, ...]
    concessions: tuple[ConcessionLine, ...]


def build(record: Record) -> Nonconformances:
    """Reports in the order they were raised; withdrawn ones are listed as withdrawn."""
    return Nonconformances(
        reports=tuple(
            ReportLine(
                one.number, one.title, one.severity, one.disposition_label, one.state_label, record.day(one.raised_at)
            )
            for one in record.standing.reports
        ),
        concessions=tuple(
            ConcessionLine(
                one.number,
                one.report_number,
                "" if one.checkpoint_number is None else str(one.checkpoint_number),
                one.limits,
                one.statement,
                record.day(one.approved_at),
            )
            for one in record.standing.concessions
        ),
    )
