"""The data of earlier versions come over: restored, migrated, audited, and every kind of page opens.

`previous.tar.xz` is a backup that the version before this one made of its demonstration (26 November 2026, 05:20,
commit ae9d66e), `older.tar.xz` one of the day before (14:14, commit ceba99f), from which far more has to be
migrated. A restore makes the tables as they were then, loads the rows, and migrates to this version: an upgrade.
"""

from __future__ import annotations

import json
import tarfile
from pathlib import Path

import pytest

from tests.config.conftest import Site
from tests.config.conftest import two_roles as two_roles

HERE = Path(__file__).resolve().parent
VERSIONS = ("previous", "older")
MOST_BYTES = 1_500_000


def unpacked(folder: Path, version: str) -> Path:
    """The backup of a version."""
    with tarfile.open(HERE / f"{version}.tar.xz") as archive:
        archive.extractall(folder, filter="data")
    return folder


def upgraded(folder: Path, version: str, **settings: str) -> Site:
    """A site of this version with the data of an earlier one, its chain and guards looked at."""
    data = folder / "data"
    data.mkdir()
    key = (HERE / f"{version}.key").read_text(encoding="ascii").strip()
    site = Site(data, {"QCAPP_SECRET_KEY": key, **settings})
    told = site.manage(
        ["restore", str(unpacked(folder / "backup", version)), "--into", str(data)],
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


@pytest.fixture(params=[("previous", "sqlite"), ("previous", "postgresql"), ("older", "postgresql")], ids=" on ".join)
def site(request: pytest.FixtureRequest, tmp_path: Path) -> Site:
    version, database = request.param
    settings = request.getfixturevalue("two_roles") if database == "postgresql" else {}
    return upgraded(tmp_path, version, **settings)


def test_opens_every_kind_of_page_on_the_data_of_an_earlier_version(site: Site) -> None:
    found = opened(site)
    assert found["wrong"] == []
    assert len(found["kinds"]) > 60


@pytest.mark.parametrize(("version", "newer"), [("previous", 0), ("older", 10)])
def test_is_older_than_this_version_and_small(tmp_path: Path, version: str, newer: int) -> None:
    """Otherwise nothing is migrated, and nothing is shown."""
    manifest = json.loads((unpacked(tmp_path, version) / "manifest.json").read_text())
    kept = {tuple(row) for row in manifest["migrations"]}
    ours = {(path.parent.parent.name, path.stem) for path in HERE.parents[1].glob("qcapp/*/migrations/0*.py")}
    assert len({name for _, name in ours} - {name for _, name in kept}) > newer
    assert (HERE / f"{version}.tar.xz").stat().st_size < MOST_BYTES
