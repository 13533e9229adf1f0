"""A tablet that several people share: who works here, by PIN, with and without network."""

from __future__ import annotations

import io
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from django.utils import timezone

from qcapp.inspections.queries import inspection_of
from qcapp.inspections.queries.beside import photos_of, remarks_of
from qcapp.inspections.services.handed_in import take_in_file
from qcapp.people import services
from qcapp.people.models import Person
from qcapp.people.models import Tablet as TabletRow
from qcapp.people.tablet_guard import COOKIE
from tests.factories.tablets import enrolled

from .conftest import Shop, Tablet
from .test_beside_in_browser import NONE_KEPT, item_of, picture, say, take
from .test_faults import assert_once_each, at_work, knock, until_sent
from .test_floor_look import boxes, resize

pytestmark = [pytest.mark.browser, pytest.mark.both_databases, pytest.mark.django_db(transaction=True)]
PIN = "271845"
CHOSEN_SINCE = """new Promise((done) => { indexedDB.open("qcapp").onsuccess = ({ target: { result: db } }) => {
    const asked = db.transaction("meta").objectStore("meta").get("people");
    asked.onsuccess = () => { db.close(); done(asked.result.find((one) => one.badge === "1002").language === "es"); };
}; })"""


@pytest.fixture
def shared(tablet: Callable[..., Tablet], shop: Shop) -> Tablet:
    """An enrolled tablet on which Imogen Marlowe (1001) and Tobias (1002) have their keys; nobody is unlocked."""
    one = tablet(path="/sign-in/")
    for badge in ("1001", "1002"):
        services.set_pin(by=None, person=shop.people[badge], pin=PIN, at=timezone.now())
        Person.objects.filter(badge=badge).update(language="en")
    one.context.clear_cookies()
    _, token = enrolled(shop.people["1015"], timezone.now(), name=f"Bench {shop.number}")
    one.context.add_cookies([{"name": COOKIE, "value": token, "url": one.address, "httpOnly": True}])
    one.page.goto(f"{one.address}/floor/")
    new_here(one, "1002")
    until_served(one)
    one.page.click("#who")
    new_here(one, "1001")
    until_served(one)
    return one


def until_served(one: Tablet) -> None:
    """The server's own page, once it knows who works here; a tap before its scripts are there opens the floor anew."""
    one.page.wait_for_selector("body:has(main[data-online]) #who[aria-haspopup]")


def new_here(one: Tablet, badge: str) -> None:
    one.page.fill("#badge", badge)
    one.page.press("#badge", "Enter")
    one.page.fill("#pin", PIN)
    one.page.wait_for_selector("dialog", state="detached")
    one.page.wait_for_selector("#foot *")


def switch(one: Tablet, badge: str, pin: str = PIN) -> None:
    """Another person by a tap and the PIN; returns when the page is theirs."""
    one.page.click("#who")
    one.page.click(f'#who-works [data-badge="{badge}"]')
    one.page.fill("#pin", pin)
    one.page.wait_for_selector("dialog", state="detached")
    initials = {"1001": "IM", "1002": "TO"}[badge]
    one.until(f"document.querySelector('#who').textContent === '{initials}'")


def to_bench(one: Tablet, shop: Shop) -> Tablet:
    one.page.goto(shop.address + shop.bench)
    one.page.wait_for_selector("#question")
    return one


