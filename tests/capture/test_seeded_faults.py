"""A tablet at work while everything fails around it, by a seed: killed browser, killed and hung server, cut line,
wrong clock, ended login, new release, restored backup, full storage. At the end the server holds what the screen had
acknowledged.

Real Chromium with a profile on disk, the real server in processes of its own, a line between them that drops answers.
`pytest tests/capture/test_seeded_faults.py --faults 500` plays 500 seeds; `QCAPP_TEST_SEED` says the first.
"""

from __future__ import annotations

import os
import random
import time
from collections.abc import Iterator
from contextlib import suppress
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from playwright.sync_api import Error

from qcapp.audit.queries import head
from qcapp.config.benchmarks.real_server import RealServer
from qcapp.inspections.services.projection import differences
from qcapp.people.models import OpenSession

from . import page_scripts
from .conftest import Shop, Tablet
from .test_faults import at_work, kill, knock, start
from .wire import Wire

if TYPE_CHECKING:
    from playwright.sync_api import Playwright

pytestmark = [pytest.mark.browser, pytest.mark.both_databases, pytest.mark.django_db(transaction=True)]
FIRST = int(os.environ.get("QCAPP_TEST_SEED", "20"))
ENTRIES = {"width": "61.9", "pores": "2", "heat": "7L0031", "parallel": "0.12", "angle": "24.1"}
SETTLED = (
    "/Sent/.test(document.querySelector('#foot').innerText) && !/On tablet|Not saved|No network|does not answer|"
    "Signed out|fault/.test(document.querySelector('#foot').innerText)"
)
REFUSED = "/^NOT SAVED/.test(document.querySelector('#typing-error')?.innerText ?? '')"
HEAL = "() => window.heal?.()"
PATIENCE = 60  # seconds, on a machine that does other things too


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    seeds = range(FIRST, FIRST + metafunc.config.getoption("--faults"))
    metafunc.parametrize("seed", seeds)


@pytest.fixture
def server() -> Iterator[RealServer]:
    with RealServer(workers=1, QCAPP_DEBUG="yes") as running:
        yield running


class Play:
    """One tablet, and what its screen has acknowledged: the row of the checkpoint no longer says “not saved yet”."""

    def __init__(self, playwright: Playwright, shop: Shop, server: RealServer, folder: Path, seed: int) -> None:
        self.playwright, self.shop, self.server, self.folder = playwright, shop, server, folder
        self.pick = random.Random(seed)
        self.wire = Wire(server.address, seed)
        self.wire.faults = 0.4
        self.acknowledged: dict[str, str] = {}
        self.release = 0
        self.one = at_work(self._started().open())

    def _started(self) -> Tablet:
        one = start(self.playwright, self.shop, self.folder, self.wire.address)
        one.page.set_default_timeout(PATIENCE * 1000)
        return one

    def enter(self, key: str, value: str) -> None:
        """Enter a value. Half of the time the screen is looked at until it acknowledges it."""
        self.one.at(key).enter(value)
        if self.pick.random() < 0.8:
            saving = f"document.querySelector('#rows [data-key=\"{key}\"] .saving')"
            kept = f"document.querySelector('.verdict') && !{saving}"
            self.one.until(f"({kept}) || {REFUSED}", PATIENCE)
            if self.one.page.evaluate(
                f"() => {REFUSED}"
            ):  # said, and nothing acknowledged: entered again when there is room
                assert self.one.page.input_value("input#value") == value
                self.one.page.evaluate(HEAL)
                self.one.page.press("input#value", "Enter")
            self.one.until(kept, PATIENCE)
            self.one.until_foot("Not saved yet", there=False)
            self.acknowledged[key] = value

    # ---- what goes wrong

    def browser_killed(self) -> None:
        kill(self.one, self.folder)
        self.one = self._started()
        self.one.open()

    def server_killed(self) -> None:
        self.server.kill()
        if self.pick.random() < 0.5:
            self.one.page.reload()
            self.one.page.wait_for_selector("#question")
        self.server.start()

    def server_hangs(self) -> None:
        self.server.hang()
        knock(self.one)

    def line_cut(self) -> None:
        self.wire.state = "cut"

    def answers_lost(self) -> None:
        self.wire.drop_answers = 3

    def clock_jumps(self) -> None:
        hours = self.pick.choice([-30, 3])
        self.one.page.clock.set_system_time(datetime.now(UTC) + timedelta(hours=hours))

    def login_ends(self) -> None:
        OpenSession.objects.all().delete()

    def new_release(self) -> None:
        """The server comes back with other pages; the old ones go on until somebody taps."""
        self.release += 1
        self.server.stop()
        self.server.variables["QCAPP_SITE_NAME"] = f"release {self.release}"
        self.server.start()
        with suppress(Exception):  # it is asked for anew while the line is bad
            self.one.page.evaluate("() => navigator.serviceWorker.getRegistration().then((it) => it.update())")

    def backup_restored(self) -> None:
        """What was acknowledged since the backup is not on the server any more."""
        self.shop.lose_results()

    def storage_full(self) -> None:
        """The browser refuses what comes next, as it does at its quota; what it has kept stays."""
        self.one.page.evaluate(page_scripts.FILL_THE_STORE)

    FAULTS = (
        browser_killed, server_killed, server_hangs, line_cut, answers_lost, clock_jumps, login_ends, new_release,
        backup_restored, storage_full,
    )  # fmt: skip

    # ---- and is mended

    def mend(self) -> None:
        self.wire.release()
        self.server.go_on()
        with suppress(Error):  # the page is just being left, or was killed
            self.one.page.evaluate(HEAL)

    def finish(self) -> None:
        """Everything works again; the tablet has sent all it holds."""
        self.mend()
        self.wire.faults, self.wire.drop_answers = 0.0, 0
        end = time.monotonic() + PATIENCE
        while time.monotonic() < end:
            # Again and again: a late answer to the ended login may take the new one's cookie away.
            self.one.sign_in()
            knock(self.one)
            with suppress(TimeoutError):
                self.one.until(SETTLED, 2)
                if self._knows_the_restored_server():
                    return
        raise AssertionError(self.one.foot())

    def _knows_the_restored_server(self) -> bool:
        """What was sent before a restore stays "sent" until the tablet hears of it, and then waits once more."""
        known = self.one.page.evaluate(page_scripts.KNOWN_EPOCH)
        return bool(known == head().epoch and not self.one.page.evaluate(page_scripts.STORED, "outbox"))


@pytest.fixture
def play(playwright: Playwright, shop: Shop, server: RealServer, tmp_path: Path, seed: int) -> Iterator[Play]:
    made = Play(playwright, shop, server, tmp_path, seed)
    yield made
    made.mend()
    kill(made.one, made.folder)
    made.wire.close()


def test_ends_with_what_the_screen_acknowledged_once_each_whatever_fails(play: Play, seed: int) -> None:
    faults = play.pick.sample(Play.FAULTS, len(ENTRIES))
    told = []
    for (key, value), fault in zip(ENTRIES.items(), faults, strict=True):
        play.enter(key, value)
        told.append(fault.__name__)
        fault(play)
        if play.pick.random() < 0.5:
            play.mend()
    play.finish()
    stored = {key: [row.raw for row in play.shop.answers(key)] for key in ENTRIES}
    wrong = {key: raws for key, raws in stored.items() if raws not in ([], [ENTRIES[key]])}
    missing = {key for key in play.acknowledged if not stored[key]}
    assert (wrong, missing) == ({}, set()), (seed, told)
    assert differences() == []
