"""The numbered checks of an installation. E001 to E012: a wrong variable, found in `environment.py`."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django.apps import AppConfig
from django.conf import settings
from django.core import checks
from django.core.exceptions import ImproperlyConfigured
from django.db import connections

OWNED = """
SELECT count(*) FROM pg_class c JOIN pg_namespace n ON n.oid = c.relnamespace
WHERE c.relkind = 'r' AND n.nspname = 'public' AND pg_has_role(current_user, c.relowner, 'USAGE')
"""


def check_environment(app_configs: Sequence[AppConfig] | None, **options: Any) -> list[checks.CheckMessage]:
    """One error for each wrong variable, with a hint that says what to write."""
    return [checks.Error(problem.message, hint=problem.hint, id=problem.id) for problem in settings.QCAPP_PROBLEMS]


def check_database_roles(databases: Sequence[str] | None, **options: Any) -> list[checks.CheckMessage]:
    """W110 when the application's own role on PostgreSQL owns tables, so that it could drop their guards."""
    asked = set(databases or ()) - {"owner"}
    return [
        checks.Warning(
            f"The role of database {alias!r} owns its tables and could drop the guards of frozen rows.",
            hint="Name a role that owns nothing in QCAPP_DATABASE_URL, its owner in QCAPP_DATABASE_OWNER_URL",
            id="qcapp.W110",
        )
        for alias in sorted(asked)
        if connections[alias].vendor == "postgresql" and _owned_tables(alias)
    ]


def _owned_tables(alias: str) -> int:
    with connections[alias].cursor() as cursor:
        cursor.execute(OWNED)
        return int(cursor.fetchone()[0])


def stop_on_wrong_settings() -> None:
    """For the servers, which run no checks of their own: raises `ImproperlyConfigured` naming every wrong
    variable.
    """
    if settings.QCAPP_PROBLEMS:
        lines = [f"{problem.id} {problem.message} {problem.hint}" for problem in settings.QCAPP_PROBLEMS]
        raise ImproperlyConfigured("\n".join(lines))
