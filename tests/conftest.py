"""What every test gets: guards that let the test database be emptied, and no network.

The cast (one person per role, one frame, a fixed clock) is in `cast.py`.
"""

from __future__ import annotations

import os
import socket
import subprocess
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import hypothesis
import pytest
from django.db import transaction
from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.backends.base.operations import BaseDatabaseOperations

from qcapp.lib.guards import lifted, on_tables

pytest_plugins = ["tests.skips_fail", "tests.cast"]

# A busy machine is no reason to fail. CI tries the same examples each time: it fails for the change alone.
hypothesis.settings.register_profile("qcapp", deadline=None, derandomize=os.environ.get("CI") == "true")
hypothesis.settings.load_profile("qcapp")

REPOSITORY = Path(__file__).resolve().parent.parent
LOOPBACK = ("127.", "::1", "localhost")

# Playwright runs an event loop in the test's thread, and Django would refuse its queries there.
os.environ.setdefault("DJANGO_ALLOW_ASYNC_UNSAFE", "true")


LONG = "ten times as many requests against the API's description; docs/deploy.md in a Debian of its own; every goal"
ONLY_LONG = {"test_in_chroot.py", "test_every_goal.py"}
# Minutes each. They begin, so that no worker is left alone with one of them at the end.
FIRST = """
    api/test_described_in_the_office config/test_restore api/test_described_on_the_floor capture/test_whole_frame
    access/test_every_page journeys/test_query_counts upgrade/test_previous_version people/test_access
    capture/test_restored_circle journeys/test_shell
""".split()  # noqa: SIM905 - a list of names reads better


def pytest_ignore_collect(collection_path: Path, config: pytest.Config) -> bool | None:
    """What takes many minutes, or root and a network, is collected when it is asked for."""
    return True if collection_path.name in ONLY_LONG and not config.getoption("--long") else None


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--long", action="store_true", help=LONG)
    told = "what touches the database, of the browser's and commands' tests those marked both_databases"
    parser.addoption("--database-only", action="store_true", help=told)
    told = "seeds of tests/capture/test_seeded_faults.py; 500 for a long run"
    parser.addoption("--faults", type=int, default=1, metavar="N", help=told)


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """The longest files first; when asked, without what says on a second database what it said on the first."""
    places = {REPOSITORY / f"tests/{name}.py": place for place, name in enumerate(FIRST)}
    items.sort(key=lambda item: places.get(item.path, len(FIRST)))
    if config.getoption("--database-only"):
        chosen = [item for item in items if _differs_by_database(item)]
        config.hook.pytest_deselected(items=[item for item in items if item not in set(chosen)])
        items[:] = chosen


def _differs_by_database(item: pytest.Item) -> bool:
    """A page looks the same on both; what a tablet sends, it sends to a database."""
    if item.get_closest_marker("both_databases"):
        return True
    if item.get_closest_marker("browser"):
        return False
    return bool(
        item.get_closest_marker("django_db") or {"db", "transactional_db"} & set(getattr(item, "fixturenames", ()))
    )


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
    """Delete every row with all triggers off; truncating eighty tables would make several hundred files."""
    tables = connection.introspection.django_table_names(only_existing=True, include_views=False)
    deletes = [f"DELETE FROM {connection.ops.quote_name(table)}" for table in tables]
    with transaction.atomic(using=connection.alias), connection.cursor() as cursor:
        cursor.execute(";".join(["SET LOCAL session_replication_role = replica", *deletes]), None)


def pytest_sessionstart() -> None:
    """The words of pages and papers, compiled as .ci/setup does it, where they are newer than what is compiled."""
    for po in (REPOSITORY / "qcapp").rglob("locale/**/*.po"):
        mo = po.with_suffix(".mo")
        if not mo.exists() or mo.stat().st_mtime < po.stat().st_mtime:
            subprocess.run(["msgfmt", "--check-format", "-o", str(mo), str(po)], check=True, timeout=30)


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


@pytest.fixture(scope="session", autouse=True)
def _signing_key() -> None:
    """A key in the run's own folder, valid in every year that the tests play in."""
    from qcapp.lib import signing_keys

    signing_keys.keep(signing_keys.new_bundle("The tests' workshop", datetime(2020, 1, 1, tzinfo=UTC), 30))
