"""Counts of failed proofs of identity, in the database and in transactions of their own."""

from __future__ import annotations

from datetime import datetime
from zoneinfo import ZoneInfo

from django.conf import settings
from django.db import models, transaction

from qcapp.core.errors import Throttled
from qcapp.core.sealing import keyed

from .. import waits
from ..models import Attempts


def keys_of(badge: str, address: str) -> dict[str, str]:
    """Under what the two counts stand. The badge is digested: an unknown one may be a mistyped password."""
    who = keyed(badge.strip().casefold(), settings.QCAPP_PIN_PEPPER)
    return {"address": f"address {address[:60]}", "person": f"person {who}"}


def take_a_try(keys: dict[str, str], at: datetime) -> dict[str, datetime]:
    """Count one failure for each key before the secret is looked at, so that tries side by side all count.

    Gives the times of the last failures before. Raises Throttled without counting while one of the keys
    waits.
    """
    with transaction.atomic(durable=True):
        # Inserted and locked in the order of the keys, so that tries side by side cannot wait for each other.
        fresh = [Attempts(key=key, first_at=at, last_at=at) for key in sorted(keys.values())]
        Attempts.objects.bulk_create(fresh, ignore_conflicts=True)
        locked = Attempts.objects.select_for_update().filter(key__in=keys.values()).order_by("key")
        rows = {row.key: row for row in locked}
        counted = {kind: rows[key] for kind, key in keys.items()}
        for kind, row in counted.items():
            row.last_at = waits.believable(row.last_at, at)
            if waits.is_forgotten(kind, row.last_at, at):
                row.failures, row.first_at, row.last_at = 0, at, at
        _refuse_while_waiting(counted, at)
        before = {kind: row.last_at for kind, row in counted.items()}
        for row in counted.values():
            row.failures, row.last_at = row.failures + 1, max(at, row.last_at)
            row.save()
    return before


def _refuse_while_waiting(counted: dict[str, Attempts], at: datetime) -> None:
    # A free try waits for nothing, also when another person's try at the same address is a moment ahead of this one.
    waiting = [(row.last_at, waits.wait_after(kind, row.failures)) for kind, row in counted.items()]
    retry_at = max((last + wait for last, wait in waiting if wait), default=at)
    if retry_at <= at:
        return
    clock = retry_at.astimezone(ZoneInfo(str(settings.QCAPP_SITE_ZONE)))
    raise Throttled(
        "too_many_attempts",
        f"Too many attempts failed. Try again at {clock:%H:%M:%S}; nothing sent before that is looked at.",
        retry_at=retry_at,
    )


def give_the_try_back(keys: dict[str, str], at: datetime, before: dict[str, datetime]) -> None:
    """A person who proved who they are starts anew; the address only loses the failure that was none."""
    with transaction.atomic(durable=True):
        Attempts.objects.filter(key=keys["person"]).delete()
        address = Attempts.objects.filter(key=keys["address"], failures__gt=0)
        address.filter(last_at=at).update(last_at=before["address"])
        address.update(failures=models.F("failures") - 1)
