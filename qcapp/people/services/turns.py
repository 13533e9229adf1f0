"""How often an address may ask a public page: counted in the database, so that every process sees it."""

from __future__ import annotations

from datetime import datetime, timedelta

from django.db import transaction

from qcapp.core.errors import Throttled

from ..models import Attempts


def take_a_turn(*, what: str, address: str, at: datetime, most: int, per: timedelta) -> None:
    """Count one asking. Raises Throttled `too_many_questions` when `most` were counted within `per`."""
    key = f"{what} {address[:60]}"
    with transaction.atomic():
        Attempts.objects.bulk_create([Attempts(key=key, first_at=at, last_at=at)], ignore_conflicts=True)
        row = Attempts.objects.select_for_update().get(key=key)
        if at - row.first_at >= per or at < row.first_at:
            row.failures, row.first_at = 0, at
        if row.failures >= most:
            message = "You asked very often in a short time. Wait a few minutes, then ask again."
            raise Throttled("too_many_questions", message, retry_at=row.first_at + per)
        row.failures, row.last_at = row.failures + 1, at
        row.save()
