"""How much one signed-in person may ask for in a minute: calls of the API, and look-ups, which could copy the records.

Far above what people and tablets do; a program that walks through all serials, or that has run wild, is slowed down.
Counted in the memory of each process of the server, so that asking costs nothing: with three processes a person gets
up to three times as much. Strangers are held by nginx (docs/deploy/nginx.conf), guesses of secrets by `attempts.py`.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from django.conf import settings
from django.contrib.auth import SESSION_KEY
from django.core.cache import cache
from django.http import HttpRequest, HttpResponseBase
from django.utils import timezone

from qcapp.core.errors import Throttled
from qcapp.lib.refusals import refuse

MINUTE = 60
LOOK_UP_PAGES = frozenset({"history", "affected", "customers", "recall"})
LOOK_UP_CALLS = frozenset(
    {
        "look-up", "units", "unit", "unit-value", "as-built", "where-used", "affected", "affected-list",
        "affected-file", "customers", "orders", "certificates", "certificate", "certificate-pdf", "lots", "lot",
        "heat", "heats",
    }
)  # fmt: skip


class AskedOftenMiddleware:
    """Answers 429 (`asked_too_often`) with the time from which on the person is heard again."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        return self.get_response(request)

    def process_view(self, request: HttpRequest, *view: Any) -> HttpResponseBase | None:
        """The refusal of what is too much; None lets the view answer."""
        kinds = kinds_of(request)
        person = request.session.get(SESSION_KEY) if kinds else None
        if person is None:
            return None
        at = timezone.now()
        over = [kind for kind in kinds if is_over(kind, person, at)]
        return refuse(request, _too_often(over[0], at)) if over else None


def kinds_of(request: HttpRequest) -> list[str]:
    """Under which counts this request falls, of those that have a limit."""
    match = request.resolver_match
    room, name = (match.namespace, match.url_name) if match else ("", "")
    looks = room in LOOK_UP_PAGES or (room == "api" and name in LOOK_UP_CALLS)
    kinds = (["look-up"] if looks and request.method in {"GET", "HEAD"} else []) + (["api"] if room == "api" else [])
    return [kind for kind in kinds if settings.QCAPP_ASKED_A_MINUTE[kind]]


def is_over(kind: str, person: str, at: datetime) -> bool:
    """Count one more request of this minute; true when it is one too many."""
    key = f"asked:{kind}:{person}:{int(at.timestamp()) // MINUTE}"
    cache.add(key, 0, timeout=2 * MINUTE)
    try:
        count = cache.incr(key)
    except ValueError:  # thrown out by a cache that is full of other people: counting begins anew
        count = 1
    return bool(count > settings.QCAPP_ASKED_A_MINUTE[kind])


def _too_often(kind: str, at: datetime) -> Throttled:
    minute = int(at.timestamp()) // MINUTE + 1
    again = datetime.fromtimestamp(minute * MINUTE, UTC)
    clock = again.astimezone(ZoneInfo(str(settings.QCAPP_SITE_ZONE)))
    most = settings.QCAPP_ASKED_A_MINUTE[kind]
    message = f"More than {most} look-ups in a minute are not answered. Go on at {clock:%H:%M:%S}."
    if kind == "api":
        message = f"More than {most} calls of the API in a minute are not answered. Go on at {clock:%H:%M:%S}."
    return Throttled("asked_too_often", message, retry_at=max(again, at + timedelta(seconds=1)))
