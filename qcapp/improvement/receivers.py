"""Every report gets its place in the counts in the transaction that raises it."""

from __future__ import annotations

from typing import Any

from django.dispatch import receiver

from qcapp.nonconformance.signals import report_raised

from .services.placing import place


@receiver(report_raised, dispatch_uid="improvement.report.placed")
def place_report(
    sender: object, *, report: Any, facts: dict[str, Any], family_id: int, characteristic_id: int | None, **kwargs: Any
) -> None:
    """Write the place of the report."""
    place(
        report_id=report.pk, raised_at=report.raised_at, facts=facts, family_id=family_id,
        characteristic_id=characteristic_id,
    )  # fmt: skip