class TestSwitching:
    def test_keeps_each_ones_name(self, shared: Tablet, shop: Shop) -> None:
        one = to_bench(shared, shop)
        one.at("pores").enter("2")
        switch(one, "1002")
        one.page.wait_for_selector("#question")
        one.at("heat").enter("7L0031")
        one.page.wait_for_selector(".verdict")
        until_sent(one)
        assert [[row.person.badge for row in shop.answers(key)] for key in ("pores", "heat")] == [["1001"], ["1002"]]

    def test_works_without_network_and_sends_each_entry_under_its_owners_name(self, shared: Tablet, shop: Shop) -> None:
        one = at_work(to_bench(shared, shop))
        one.context.set_offline(True)
        one.at("pores").enter("2")
        one.until_on_tablet(1)
        switch(one, "1002")
        one.page.wait_for_selector("#question")
        one.at("heat").enter("7L0031")
        one.until_on_tablet(2)
        one.context.set_offline(False)
        until_sent(one)
        assert_once_each(shop, {"pores": "2", "heat": "7L0031"})
        (first,), (second,) = shop.answers("pores"), shop.answers("heat")
        assert (first.person.badge, first.sent_by.badge, first.flags) == ("1001", "1002", [])
        assert second.person.badge == "1002"

    def test_sends_the_formers_photo_and_remarks_under_the_formers_name(
        self, shared: Tablet, shop: Shop, settings: Any, tmp_path: Path
    ) -> None:
        settings.QCAPP_DATA_DIR = tmp_path
        one = at_work(to_bench(shared, shop))
        one.context.set_offline(True)
        take(one, picture(300, 200))
        one.page.click("#keep-photo")
        one.page.wait_for_selector(".thumb img")
        say(one, "Scale on the plate")
        one.page.click("#not-now")
        one.page.get_by_role("button", name="Gauge is away").click()
        one.until_on_tablet(3)
        switch(one, "1002")
        one.page.wait_for_selector("#question")
        one.until_on_tablet(3)
        one.page.goto(f"{one.address}/floor/")
        one.until_on_tablet(3)
        one.context.set_offline(False)
        knock(one)
        one.until(NONE_KEPT)
        one.until_foot("All sent")
        said = [*photos_of(item_of(shop)), *remarks_of(item_of(shop))]
        assert [one.person_name for one in said] == ["Imogen Marlowe"] * 3

    def test_speaks_the_language_of_whoever_works_here_also_without_network(self, shared: Tablet, shop: Shop) -> None:
        one, second = to_bench(shared, shop), shop.people["1002"]
        type(second).objects.filter(pk=second.pk).update(language="es")
        switch(one, "1002")
        one.until(CHOSEN_SINCE)  # what the person has chosen since the first PIN is heard with the switch
        one.page.reload()
        one.until("/Lectura/.test(document.body.innerText)")
        switch(one, "1001")
        one.until("/Reading/.test(document.body.innerText)")
        at_work(one).context.set_offline(True)
        switch(one, "1002")
        one.until("/Lectura/.test(document.body.innerText)")
        one.at("pores").enter("2")
        one.until("/En la tableta 1/.test(document.querySelector('#foot').innerText)")
        type(second).objects.filter(pk=second.pk).update(language="en")
        one.context.set_offline(False)
        until_sent(one)

    def test_keeps_what_is_half_typed_for_its_owner(self, shared: Tablet, shop: Shop) -> None:
        one = to_bench(shared, shop)
        one.at("pores").type("7")
        switch(one, "1002")
        one.page.wait_for_selector("#question")
        one.at("pores")
        assert one.page.input_value("input#value") == ""
        switch(one, "1001")
        one.page.wait_for_selector("#question")
        one.at("pores")
        assert one.page.input_value("input#value") == "7"
        assert shop.count() == 0

    def test_asks_the_server_after_five_wrong_pins(self, shared: Tablet, shop: Shop) -> None:
        one = to_bench(shared, shop)
        one.page.click("#who")
        one.page.click('#who-works [data-badge="1002"]')
        for _ in range(5):
            one.page.fill("#pin", "905513")
            one.page.wait_for_selector("#pin-error:not([hidden])")
            one.until("document.querySelector('#pin').value === ''")
        one.context.set_offline(True)
        one.page.fill("#pin", PIN)
        one.until("document.querySelector('#pin-error').innerText.includes('This needs the network')")
        one.context.set_offline(False)
        one.page.fill("#pin", PIN)
        one.until("document.querySelector('#who')?.textContent === 'TO'")

    def test_goes_on_by_itself_when_the_session_has_ended(self, shared: Tablet, shop: Shop) -> None:
        one = to_bench(shared, shop)
        one.context.clear_cookies(name="sessionid")
        one.at("pores").enter("2")
        until_sent(one)
        assert_once_each(shop, {"pores": "2"})


