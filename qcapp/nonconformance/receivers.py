"""The one inversion: inspections tells what was judged, and the report is raised in the same transaction."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING, Any

from django.dispatch import receiver

from qcapp.audit import services as audit
from qcapp.inspections.signals import Judged, judged

from .services.raising import raise_from_results

if TYPE_CHECKING:
    from qcapp.people.models import Person


@receiver(judged, dispatch_uid="nonconformance.raise")
def raise_reports(
    sender: object, *, judgements: list[Judged], by: Person, at: datetime, entries: list[audit.Act], **kwargs: Any
) -> dict[Any, str]:
    """{operation: report number} for every result that does not pass."""
    return raise_from_results(judgements=judgements, by=by, at=at, entries=entries)
