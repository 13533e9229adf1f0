"""The outbox: what another system is told of issues, replacements and withdrawals, kept and sent until it arrives."""

from __future__ import annotations

import http.client
from datetime import datetime, timedelta
from typing import Any

from django.conf import settings
from django.db import transaction
from django.db.models import Count, Exists, Max, OuterRef
from django.utils import timezone
from django_tasks import task

from qcapp.core.errors import QcError
from qcapp.core.sealing import canonical
from qcapp.lib.webhooks import place_of, post, signature_of

from ..models import Notice, NoticeTry

ISSUED, REPLACED, WITHDRAWN = "certificate.issued", "certificate.replaced", "certificate.withdrawn"
WAITS = tuple(timedelta(minutes=minutes) for minutes in (1, 5, 30, 120, 720))
MOST_TRIES = 20  # with the waits above: about a week
MOST_AT_ONCE = 50


def tell(*, event: str, at: datetime, **facts: Any) -> None:
    """Put a notice into the outbox, in the transaction of what it tells; nothing where no address is named."""
    if not settings.QCAPP_WEBHOOK_URL:
        return
    body = canonical({"event": event, "at": at.isoformat(), **facts})
    Notice.objects.create(event=event, body=body, at=at)
    transaction.on_commit(send_notices.enqueue)


@task()
def send_notices() -> None:
    """In the background: what the other system has not been told yet."""
    send_due()


def send_due() -> int:
    """Send what is due, the oldest first; gives how many arrived. A try and its end are kept."""
    now = timezone.now()
    return sum(_try(notice, now) for notice in _due(now))


def _due(now: datetime) -> list[Any]:
    """Each with `made`, the tries so far, and `last`, the time of the last one."""
    delivered = NoticeTry.objects.filter(notice=OuterRef("pk"), delivered=True)
    waiting = Notice.objects.filter(~Exists(delivered)).annotate(made=Count("tries"), last=Max("tries__at"))
    due = waiting.filter(made__lt=MOST_TRIES).order_by("pk")
    return [one for one in due if one.last is None or _waited(one.last, one.made, now)][:MOST_AT_ONCE]


def _waited(last: datetime, tries: int, now: datetime) -> bool:
    """Long enough since the last try, or the clock was ahead then and would make it wait until that day."""
    return now >= last + wait_after(tries) or last - now > WAITS[-1]


def wait_after(tries: int) -> timedelta:
    """How long the next try waits."""
    return WAITS[min(max(tries, 1), len(WAITS)) - 1]


def _try(notice: Any, at: datetime) -> bool:
    delivered, answer = _sent(notice, at)
    with transaction.atomic():
        NoticeTry.objects.create(
            notice_id=notice.pk, number=notice.made + 1, delivered=delivered, answer=answer[:200], at=at
        )
    return delivered


def _sent(notice: Notice, at: datetime) -> tuple[bool, str]:
    """Whether it arrived, and what was answered; the same identifier at every try lets the other side count once."""
    try:
        place = place_of(settings.QCAPP_WEBHOOK_URL, private=settings.QCAPP_WEBHOOK_PRIVATE)
        headers = {
            "Qcapp-Notice": str(notice.uuid),
            "Qcapp-Signature": signature_of(notice.body, settings.QCAPP_WEBHOOK_SECRET, at),
        }
        status = post(place, notice.body, headers)
    except QcError as refusal:
        return False, refusal.message
    except (OSError, http.client.HTTPException) as error:
        return False, f"no answer: {type(error).__name__}"
    return 200 <= status < 300, f"status {status}"