class TestLock:
    def test_asks_who_works_here_after_a_lock_also_without_network(self, shared: Tablet, shop: Shop) -> None:
        one = at_work(to_bench(shared, shop))
        one.context.set_offline(True)
        one.at("pores").enter("2")
        one.until_on_tablet(1)
        one.page.click("#who")
        one.page.click("#lock")
        one.page.wait_for_selector("#who-works")
        assert one.page.locator("#value").count() == 0
        one.page.click('#who-works [data-badge="1001"]')
        one.page.fill("#pin", PIN)
        one.page.wait_for_selector("#question")
        one.until_on_tablet(1)

    def test_locks_by_itself_when_nobody_touches_it(self, shared: Tablet, shop: Shop) -> None:
        one = to_bench(shared, shop)
        one.page.clock.install()
        one.page.reload()
        one.page.wait_for_selector("#question")
        one.page.clock.fast_forward(11 * 60 * 1000)
        one.page.wait_for_selector("#who-works")

    def test_asks_whoever_takes_it_up_after_it_has_slept_and_takes_no_tap_under_the_formers_name(
        self, shared: Tablet, shop: Shop
    ) -> None:
        one = to_bench(shared, shop).at("stamp")
        one.page.clock.set_system_time(datetime.now(UTC) + timedelta(minutes=11))  # no timer has run meanwhile
        one.page.click(".answer.in", no_wait_after=True)
        one.page.wait_for_selector("#who-works")
        assert one.page.locator(".verdict").count() == 0
        one.page.click('#who-works [data-badge="1002"]')
        one.page.fill("#pin", PIN)
        one.until("document.querySelector('#who').textContent === 'TO'")
        one.page.wait_for_selector("#question")
        one.page.clock.set_system_time(datetime.now(UTC))
        until_sent(one)
        assert shop.count() == 0


TWO_STAGES = """\
stage_number,stage_name,number,key,title,kind,nominal,limits,unit_of_measure,decimals,criticality
1,Tack-up,101,left,Left length,measured,20,±0.5,mm,1,minor
1,Tack-up,102,right,Right length,measured,20,±0.5,mm,1,minor
2,Finish,201,width,Width over all,measured,40,±0.5,mm,1,minor
"""


@pytest.fixture
def small(shop: Shop) -> str:
    """The serial of a unit whose stages can be signed without network: no second inspection, no photo."""
    shop.release_family("SO-1", "small part", TWO_STAGES)
    return shop.open_unit("SO-1")


def answer_stage(one: Tablet, serial: str) -> None:
    """The first stage of the unit answered without network."""
    one.page.goto(f"{one.address}/units/{serial}/bench/")
    one.page.wait_for_selector("#question")
    at_work(one).context.set_offline(True)
    for key in ("left", "right"):
        one.at(key).enter("20.1")
        one.page.wait_for_selector(".verdict")
    one.until_foot("No network")


def sign_here(one: Tablet, pin: str = PIN) -> None:
    one.page.click("#sign")
    one.page.fill("dialog[open] .pin-dots", pin)
    one.page.press("dialog[open] .pin-dots", "Enter")


class TestSigning:
    def test_signs_a_stage_without_network_and_shows_it_unconfirmed_until_the_server_has_verified_it(
        self, shared: Tablet, shop: Shop, small: str
    ) -> None:
        one = shared
        answer_stage(one, small)
        sign_here(one, "905513")
        one.until("document.querySelector('dialog[open]').innerText.includes('Wrong PIN')")
        resize(one, "phone")
        (key,), dialog = boxes(one, "dialog[open] .keys .enter"), one.page.locator("dialog[open]").bounding_box()
        assert dialog
        assert key["y"] + key["h"] <= dialog["y"] + dialog["height"]
        resize(one, "landscape")
        one.page.fill("dialog[open] .pin-dots", PIN)
        one.page.press("dialog[open] .pin-dots", "Enter")
        one.until("/signed on this tablet, not yet confirmed/.test(document.querySelector('#stage-end').innerText)")
        one.page.reload()
        one.until("/not yet confirmed/.test(document.querySelector('#stage-end')?.innerText ?? '')")
        assert inspection_of(small).stages[0].signed is False
        one.context.set_offline(False)
        until_sent(one)
        one.until("/is signed by Imogen Marlowe/.test(document.querySelector('#stage-end')?.innerText ?? '')")
        signed = inspection_of(small).stages[0].sign_off
        assert (signed.person_name, signed.method, signed.valid) == ("Imogen Marlowe", "tablet", True)

    def test_keeps_a_refused_signature_in_the_list_with_the_way_out(
        self, shared: Tablet, shop: Shop, small: str
    ) -> None:
        one = shared
        answer_stage(one, small)
        sign_here(one)
        one.until("/not yet confirmed/.test(document.querySelector('#stage-end')?.innerText ?? '')")
        services.set_pin(by=None, person=shop.people["1001"], pin="905513", at=timezone.now())
        one.context.set_offline(False)
        until_sent(one, 30)
        one.page.wait_for_selector("#refused")
        one.page.click("#refused")
        text = one.page.inner_text("dialog[open]")
        assert "Sign the stage again with network." in text
        assert "I sign that stage" in text
        one.page.get_by_role("button", name="Discard").click()
        one.page.get_by_role("button", name="Entered twice").click()
        one.page.wait_for_selector("#refused", state="detached")
        assert inspection_of(small).stages[0].signed is False


