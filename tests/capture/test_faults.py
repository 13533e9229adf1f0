"""What goes wrong on a shop floor: the end state is what the screen acknowledged, once each.

Real Chromium, a real server, faults by a seed (`QCAPP_TEST_SEED`, 20 when not given).
"""

from __future__ import annotations

import os
import signal
import time
from collections.abc import Callable, Iterator
from contextlib import suppress
from datetime import UTC, datetime, timedelta
from pathlib import Path
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any

import pytest
from playwright.sync_api import Error

from qcapp.api.v1 import session
from qcapp.capture import shell
from qcapp.inspections.queries.beside import remarks_of

from . import page_scripts
from .conftest import CHROMIUM, Shop, Tablet
from .test_beside_in_browser import NONE_KEPT, item_of, say
from .wire import Wire

if TYPE_CHECKING:
    from playwright.sync_api import Playwright

pytestmark = [pytest.mark.browser, pytest.mark.both_databases, pytest.mark.django_db(transaction=True)]
Tablets = Callable[..., Tablet]
SEED = int(os.environ.get("QCAPP_TEST_SEED", "20"))
ENTRIES = {"width": "61.9", "pores": "2", "heat": "7L0031", "angle": "24.1", "parallel": "0.12"}


@pytest.fixture
def wire(shop: Shop) -> Iterator[Wire]:
    line = Wire(shop.address, seed=SEED)
    yield line
    line.close()


def enter_all(one: Tablet, entries: dict[str, str] = ENTRIES) -> None:
    """Enter values one after the other; each is on the tablet when this returns."""
    for key, value in entries.items():
        one.at(key).enter(value)
        one.page.wait_for_selector(".verdict")
    one.until_foot("Not saved", there=False)


def knock(one: Tablet) -> None:
    """What a tablet notices when it comes back into the network."""
    one.page.evaluate("() => { dispatchEvent(new Event('online')); }")


def until_sent(one: Tablet, seconds: float = 15) -> None:
    """Knock until everything is sent: the waits between tries are for people, not for tests."""
    one.drawn()
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        knock(one)
        with suppress(TimeoutError):
            one.until("!/On tablet|Not saved/.test(document.querySelector('#foot').innerText)", 0.4)
            return
    raise AssertionError(one.foot())


def assert_once_each(shop: Shop, entries: dict[str, str] = ENTRIES) -> None:
    stored = {key: [row.raw for row in shop.answers(key)] for key in entries}
    assert stored == {key: [value] for key, value in entries.items()}


def at_work(one: Tablet) -> Tablet:
    """With the service worker in charge: from then on the pages open without network."""
    one.until("navigator.serviceWorker.controller !== null")
    return one


