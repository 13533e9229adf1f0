"""Sites in processes of their own: a source with a little of everything, and empty places to restore into."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

import psycopg
import pytest
from django.conf import settings as own_settings
from psycopg import sql

# What it is about is a server of PostgreSQL that goes away; the part of the run on SQLite has none.
collect_ignore = [] if os.environ.get("QCAPP_TEST_DATABASE_URL") else ["test_gone_and_back.py"]
REPOSITORY = Path(__file__).resolve().parent.parent.parent


@dataclass(frozen=True)
class Site:
    """A data folder and a database, worked on by commands."""

    folder: Path
    settings: dict[str, str] = field(default_factory=dict)

    def environment(self, **changes: str) -> dict[str, str]:
        kept = {name: value for name, value in os.environ.items() if not name.startswith(("QCAPP_", "DJANGO_"))}
        ours = {
            "DJANGO_SETTINGS_MODULE": "qcapp.config.settings",
            "QCAPP_SECRET_KEY": own_settings.SECRET_KEY,
            "QCAPP_DEMO": "yes",  # lets people sign without their PIN
            "QCAPP_DATA_DIR": str(self.folder),
        }
        return kept | ours | self.settings | changes

    def run(self, *command: str, **changes: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            [sys.executable, *command],
            cwd=REPOSITORY,
            env=self.environment(**changes),
            capture_output=True,
            text=True,
        )

    def manage(self, *commands: list[str], **changes: str) -> str:
        """What the commands say, run one after the other in one process; they have to succeed."""
        done = self.run("-m", "tests.config.commands", json.dumps(commands), **changes)
        assert done.returncode == 0, done.stdout + done.stderr
        return done.stdout


@dataclass(frozen=True)
class Source:
    """The small site of `world.py` and a backup of it. What a test changes, it changes in a copy."""

    site: Site
    backup: Path


@pytest.fixture(scope="session")
def source(tmp_path_factory: pytest.TempPathFactory) -> Source:
    """Made once, on SQLite."""
    folder = tmp_path_factory.mktemp("source")
    site = Site(folder / "data")
    done = site.run("-m", "tests.config.world", str(folder / "backup"))
    assert done.returncode == 0, done.stdout + done.stderr
    return Source(site, folder / "backup")


@pytest.fixture
def copy(source: Source, tmp_path: Path) -> Path:
    """A copy of the backup, to be damaged."""
    return shutil.copytree(source.backup, tmp_path / "copy")


@pytest.fixture
def empty_site(tmp_path: Path) -> Callable[..., Site]:
    """`empty_site("name")`: a place to restore into, on SQLite unless settings name another database."""

    def make(name: str = "new", **settings: str) -> Site:
        folder = tmp_path / name
        folder.mkdir()
        return Site(folder, settings)

    return make


@pytest.fixture
def two_roles(postgresql_url: str) -> Iterator[dict[str, str]]:
    """The settings of an empty PostgreSQL database with an owner and a role that only writes rows."""
    name = f"qcapp_restored_{os.getpid()}"
    folder = postgresql_url.partition("?")[2]
    with psycopg.connect(f"postgresql://postgres@/postgres?{folder}", autocommit=True) as admin:
        for role in ("owner", "app"):
            admin.execute(sql.SQL("CREATE ROLE {} LOGIN").format(sql.Identifier(f"{name}_{role}")))
        owner = sql.Identifier(f"{name}_owner")
        admin.execute(sql.SQL("CREATE DATABASE {} OWNER {}").format(sql.Identifier(name), owner))
        yield {
            "QCAPP_DATABASE_URL": f"postgresql://{name}_app@/{name}?{folder}",
            "QCAPP_DATABASE_OWNER_URL": f"postgresql://{name}_owner@/{name}?{folder}",
        }
        admin.execute(sql.SQL("DROP DATABASE {} WITH (FORCE)").format(sql.Identifier(name)))
        for role in ("owner", "app"):
            admin.execute(sql.SQL("DROP ROLE {}").format(sql.Identifier(f"{name}_{role}")))
