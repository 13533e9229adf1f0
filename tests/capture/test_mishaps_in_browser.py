"""What nobody planned and people do: go back, open a page twice, mistype a serial, scan while the line hangs."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator

import pytest
from django.utils import timezone

from qcapp.audit.queries import entries_about
from qcapp.gauges.queries import gauge_by_number
from qcapp.gauges.services import put_back_in_use
from qcapp.inspections.queries import inspection_of
from qcapp.inspections.queries.beside import remarks_of
from qcapp.people.models import OpenSession
from qcapp.people.roles import Role
from qcapp.people.services import end_role, give_role
from tests.production.test_decoding import photo

from .conftest import Shop, Tablet
from .test_beside_in_browser import NONE_KEPT
from .test_faults import assert_once_each, at_work, knock, until_sent
from .test_shared_tablet import PIN, shared, switch, to_bench  # noqa: F401 - a fixture among them
from .wire import Wire

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
Tablets = Callable[..., Tablet]


@pytest.fixture
def wire(shop: Shop) -> Iterator[Wire]:
    line = Wire(shop.address)
    yield line
    line.close()


def taken_along(one: Tablet, shop: Shop) -> Tablet:
    """The floor page, with the unit on the tablet and the pages kept."""
    at_work(one)
    one.until(
        f"/on this tablet/.test(document.querySelector('[data-serial=\"{shop.serial}\"] .kept')?.innerText ?? '')"
    )
    one.until("/All of these/.test(document.querySelector('#along').innerText)", 20)
    return one


def type_serial(one: Tablet, text: str) -> None:
    one.page.fill("#scan [name=serial]", text)
    one.page.press("#scan [name=serial]", "Enter")


def problem(one: Tablet) -> str:
    one.page.wait_for_selector("#problem [role=alert]")
    return one.page.inner_text("#problem")


class TestBack:
    def test_comes_back_without_network_to_what_was_half_typed_and_to_what_was_entered(
        self, tablet: Tablets, shop: Shop
    ) -> None:
        one = taken_along(tablet(path="/floor/"), shop)
        one.context.set_offline(True)
        one.page.click(f'[data-serial="{shop.serial}"]')
        one.page.wait_for_selector("#question")
        one.at("heat").type("7L0031")
        one.at("pores").type("2")
        one.page.go_back()
        one.page.wait_for_selector("#scan")
        one.page.go_forward()
        one.page.wait_for_selector("#question")
        assert one.page.inner_text("#question") == "Pores in the cap pass"
        assert one.page.input_value("input#value") == "2"
        one.page.press("input#value", "Enter")
        one.until_on_tablet(1)
        one.page.go_back()
        one.page.wait_for_selector("#scan")
        one.until("document.querySelector('#units').innerText.includes('1 not sent')")
        one.page.go_forward()
        one.page.wait_for_selector("#question")
        one.at("pores")
        assert "In band: 2" in one.verdict()
        one.context.set_offline(False)
        until_sent(one)
        assert_once_each(shop, {"pores": "2"})
        assert shop.count() == 1  # what was typed and not entered is no result

    def test_shows_nothing_of_the_former_behind_back_and_in_another_tab(
        self,
        shared: Tablet,  # noqa: F811
        shop: Shop,
    ) -> None:
        one = to_bench(shared, shop)
        one.at("pores").type("7")
        other = Tablet(one.context, shop)
        other.page = one.context.new_page()
        to_bench(other, shop)
        switch(other, "1002")
        one.page.evaluate("() => dispatchEvent(new Event('focus'))")  # as when the tab is taken in front again
        one.until("document.querySelector('#who').textContent === 'TO'")
        one.page.wait_for_selector("#question")
        one.at("pores")
        assert one.page.input_value("input#value") == ""
        one.enter("2")
        until_sent(one)
        assert shop.answers("pores")[0].person.badge == "1002"
        one.page.goto(f"{one.address}/floor/")
        one.page.click("#who")
        one.page.click('#who-works [data-badge="1001"]')
        with one.page.expect_navigation():
            one.page.fill("#pin", PIN)
        one.page.go_back()
        one.until("document.querySelector('#who').textContent === 'IM'")
        one.page.wait_for_selector("#question")
        one.at("heat").enter("7L0031")
        until_sent(one)
        assert shop.answers("heat")[0].person.badge == "1001"
        assert shop.count() == 2


class TestSerial:
    def test_names_what_is_near_a_mistyped_serial_and_opens_nothing(self, tablet: Tablets, shop: Shop) -> None:
        one = taken_along(tablet(path="/floor/"), shop)
        type_serial(one, shop.serial.replace("BN", "BM"))
        said = problem(one)
        assert "There is no unit" in said
        assert shop.serial in said
        one.open("/floor/")
        type_serial(one, shop.serial.lower())
        one.page.wait_for_selector("#question")
        assert one.page.inner_text("#serial") == shop.serial

    def test_opens_what_is_on_the_tablet_and_says_what_is_not_while_the_server_hangs(
        self, tablet: Tablets, shop: Shop, wire: Wire
    ) -> None:
        one = taken_along(tablet(path="/floor/", address=wire.address), shop)
        wire.hang()
        type_serial(one, "BN-1-9999")
        assert "BN-1-9999 is not on this tablet, and there is no network to look for it." in problem(one)
        assert one.page.input_value("#scan [name=serial]") == "BN-1-9999"
        type_serial(one, shop.serial.lower())
        one.page.wait_for_selector("#question")
        one.at("pores").enter("2").until_on_tablet(1)
        wire.release()
        until_sent(one)
        assert_once_each(shop, {"pores": "2"})

    def test_opens_the_unit_whose_code_is_in_a_photo(self, tablet: Tablets, shop: Shop) -> None:
        one = taken_along(tablet(path="/floor/"), shop)
        one.context.set_offline(True)
        photograph(one, shop.serial)
        assert "Type the serial number" in problem(one)
        one.context.set_offline(False)
        photograph(one, shop.serial)
        one.page.wait_for_selector("#question")
        assert one.page.inner_text("#serial") == shop.serial


def photograph(one: Tablet, serial: str) -> None:
    """The tablet's camera, for a browser that reads no codes by itself."""
    with one.page.expect_file_chooser() as chooser:
        one.page.click("#camera")
    chooser.value.set_files([{"name": "p.jpg", "mimeType": "image/jpeg", "buffer": photo(serial)}])


