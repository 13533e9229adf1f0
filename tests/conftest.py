"""What every test gets: guards that let the test database be emptied, no network, and no test skipped in CI.

The cast (one person per role, one frame, a fixed clock) is in `cast.py`.
"""

from __future__ import annotations

import os
import socket
from collections.abc import Generator, Iterator
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import pytest
from django.db import transaction
from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.backends.base.operations import BaseDatabaseOperations

from qcapp.lib.guards import lifted, on_tables

if find_spec("tests.cast"):
    pytest_plugins = ["tests.cast"]

REPOSITORY = Path(__file__).resolve().parent.parent
LOOPBACK = ("127.", "::1", "localhost")

# Playwright runs an event loop in the test's thread, and Django would refuse its queries there.
os.environ.setdefault("DJANGO_ALLOW_ASYNC_UNSAFE", "true")


@pytest.fixture(scope="session", autouse=True)
def _flush_past_the_guards() -> Iterator[None]:
    """Tests with transactions of their own end by emptying every table, which the guards would refuse."""
    original = BaseDatabaseOperations.execute_sql_flush

    def execute_sql_flush(operations: BaseDatabaseOperations, sql_list: list[str]) -> None:
        connection = operations.connection
        if connection.vendor == "postgresql":
            empty_as_superuser(connection)
            return
        with lifted("the flush at the end of a test", on_tables(connection), using=connection.alias):
            original(operations, sql_list)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(BaseDatabaseOperations, "execute_sql_flush", execute_sql_flush)
        yield


def empty_as_superuser(connection: BaseDatabaseWrapper) -> None:
    """Delete every row with all triggers off. To truncate some eighty tables would make several hundred files."""
    tables = connection.introspection.django_table_names(only_existing=True, include_views=False)
    deletes = [f"DELETE FROM {connection.ops.quote_name(table)}" for table in tables]
    with transaction.atomic(using=connection.alias), connection.cursor() as cursor:
        cursor.execute(";".join(["SET LOCAL session_replication_role = replica", *deletes]), None)


@pytest.fixture(scope="session", autouse=True)
def _no_network() -> Iterator[None]:
    """A connection to anything but this machine is an error."""
    connect = socket.socket.connect

    def connect_here(self: socket.socket, address: Any) -> None:
        host = address[0] if isinstance(address, tuple) else "localhost"
        if not str(host).startswith(LOOPBACK):
            raise OSError(f"tests have no network, and {host!r} is not this machine")
        connect(self, address)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(socket.socket, "connect", connect_here)
        yield


@pytest.fixture(scope="session")
def postgresql_url() -> str:
    """The address of a database name on the tests' server, whatever database the run itself is on."""
    env = REPOSITORY / ".ci" / "postgres" / "env"
    if not env.is_file():
        pytest.skip("no PostgreSQL server for tests: run `bash .ci/setup test`")
    return env.read_text().strip().partition("=")[2]


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport() -> Generator[None, pytest.TestReport, pytest.TestReport]:
    """In CI a skipped test is a failed one: what it needs should have been installed."""
    report = yield
    if report.skipped and os.environ.get("CI") == "true" and not hasattr(report, "wasxfail"):
        report.outcome = "failed"
        report.longrepr = f"skipped in CI: {report.longrepr}"
    return report


@pytest.hookimpl(wrapper=True)
def pytest_make_collect_report() -> Generator[None, pytest.CollectReport, pytest.CollectReport]:
    """The same for a module that skips itself."""
    report = yield
    if report.skipped and os.environ.get("CI") == "true":
        report.outcome = "failed"
        report.longrepr = f"skipped in CI: {report.longrepr}"
    return report