class TestRevoked:
    def test_hands_its_entries_in_to_be_judged(self, shared: Tablet, shop: Shop) -> None:
        from qcapp.people.queries import aside_cards

        one = to_bench(shared, shop)
        one.context.set_offline(True)
        one.at("pores").enter("2")
        say(one, "Scale on the plate")
        one.until_on_tablet(2)
        row = TabletRow.objects.get(name=f"Bench {shop.number}")
        services.revoke_tablet(by=shop.people["1015"], tablet=row, reason="lost", at=timezone.now())
        one.context.set_offline(False)
        until_sent(one)
        assert shop.count() == 0
        one.until(NONE_KEPT)
        kept = [card.body for card in aside_cards() if card.body["serial"] == shop.serial]
        assert sorted(one["raw"] for one in kept) == ["2", "Scale on the plate"]
        assert remarks_of(item_of(shop)) == []
        one.until_foot("revoked")

    def test_tells_the_office_how_much_it_holds_and_that_it_was_sent(self, shared: Tablet, shop: Shop) -> None:
        one = to_bench(shared, shop)
        one.page.route("**/api/v1/operations", lambda route: route.abort())
        one.at("pores").enter("2")
        say(one, "Scale on the plate")
        one.until_foot("No network")
        row = TabletRow.objects.get(name=f"Bench {shop.number}")
        for _ in range(20):  # what was asked first may have been asked before the entry was kept
            row.refresh_from_db()
            if row.unsent == 2:
                break
            with one.page.expect_response("**/api/v1/session?*"):
                knock(one)
        assert (row.unsent, row.last_contact_at is None) == (2, False)
        one.page.unroute("**/api/v1/operations")
        until_sent(one)
        one.until(NONE_KEPT)
        with one.page.expect_response("**/api/v1/session?*"):
            knock(one)
        row.refresh_from_db()
        assert (row.unsent, row.unsent_since) == (0, None)

    def test_saves_what_it_cannot_send_to_a_file_that_counts_once(self, shared: Tablet, shop: Shop) -> None:
        one = to_bench(shared, shop)
        one.context.set_offline(True)
        one.at("pores").enter("2")
        say(one, "Scale on the plate")
        one.until_on_tablet(2)
        one.page.click("#on-tablet")
        said = one.page.inner_text("#where-all")
        for words in (
            "On this tablet, not sent: 2, the oldest since",
            f"Imogen Marlowe, {shop.serial}: 2",
            "Last contact with the server: ",
            "Works here: Imogen Marlowe",
        ):
            assert words in said
        with one.page.expect_download() as saved:
            one.page.click("#save-file")
        one.page.keyboard.press("Escape")
        manager, content = shop.people["1009"], saved.value.path().read_bytes()
        for outcome in ("applied", "duplicate"):
            found, said = take_in_file(by=manager, stream=io.BytesIO(content), at=timezone.now())
            assert (found.verdict.outcome, found.verdict.flags, said.verdict.outcome) == (outcome, (), outcome)
        one.context.set_offline(False)
        until_sent(one)
        assert_once_each(shop, {"pores": "2"})
        assert shop.answers("pores")[0].person.badge == "1001"
        one.until(NONE_KEPT)
        assert [said.person_name for said in remarks_of(item_of(shop))] == ["Imogen Marlowe"]