class TestUnlocking:
    def test_shows_the_whole_floor_page_once_somebody_has_unlocked_a_locked_tablet(
        self,
        shared: Tablet,  # noqa: F811
        shop: Shop,
    ) -> None:
        one = shared
        one.page.click("#who")
        one.page.click("#lock")
        one.page.wait_for_selector("#who-works")
        one.context.clear_cookies(name="sessionid")
        one.page.goto(f"{one.address}/floor/")
        one.page.click('#who-works [data-badge="1001"]')
        one.page.fill("#pin", PIN)
        one.page.wait_for_selector("main[data-online]")
        assert shop.serial in one.page.inner_text("#lists")
        knock(one)
        one.until("document.querySelector('#who').textContent === 'Imogen Marlowe'")


class TestSignedOut:
    def test_signs_nothing_when_the_session_ends_before_the_signature_and_goes_on_after_the_sign_in(
        self, tablet: Tablets, shop: Shop
    ) -> None:
        shop.release_family("MI-1", "small part", PLAN)
        serial = shop.open_unit("MI-1")
        one = at_work(tablet(path=f"/units/{serial}/bench/"))
        one.enter("20.1")
        one.until_sent()
        OpenSession.objects.all().delete()
        sign(one)
        one.page.locator("dialog[open]").get_by_text(
            "You are signed out. Sign in again; nothing was signed."
        ).wait_for()
        assert not signed(serial)
        one.sign_in().open(f"/units/{serial}/bench/")
        sign(one)
        one.until("/is signed by/.test(document.querySelector('#stage-end')?.innerText ?? '')")
        assert signed(serial)


class TestPartNotLoaded:
    def test_says_so_where_signing_is_loaded_without_network(self, tablet: Tablets, shop: Shop) -> None:
        """A browser that has not kept the pages loads the signing when it is asked for."""
        shop.release_family("MI-3", "small part", PLAN)
        serial = shop.open_unit("MI-3")
        one = tablet(path=f"/units/{serial}/bench/")
        one.enter("20.1")
        one.until_sent()
        one.context.route("**/capture/signing*.js", lambda route: route.abort())
        one.page.evaluate(
            "navigator.serviceWorker.getRegistrations().then((all) => all.map((one) => one.unregister()))"
        )
        one.page.evaluate("caches.keys().then((all) => Promise.all(all.map((one) => caches.delete(one))))")
        one.page.click("#sign")
        one.page.locator("dialog[open]").get_by_text("Nothing is lost: try again when there is network.").wait_for()
        assert not signed(serial)
        one.page.get_by_role("button", name="Understood").click()
        one.context.unroute("**/capture/signing*.js")
        sign(one)
        one.until("/is signed by/.test(document.querySelector('#stage-end')?.innerText ?? '')")
        assert signed(serial)


