"""The role that owns the tables, where the settings name one: it alone alters them."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from django.db import connections

OWNER = "owner"


@contextmanager
def owner_for_all(database: str) -> Iterator[None]:
    """Lets migrations that change rows through the usual connection use the owner's while it migrates.

    A library's migration that did so would wait for ever for the tables that the owner holds locked.
    """
    if database != OWNER:
        yield
        return
    usual = connections["default"]
    connections["default"] = connections[OWNER]
    try:
        yield
    finally:
        connections["default"] = usual
