"""A copy that streams from the first server serves history, charts and affected queries, and never stale to who wrote.

The test starts both servers itself, in a folder of its own: the copy by pg_basebackup, as docs/deploy.md says.
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from django.db import models

from qcapp.config.replica import REPLICA, ReplicaRouter, reading_there
from qcapp.people.models import Person
from qcapp.production.models import Item

from .conftest import Site

FIRST, COPY = "first", "copy"


class Pair:
    """Two servers in one folder, run by Debian's user where the tests are root."""

    def __init__(self, folder: Path) -> None:
        found = sorted(Path("/usr/lib/postgresql").glob("*/bin"))
        self.binaries, self.folder = found[-1], folder
        self.environment = {"LC_ALL": "C.UTF-8", "PATH": os.environ["PATH"]}

    def command(self, name: str, *arguments: str) -> list[str]:
        line = [str(self.binaries / name), *arguments]
        own = ["setpriv", "--reuid", "postgres", "--regid", "postgres", "--init-groups", "--", *line]
        return own if os.getuid() == 0 else line

    def run(self, name: str, *arguments: str) -> None:
        done = subprocess.run(
            self.command(name, *arguments), cwd="/", env=self.environment, capture_output=True, text=True
        )
        assert done.returncode == 0, done.stdout + done.stderr

    def configure(self, which: str, *lines: str) -> None:
        said = [f"unix_socket_directories = '{self.folder / which}'", "listen_addresses = ''", "fsync = off", *lines]
        with (self.data(which) / "postgresql.conf").open("a") as file:
            file.write("\n".join(["", *said, ""]))

    def data(self, which: str) -> Path:
        return self.folder / which / "data"

    def start(self, which: str) -> None:
        data, log = str(self.data(which)), str(self.folder / which / "log")
        self.run("pg_ctl", "-D", data, "-l", log, "-w", "-t", "120", "start")

    def stopping(self, which: str) -> list[str]:
        return self.command("pg_ctl", "-D", str(self.data(which)), "-m", "immediate", "-w", "stop")

    def url(self, which: str) -> str:
        return f"postgresql://postgres@/qcapp?host={self.folder / which}"


@pytest.fixture
def pair(postgresql_url: str) -> Iterator[Pair]:
    """The first server with an empty database, running; the copy is not made yet."""
    folder = Path(tempfile.mkdtemp(prefix="qcapp-pair-", dir="/var/tmp"))  # a socket's path has to be short
    for which in (FIRST, COPY):
        (folder / which).mkdir()
    if os.getuid() == 0:
        for path in (folder, folder / FIRST, folder / COPY):
            shutil.chown(path, "postgres")
    servers = Pair(folder)
    servers.run("initdb", "-D", str(servers.data(FIRST)), "-U", "postgres", "--auth=trust", "--encoding=UTF8")
    servers.configure(FIRST, "synchronous_standby_names = '*'", "synchronous_commit = local")
    servers.start(FIRST)
    try:
        servers.run("createdb", "-h", str(folder / FIRST), "-U", "postgres", "qcapp")
        yield servers
    finally:
        for which in (COPY, FIRST):
            subprocess.run(servers.stopping(which), cwd="/", capture_output=True, check=False)
        shutil.rmtree(folder)


def follow(pair: Pair) -> None:
    """Make the copy, and let it follow."""
    host = str(pair.folder / FIRST)
    pair.run(
        "pg_basebackup", "-D", str(pair.data(COPY)), "-h", host, "-U", "postgres", "-R", "-X", "stream", "-c", "fast"
    )
    pair.configure(COPY)
    pair.start(COPY)


def test_reads_from_a_copy_that_follows_and_from_the_first_when_it_does_not(pair: Pair, tmp_path: Path) -> None:
    settings = {"QCAPP_DATABASE_URL": pair.url(FIRST), "QCAPP_ALLOWED_HOSTS": "testserver", "QCAPP_DEBUG": "yes"}
    site = Site(tmp_path, settings)
    site.manage(["migrate", "--verbosity", "0"])
    follow(pair)
    stop = json.dumps(pair.stopping(COPY))
    done = site.run("-m", "tests.config.on_replica", stop, QCAPP_REPLICA_URL=pair.url(COPY))
    assert done.returncode == 0, done.stderr[-4000:]
    seen: dict[str, dict[str, Any]] = json.loads(done.stdout.splitlines()[-1])
    assert {name: each["status"] for name, each in seen.items()} == dict.fromkeys(seen, 200)
    for name in ("level", "charts", "affected", "affected by the API", "level again"):
        assert seen[name]["from"] == "replica; lacks 0 acts"
        assert seen[name]["copy"] > 1
        assert seen[name]["first"] == []
    assert seen["behind"]["from"] == "replica; lacks 1 acts"  # said, and young enough
    for name in ("too late", "gone", "account"):
        assert seen[name]["from"] == ""
    assert seen["account"]["copy"] == 0


def test_reads_from_the_first_after_an_own_write() -> None:
    router = ReplicaRouter()
    before = reading_there.set(True)
    try:
        assert router.db_for_read(Item) == REPLICA
        assert router.db_for_read(Person) == "default"  # rights are never read from a copy
        assert router.db_for_write(Item) == "default"
        assert router.db_for_read(Item) == "default"
    finally:
        reading_there.reset(before)


@pytest.mark.parametrize("model", [Item, Person])
def test_migrates_the_first_database_alone(model: type[models.Model]) -> None:
    router = ReplicaRouter()
    assert router.allow_migrate("default", model._meta.app_label)
    assert not router.allow_migrate(REPLICA, model._meta.app_label)
    assert router.db_for_read(model) == "default"  # outside of such a request