class TestStranger:
    def test_does_nothing_under_the_name_of_who_has_signed_in_meanwhile(self, tablet: Tablets, shop: Shop) -> None:
        """A page of Imogen Marlowe stays open, and Tadeo Okonjo signs in in another tab; their PINs are the same."""
        shop.release_family("MI-2", "welded part", WELDED)
        serial = shop.open_unit("MI-2")
        one = at_work(tablet(path=f"/units/{serial}/bench/"))
        one.page.click(".answer.in")
        one.until_sent()
        opened_by(one, "1001", serial).sign_in("1002")
        sign(one)
        said = "Tadeo Okonjo is signed in on this tablet now. This page was opened by Imogen Marlowe."
        one.page.locator("dialog[open]").get_by_text(said).wait_for()
        assert not signed(serial)
        opened_by(one, "1001", serial).sign_in("1002")
        one.page.click("#report")
        one.page.locator("dialog[open] textarea").fill("Dent in the left rail")
        one.page.get_by_role("button", name="major", exact=True).click()
        one.page.locator("dialog[open]").get_by_text(said).wait_for()
        assert not inspection_of(serial).unit.on_hold
        one.sign_in("1001").open(f"/units/{serial}/bench/")
        one.until(NONE_KEPT)
        assert [(said.person_name, said.text) for said in remarks_of(inspection_of(serial).unit.item_id)] == [
            ("Imogen Marlowe", "Dent in the left rail")
        ]


def opened_by(one: Tablet, badge: str, serial: str) -> Tablet:
    """The bench as this person has it, after it has asked the server who is there."""
    with one.page.expect_response("**/api/v1/session?*"):
        one.sign_in(badge).open(f"/units/{serial}/bench/")
    return one


class TestRefusedDoubt:
    def test_stays_in_the_list_with_its_reason_until_somebody_has_dealt_with_it(
        self, tablet: Tablets, shop: Shop
    ) -> None:
        one = at_work(tablet().at("width"))
        one.context.set_offline(True)
        for number in ("HG-07", "HG-08"):
            one.page.click("#gauge")
            one.page.locator("dialog[open]").get_by_role("button", name=number).click()
            one.page.click("#set-aside")
            one.page.get_by_role("button", name="Dropped").click()
        one.until_on_tablet(2)
        keeper, inspector = shop.people["1015"], shop.people["1001"]
        end_role(by=keeper, person=inspector, role=Role.INSPECTOR, at=timezone.now())
        one.context.set_offline(False)
        knock(one)
        one.until_foot("Refused 2")
        assert [usable(number) for number in ("HG-07", "HG-08")] == [True, True]
        give_role(by=keeper, person=inspector, role=Role.INSPECTOR, at=timezone.now())
        one.page.click("#refused")
        one.page.wait_for_selector("dialog[open] .banner")
        first, second = one.page.locator("dialog[open] .banner").all()
        assert "HG-07: " in first.inner_text()
        assert "Entered by Imogen Marlowe" in first.inner_text()
        second.get_by_role("button", name="Discard").click()
        one.page.get_by_role("button", name="Entered twice").click()
        one.until_foot("Refused 1")
        one.page.click("#refused")
        one.page.locator("dialog[open]").get_by_role("button", name="Send again").click()
        one.page.wait_for_selector("#refused", state="detached")
        one.until(NONE_KEPT)
        assert [usable(number) for number in ("HG-07", "HG-08")] == [False, True]
        until_discarded(one, "gauge HG-08", "Entered twice")
        put_back_in_use(by=shop.people["1010"], number="HG-07", reason="looked at", at=timezone.now())


def usable(number: str) -> bool:
    return gauge_by_number(number, timezone.now()).usable


def until_discarded(one: Tablet, subject: str, reason: str) -> None:
    """The audit says who gave it up and why."""
    end = time.monotonic() + 10
    while True:
        told = [one for one in entries_about(subject) if one.verb == "tablet.entry_discarded"]
        if told and reason in str(told[0].payload):
            return
        assert time.monotonic() < end, subject
        one.page.wait_for_timeout(50)


WELDED = """\
stage_number,stage_name,number,key,title,kind,criticality
1,Weld inspection,101,w7,Seam W7,attribute,minor
"""
PLAN = """\
stage_number,stage_name,number,key,title,kind,nominal,limits,unit_of_measure,decimals,criticality
1,Tack-up,101,left,Left length,measured,20,±0.5,mm,1,minor
"""


def sign(one: Tablet) -> None:
    one.page.click("#sign")
    one.page.fill("dialog[open] .pin-dots", PIN)
    one.page.press("dialog[open] .pin-dots", "Enter")


def signed(serial: str) -> bool:
    return bool(inspection_of(serial).stages[0].signed)