class TestNetwork:
    def test_keeps_everything_while_it_is_off_over_a_reload_and_sends_it_once(
        self, tablet: Tablets, shop: Shop
    ) -> None:
        one = at_work(tablet())
        one.context.set_offline(True)
        enter_all(one)
        one.until_on_tablet(len(ENTRIES))
        one.until_foot("No network, last contact")
        one.page.reload()
        one.page.wait_for_selector("#question")
        one.until_on_tablet(len(ENTRIES))
        one.at("width")
        assert "In band: 61.9 mm" in one.verdict()
        assert shop.count() == 0
        one.context.set_offline(False)
        until_sent(one)
        assert_once_each(shop)

    def test_says_number_follows_while_no_report_can_have_a_number(self, tablet: Tablets, shop: Shop) -> None:
        one = tablet()
        one.context.set_offline(True)
        one.at("width").enter("62.7")
        assert "report is opened (number follows)" in one.verdict()
        one.context.set_offline(False)
        knock(one)
        one.until("/NCR-\\d{4}-\\d{4} is open/.test(document.querySelector('.verdict').innerText)")

    def test_opens_from_the_tablet_when_the_server_hangs_and_sends_when_it_is_back(
        self, tablet: Tablets, shop: Shop, wire: Wire
    ) -> None:
        one = at_work(tablet(address=wire.address))
        wire.hang()
        started = time.monotonic()
        one.page.reload()
        one.page.wait_for_selector("#question")
        assert time.monotonic() - started < 8
        enter_all(one)
        one.until_on_tablet(len(ENTRIES))
        one.until_foot("The server does not answer, last contact")
        wire.release()
        until_sent(one)
        assert_once_each(shop)

    def test_shows_nothing_of_the_former_person_when_the_answer_is_late(
        self, tablet: Tablets, shop: Shop, wire: Wire
    ) -> None:
        one = at_work(tablet(address=wire.address))
        one.sign_in("1002")
        wire.hang()
        one.page.reload()
        one.page.wait_for_selector("#question")
        wire.release()
        one.until("document.querySelector('#who').textContent === 'TO'")
        one.until("document.querySelector('input#value') !== null")
        assert one.page.locator("#stranger").count() == 0

    def test_stores_once_what_was_stored_before_the_line_was_cut(self, tablet: Tablets, shop: Shop, wire: Wire) -> None:
        one = tablet(address=wire.address)
        wire.drop_answers = 1
        one.at("pores").enter("2")
        until_sent(one)
        assert wire.submissions >= 2
        assert_once_each(shop, {"pores": "2"})

    def test_ends_with_each_entry_once_whatever_goes_wrong_on_the_way(
        self, tablet: Tablets, shop: Shop, wire: Wire
    ) -> None:
        one = tablet(address=wire.address)
        wire.faults = 0.6
        enter_all(one)
        until_sent(one, 30)
        assert_once_each(shop)

    def test_never_takes_a_page_of_somebody_else_for_an_answer(self, tablet: Tablets, shop: Shop, wire: Wire) -> None:
        one = tablet(address=wire.address)
        wire.state = "portal"
        one.at("pores").enter("2")
        one.until_foot("sign in to send")
        one.until_on_tablet(1)
        wire.release()
        until_sent(one)
        assert_once_each(shop, {"pores": "2"})


class TestKilled:
    def test_has_every_acknowledged_entry_after_a_kill_and_starts_cold_without_network(
        self, playwright: Playwright, shop: Shop, tmp_path: Path
    ) -> None:
        one = at_work(start(playwright, shop, tmp_path).open())
        one.context.set_offline(True)
        enter_all(one)
        one.at("bore").type("20.0")
        one.until("new Promise((done) => setTimeout(done, 600, true))")
        kill(one, tmp_path)

        again = start(playwright, shop, tmp_path)
        again.context.set_offline(True)
        again.open()
        again.until_on_tablet(len(ENTRIES))
        assert again.page.inner_text("#question") == "Pivot bore, three depths"
        assert again.page.input_value("input#value") == "20.0"
        again.page.goto(f"{shop.address}/floor/")
        again.until(f"document.querySelector('#units').innerText.includes('{shop.serial}')")
        again.until(f"document.querySelector('#units').innerText.includes('{len(ENTRIES)} not sent')")
        again.context.set_offline(False)
        again.open()
        until_sent(again)
        assert_once_each(shop)
        again.context.close()

    def test_resumes_what_was_being_sent_when_it_was_killed(
        self, playwright: Playwright, shop: Shop, wire: Wire, tmp_path: Path
    ) -> None:
        """Some acknowledged, some stored without the tablet having heard of it, one not sent at all."""
        one = at_work(start(playwright, shop, tmp_path, wire.address).open())
        enter_all(one, {"width": "61.9"})
        until_sent(one)
        wire.hold_answers = True
        enter_all(one, {"pores": "2"})
        end = time.monotonic() + 15
        while shop.count() < 2:  # stored, and its answer is on the way
            assert time.monotonic() < end
            one.page.wait_for_timeout(50)
        enter_all(one, {"heat": "7L0031"})
        one.until_on_tablet(2)
        kill(one, tmp_path)
        wire.hold_answers = False
        again = start(playwright, shop, tmp_path, wire.address).open()
        until_sent(again)
        assert_once_each(shop, {"width": "61.9", "pores": "2", "heat": "7L0031"})
        again.context.close()


