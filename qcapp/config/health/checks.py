"""What has to hold before the site may be used. Each check answers with one word; why it failed is in the log."""

from __future__ import annotations

import logging
import tempfile
from collections.abc import Callable
from functools import lru_cache

from django.conf import settings
from django.contrib.staticfiles.storage import ManifestFilesMixin, staticfiles_storage
from django.db import Error as DatabaseError
from django.db import connection
from django.db.migrations.loader import MigrationLoader
from django.db.migrations.recorder import MigrationRecorder

from qcapp.config.backup.notes import restore_under_way
from qcapp.lib import guards

log = logging.getLogger("qcapp.health")


def database() -> str:
    """A reason why the database does not answer; empty when it does."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT 1")
    return ""


@lru_cache(maxsize=1)
def _known_migrations() -> frozenset[tuple[str, str]]:
    """The migrations that this version brings; they do not change while it runs."""
    return frozenset(MigrationLoader(None).graph.nodes)


def migrations() -> str:
    """A reason why the tables do not fit this version; empty when they do."""
    waiting = _known_migrations() - set(MigrationRecorder(connection).applied_migrations())
    return f"not applied: {', '.join(sorted(name for _, name in waiting))}" if waiting else ""


def data_folder() -> str:
    """A reason why the data folder cannot be written to; empty when it can."""
    with tempfile.TemporaryFile(dir=settings.QCAPP_DATA_DIR) as file:
        file.write(b"\0")
    return ""


def frozen_rows() -> str:
    """A reason why frozen rows are not protected; empty when every guard stands."""
    return ", ".join(guards.missing(connection, guards.guards_of()))


def restored() -> str:
    """A reason why what is here is not whole: a restore has begun and not ended."""
    return str(restore_under_way().get("backup", ""))


def page_files() -> str:
    """A reason why no page can be drawn: style sheets and scripts were not collected when this process started."""
    lacks = isinstance(staticfiles_storage, ManifestFilesMixin) and not staticfiles_storage.hashed_files
    return "not collected: run collectstatic and start the server again" if lacks and not settings.DEBUG else ""


CHECKS: dict[str, Callable[[], str]] = {
    "database": database,
    "migrations": migrations,
    "data_folder": data_folder,
    "guards": frozen_rows,
    "restored": restored,
    "page_files": page_files,
}


def readiness() -> dict[str, bool]:
    """Every check by its name, True where it holds."""
    return {name: _holds(name, check) for name, check in CHECKS.items()}


def _holds(name: str, check: Callable[[], str]) -> bool:
    try:
        reason = check()
    except (DatabaseError, OSError) as error:
        reason = f"{type(error).__name__}: {error}"
    if reason:
        log.error("not ready: %s: %s", name, reason)
    return not reason
