"""Readers of batches: how far one has come, and what could not be issued."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from qcapp.core.errors import NotFound

from .models import Batch, BatchUnit, Release


@dataclass(frozen=True)
class BatchLine:
    """One unit of a batch; `number` is empty until it is issued, `message` unless it was refused."""

    serial: str
    number: str
    issue: int
    code: str
    message: str


@dataclass(frozen=True)
class BatchState:
    """A batch as its page shows it."""

    uuid: UUID
    by_name: str
    at: datetime
    lines: tuple[BatchLine, ...]

    @property
    def issued(self) -> list[BatchLine]:
        return [line for line in self.lines if line.number]

    @property
    def refused(self) -> list[BatchLine]:
        return [line for line in self.lines if line.code]

    @property
    def waiting(self) -> int:
        return len(self.lines) - len(self.issued) - len(self.refused)

    @property
    def done(self) -> int:
        return len(self.lines) - self.waiting


def batch_state(uuid: UUID) -> BatchState:
    """How far a batch has come. Raises NotFound `batch_unknown`."""
    row = Batch.objects.filter(uuid=uuid).select_related("by").first()
    if row is None:
        raise NotFound("batch_unknown", "There is no such batch of certificates.")
    units = BatchUnit.objects.filter(batch=row).select_related("outcome__certificate").order_by("pk")
    return BatchState(row.uuid, row.by.name, row.at, tuple(_line(unit) for unit in units))


def _line(unit: BatchUnit) -> BatchLine:
    outcome = getattr(unit, "outcome", None)
    if outcome is None:
        return BatchLine(unit.serial, "", 0, "", "")
    paper = outcome.certificate
    number, issue = (paper.number, paper.issue) if paper else ("", 0)
    return BatchLine(unit.serial, number, issue, outcome.code, outcome.message)


def released_without_certificate(limit: int = 300) -> list[str]:
    """Serials of units whose release stands and that have no certificate, the ones released first in front."""
    given = Release.objects.filter(item__certificates__isnull=True).order_by("at", "id")
    latest: dict[str, str] = {}
    for serial, kind in given.values_list("item__unit__serial", "kind"):
        latest[serial] = kind
    return [serial for serial, kind in latest.items() if kind == Release.Kind.GIVEN][:limit]