def start(playwright: Playwright, shop: Shop, folder: Path, address: str = "", **options: Any) -> Tablet:
    """A browser whose store outlives it."""
    context = playwright.chromium.launch_persistent_context(
        folder / "profile", executable_path="/usr/bin/chromium", args=CHROMIUM,
        viewport={"width": 1180, "height": 820}, **options,
    )  # fmt: skip
    return Tablet(context, shop, address).sign_in()


def kill(one: Tablet, folder: Path) -> None:
    """End the browser of this profile as a dead battery does."""
    mark = str(folder / "profile").encode()
    for entry in Path("/proc").iterdir():
        with suppress(OSError, ProcessLookupError):
            if entry.name.isdigit() and mark in (entry / "cmdline").read_bytes():
                os.kill(int(entry.name), signal.SIGKILL)
    with suppress(Error):
        one.context.close()


class TestSignedOut:
    def test_starts_cold_under_nobodys_name_after_a_sign_out(self, tablet: Tablets, shop: Shop) -> None:
        one = at_work(tablet())
        one.page.evaluate(page_scripts.SIGN_OUT)
        one.page.goto("about:blank")
        one.context.set_offline(True)
        one.page.goto(f"{shop.address}/floor/")
        one.page.wait_for_selector("#foot *")
        assert "Marlowe" not in one.page.inner_text("body")
        assert one.page.locator("#units li").count() == 0
        one.page.goto(shop.address + shop.bench)
        one.page.wait_for_selector("#work [role=alert]")
        assert one.page.locator("#value").count() == 0

    def test_forgets_the_former_person_at_the_page_to_sign_in(self, tablet: Tablets, shop: Shop) -> None:
        one = at_work(tablet())
        one.page.goto(f"{shop.address}/sign-in/")
        one.until(f"(await {page_scripts.HOLDER}) === null")

    def test_sends_what_the_former_entered_when_they_are_back(self, tablet: Tablets, shop: Shop) -> None:
        one = at_work(tablet())
        one.context.set_offline(True)
        one.at("pores").enter("2")
        one.until_on_tablet(1)
        one.context.set_offline(False)
        one.page.goto(f"{shop.address}/sign-in/")
        one.sign_in("1002").open()
        one.until("document.querySelector('#who').textContent === 'TO'")
        one.sign_in("1001").open()
        until_sent(one)
        assert_once_each(shop, {"pores": "2"})
        assert shop.answers("pores")[0].person.badge == "1001"


