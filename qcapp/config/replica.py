"""Reading from a copy of the database that follows the first one (QCAPP_REPLICA_URL): history, charts, who is affected.

Only pages and API answers of the rooms in READERS read there, only while nothing is written in the request, and only
while the copy lacks no act older than QCAPP_REPLICA_LAG seconds. How far it is behind is read from the audit chain, in
which every act has an entry: so it is known exactly, whatever way the copy is fed. Who somebody is and what they may
do is always read from the first database.
"""

from __future__ import annotations

import logging
from collections.abc import Callable
from contextvars import ContextVar
from typing import Any

from django.conf import settings
from django.db import DEFAULT_DB_ALIAS, Error, connections, models
from django.http import HttpRequest, HttpResponseBase
from django.utils import timezone

from qcapp.audit.queries import acts_missing, head_number

REPLICA = "replica"
READERS = frozenset({"history", "trends", "affected"})
API_READERS = ("/api/v1/trends/", "/api/v1/affected", "/api/v1/where-used")
FROM_THE_FIRST = frozenset({"people", "sessions", "shop_messages", "auth", "contenttypes"})
reading_there: ContextVar[bool] = ContextVar("qcapp_reading_there", default=False)
log = logging.getLogger("qcapp.replica")


class ReplicaRouter:
    """Sends the reads of such a request to the copy; the first write of the request ends that."""

    def db_for_read(self, model: type[models.Model], **hints: Any) -> str:
        there = reading_there.get() and model._meta.app_label not in FROM_THE_FIRST
        return REPLICA if there else DEFAULT_DB_ALIAS

    def db_for_write(self, model: type[models.Model], **hints: Any) -> str:
        reading_there.set(False)
        return DEFAULT_DB_ALIAS

    def allow_relation(self, first: models.Model, second: models.Model, **hints: Any) -> bool:
        return True  # both are the same rows

    def allow_migrate(self, db: str, app_label: str, **hints: Any) -> bool:
        return db != REPLICA


class ReplicaMiddleware:
    """Decides for each request where it reads, and says in a header what the copy lacked."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        lacks = acts_behind() if REPLICA in settings.DATABASES and reads_only(request) else None
        if lacks is None:
            return self.get_response(request)
        before = reading_there.set(True)
        try:
            response = self.get_response(request)
        finally:
            reading_there.reset(before)
        response.headers["Qcapp-Read-From"] = f"replica; lacks {lacks} acts"
        return response


def reads_only(request: HttpRequest) -> bool:
    """True for a page or an answer that may be read from the copy."""
    if request.method not in {"GET", "HEAD"} or not request.user.is_authenticated:
        return False
    from django.urls import Resolver404, resolve

    try:
        match = resolve(request.path_info)
    except Resolver404:
        return False
    return match.namespace in READERS or request.path_info.startswith(API_READERS)


def acts_behind() -> int | None:
    """How many acts the copy lacks; None when it does not answer, or lacks one that is older than it may be."""
    try:
        lacks, since = acts_missing(head_number(using=REPLICA))
    except Error as error:
        log.warning("the replica does not answer: %s", error)
        connections[REPLICA].close()
        return None
    late = since is not None and (timezone.now() - since).total_seconds() > settings.QCAPP_REPLICA_LAG
    return None if late else lacks
