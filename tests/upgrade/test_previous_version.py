"""The data of the version before come over: restored, migrated, audited, and every kind of page opens.

`previous.tar.xz` is a backup that the version of 25 November 2026, 14:14 (commit ceba99f) made of its demonstration.
A restore makes the tables as they were then, loads the rows, and migrates to this version: what an upgrade does.
"""

from __future__ import annotations

import json
import tarfile
from pathlib import Path

import pytest

from tests.config.conftest import Site
from tests.config.conftest import two_roles as two_roles

HERE = Path(__file__).resolve().parent
MOST_BYTES = 1_000_000


@pytest.fixture(scope="module")
def previous(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The backup, unpacked."""
    folder = tmp_path_factory.mktemp("previous")
    with tarfile.open(HERE / "previous.tar.xz") as archive:
        archive.extractall(folder, filter="data")
    return folder


def upgraded(folder: Path, backup: Path, **settings: str) -> Site:
    """A site of this version with the data of the one before, its chain and guards looked at."""
    folder.mkdir()
    key = (HERE / "previous.key").read_text(encoding="ascii").strip()
    site = Site(folder, {"QCAPP_SECRET_KEY": key, **settings})
    told = site.manage(
        ["restore", str(backup), "--into", str(folder)],
        ["verify_audit"],
        ["check_evidence"],
        ["check", "--database", "default"],
    )
    assert "Everything holds." in told
    return site


def opened(site: Site) -> dict[str, list[str]]:
    done = site.run("-m", "tests.upgrade.every_page", QCAPP_ALLOWED_HOSTS="testserver,localhost", QCAPP_DEBUG="yes")
    assert done.returncode == 0, done.stderr[-3000:]
    found: dict[str, list[str]] = json.loads(done.stdout.splitlines()[-1])
    return found


@pytest.fixture(params=["sqlite", "postgresql"])
def site(request: pytest.FixtureRequest, tmp_path: Path, previous: Path) -> Site:
    settings = request.getfixturevalue("two_roles") if request.param == "postgresql" else {}
    return upgraded(tmp_path / "data", previous, **settings)


def test_opens_every_kind_of_page_on_the_data_of_the_version_before(site: Site) -> None:
    found = opened(site)
    assert found["wrong"] == []
    assert len(found["kinds"]) > 60


def test_is_older_than_this_version_and_small(previous: Path) -> None:
    """Otherwise nothing is migrated, and nothing is shown."""
    kept = {tuple(row) for row in json.loads((previous / "manifest.json").read_text())["migrations"]}
    ours = {(path.parent.parent.name, path.stem) for path in HERE.parents[1].glob("qcapp/*/migrations/0*.py")}
    assert len({name for _, name in ours} - {name for _, name in kept}) > 10
    assert (HERE / "previous.tar.xz").stat().st_size < MOST_BYTES