class TestStore:
    def test_says_not_saved_and_leaves_the_value_when_the_tablet_cannot_keep_it(
        self, tablet: Tablets, shop: Shop
    ) -> None:
        one = tablet().at("pores")
        one.page.evaluate(page_scripts.BREAK_THE_STORE)
        one.enter("2")
        one.until_foot("NOT SAVED 1")
        assert "NOT SAVED" in one.page.inner_text("#typing-error")
        assert one.page.input_value("input#value") == "2"
        one.at("heat").at("pores")
        assert one.page.input_value("input#value") == "2"
        one.page.evaluate("() => window.heal()")
        one.page.press("input#value", "Enter")
        one.until_foot("NOT SAVED", there=False)
        one.until_sent()
        assert_once_each(shop, {"pores": "2"})

    def test_shows_a_key_that_was_used_for_another_answer(self, tablet: Tablets, shop: Shop) -> None:
        one = tablet().at("pores").enter("2")
        one.until_sent()
        one.page.evaluate(page_scripts.REUSE_A_KEY)
        knock(one)
        one.page.wait_for_selector("#refused")
        assert_once_each(shop, {"pores": "2"})

    def test_sends_again_what_a_restored_server_may_have_lost(
        self, tablet: Tablets, shop: Shop, wire: Wire, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        one = tablet(address=wire.address)
        enter_all(one, {"pores": "2", "heat": "7L0031"})
        say(one, "Scale on the plate")
        one.until_sent()
        one.until(NONE_KEPT)
        remarks: list[str] = []
        one.page.on("request", lambda asked: remarks.append(asked.url) if asked.url.endswith("/remarks") else None)
        before = wire.submissions
        monkeypatch.setattr(session, "head", lambda: SimpleNamespace(epoch="after the restore"))
        knock(one)
        one.until("fetch('/api/v1/session').then(() => true)")
        end = time.monotonic() + 8
        while wire.submissions == before and time.monotonic() < end:
            knock(one)
            one.until("new Promise((done) => setTimeout(done, 100, true))")
        one.until_sent()
        assert wire.submissions == before + 1
        assert_once_each(shop, {"pores": "2", "heat": "7L0031"})
        one.until(NONE_KEPT)
        assert len(remarks) == 1
        assert [said.text for said in remarks_of(item_of(shop))] == ["Scale on the plate"]

    def test_keeps_and_flags_an_entry_of_a_tablet_whose_clock_is_wrong(self, tablet: Tablets, shop: Shop) -> None:
        one = tablet().at("pores")
        one.page.clock.set_system_time(datetime.now(UTC) + timedelta(hours=3))
        one.enter("2")
        one.until("/clock/.test(document.querySelector('.verdict').innerText)")
        (answer,) = shop.answers("pores")
        assert "clock_off" in answer.flags
        one.page.clock.set_system_time(datetime.now(UTC) - timedelta(days=1))
        one.page.reload()
        one.page.wait_for_selector("#question")
        one.at("pores")
        text = "document.querySelector('.verdict').innerText"
        one.until(f"/By IM/.test({text}) && /clock/.test({text})")
        one.at("heat").enter("7L0031")  # by a clock that is a day behind
        one.until(f"/clock/.test({text})")
        one.at("angle").enter("24.1")
        until_sent(one)
        rows = [*shop.answers("pores"), *shop.answers("heat"), *shop.answers("angle")]
        assert [(row.raw, "clock_off" in row.flags) for row in sorted(rows, key=lambda row: row.pk)] == [
            ("2", True),
            ("7L0031", True),
            ("24.1", True),
        ]


class TestNewVersion:
    def test_waits_for_a_tap_and_for_an_empty_field(
        self, tablet: Tablets, shop: Shop, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        one = at_work(tablet()).at("pores").type("2")
        first = caches(one)
        monkeypatch.setattr(shell, "version", lambda: "next")
        one.page.evaluate("() => navigator.serviceWorker.getRegistration().then((it) => it.update())")
        one.page.wait_for_selector("#update")
        assert one.page.input_value("input#value") == "2"
        one.page.click("#update")
        assert "A value is half entered" in one.page.inner_text("dialog[open]")
        one.page.keyboard.press("Escape")
        one.enter("2").until_sent()
        with one.page.expect_navigation():
            one.page.click("#update")
        one.page.wait_for_selector("#question")
        one.until("caches.keys().then((names) => names.length === 1 && names[0] === 'qcapp-next')")
        assert first != ["qcapp-next"]
        assert_once_each(shop, {"pores": "2"})

    def test_fetches_again_what_is_missing_of_the_kept_pages(self, tablet: Tablets, shop: Shop) -> None:
        one = at_work(tablet())
        gone = "caches.keys().then(([name]) => caches.open(name)).then((cache) => cache.{act}('/floor/shell/bench/'))"
        assert one.page.evaluate(gone.format(act="delete")) is True
        one.page.reload()
        one.page.wait_for_selector("#question")
        one.until(gone.format(act="match") + ".then((found) => found !== undefined)")

    def test_keeps_no_name_and_no_token_in_the_pages(self, tablet: Tablets, shop: Shop) -> None:
        one = at_work(tablet())
        text = one.page.evaluate(page_scripts.KEPT_TEXTS)
        for secret in ("Marlowe", "csrfmiddlewaretoken", shop.serial, "1001"):
            assert secret not in text, secret
        assert "<title>" in text


def caches(one: Tablet) -> list[str]:
    return list(one.page.evaluate("() => caches.keys()"))
