"""The whole circle with a tablet in use: backup, work after it, the machine lost, restored from the backup, sent again.

A real backup and a real restore into an empty place, real servers, a tablet in Chromium that goes on meanwhile.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from django.conf import settings

from qcapp.config.benchmarks.real_server import RealServer, database_url
from tests.config.conftest import Site

from .conftest import Shop, Tablet
from .test_faults import at_work, enter_all, until_sent

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def server() -> Iterator[RealServer]:
    with RealServer(workers=1, QCAPP_DEBUG="yes") as running:
        yield running


def asked(site: Site, what: str, *words: str) -> str:
    """What `on_restored.py` says about the site."""
    done = site.run("-m", "tests.capture.on_restored", what, *words)
    assert done.returncode == 0, done.stderr[-3000:]
    return done.stdout.splitlines()[-1]


def test_has_every_acknowledged_entry_after_a_restore_of_an_older_backup(
    tablet: Callable[..., Tablet], shop: Shop, server: RealServer, tmp_path: Path
) -> None:
    lost = Site(tmp_path / "lost", {"QCAPP_DATABASE_URL": database_url(), "QCAPP_DEMO": "no"})
    new = Site(tmp_path / "new", {"QCAPP_DEMO": "no"})
    for site in (lost, new):  # folders of their own: the anchors of other tests belong to other chains
        site.folder.mkdir()
    one = at_work(tablet(address=server.address))
    enter_all(one, {"pores": "2"})
    until_sent(one)
    lost.manage(["backup", str(tmp_path / "backup")])
    enter_all(one, {"heat": "7L0031"})  # acknowledged, and not in the backup
    until_sent(one)
    server.kill()
    enter_all(one, {"angle": "24.1"})  # while there is no server at all
    new.manage(["restore", str(tmp_path / "backup"), "--into", str(new.folder)])
    database = f"sqlite:///{new.folder / 'qcapp.sqlite3'}"
    server.variables |= {"QCAPP_DATA_DIR": str(new.folder), "QCAPP_DATABASE_URL": database}
    server.start()
    everybody_signs_in_anew = asked(new, "session", "1001")
    cookie = {"name": settings.SESSION_COOKIE_NAME, "value": everybody_signs_in_anew, "url": server.address}
    one.context.add_cookies([cookie])
    until_sent(one, 60)
    told = json.loads(asked(new, "answers", shop.serial))
    assert told == {"answers": {"angle": ["24.1"], "heat": ["7L0031"], "pores": ["2"]}, "wrong": [], "broken": None}
