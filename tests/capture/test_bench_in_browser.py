"""The bench page in Chromium: what an inspector types, sees and is asked."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from qcapp.people.models import OpenSession

from . import page_scripts
from .conftest import Shop, Tablet

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
Tablets = Callable[..., Tablet]

TAKEN_OR_ASKED = (
    "document.querySelector('dialog[open], .verdict') || document.querySelector('input#value')?.value === ''"
)

# One step in the page: between looking for the field and pressing Enter nothing else can take it away.
ENTER_WHILE_THERE = """() => {
    const field = document.querySelector("input#value");
    if (!field) return;
    field.value = "2";
    field.dispatchEvent(new Event("input", { bubbles: true }));
    field.dispatchEvent(new KeyboardEvent("keydown", { key: "Enter", bubbles: true, cancelable: true }));
}"""


class TestTyping:
    def test_reads_a_comma_and_a_unit_and_refuses_what_is_no_number(self, tablet: Tablets, shop: Shop) -> None:
        one = tablet().at("width")
        for typed, sentence in (
            ('1/2"', "A fraction is not read"),
            ("NaN", "not a number"),
            ("", "No value was given"),
            ("1" * 40, "more than 18 digits"),
            ("61.5 in", "type the number alone, or with mm"),
            ("6.1.5", "more than one comma or dot"),
        ):
            one.enter(typed)
            assert sentence in one.page.inner_text("#typing-error"), typed
            assert one.page.input_value("input#value") == typed
        assert shop.count() == 0
        one.enter("61,94 mm")
        assert "In band: 61.94 mm" in one.verdict()
        one.until_sent()
        (stored,) = shop.answers("width")
        assert (stored.raw, stored.gauge.number) == ("61,94 mm", "HG-07")

    def test_says_the_verdict_at_once_with_word_mark_colour_and_by_how_much(self, tablet: Tablets) -> None:
        one = tablet().at("width")
        one.enter("62.61")
        assert "Out of band, 0.11 mm above: 62.61 mm" in one.verdict()
        assert one.page.locator(".verdict.out svg.mark.out[aria-label='Out of band']").count() == 1
        one.until("/NCR-\\d{4}-\\d{4} is open/.test(document.querySelector('.verdict').innerText)")
        one.page.click("#next")
        one.enter("0.29")
        assert one.page.locator(".verdict.near").count() == 1
        one.until_sent()
        assert "Near limit: 0.29 mm" in one.verdict()

    def test_goes_on_by_keyboard_alone_through_a_stage(self, tablet: Tablets, shop: Shop) -> None:
        one = tablet()
        press = one.page.keyboard.press
        for title, keys in (
            ("Axle plates, distance", "62.01"),
            ("Axle plates, parallel", "0.1"),
            ("Serial stamp legible", "conforms"),
            ("Pores in the cap pass", "2"),
            ("Heat number, main tube", "7L0031"),
            ("Pivot bore, three depths", "20.01 19.99 20.00"),
            ("Head angle to base plane", "24.1"),
            ("Tank and fittings, leak test with guard in place, at low air", "conforms"),
        ):
            one.until(f"document.querySelector('#question').innerText === '{title}'")
            if keys == "conforms":
                press("Tab")
                while one.page.evaluate("document.activeElement.innerText") != "Conforms":
                    press("Tab")
                press("Enter")
            for value in keys.split() if keys != "conforms" else ():
                one.page.keyboard.type(value)
                press("Enter")
                one.until(TAKEN_OR_ASKED)
                if one.page.locator("dialog[open]").count():
                    press("Enter")
                    one.page.wait_for_selector("dialog", state="detached")
            one.until("document.querySelector('.verdict') !== null")
            one.until_sent()
            one.until("document.activeElement.id === 'next' || !document.querySelector('#next')")
            one.page.wait_for_timeout(410)  # a second Enter within 0.4 s counts as a slip
            press("Enter")
        assert shop.count() == 8
        one.until_foot("Unit: 9 answered, 2 open")

    def test_takes_the_keypad_with_sign_and_decimal_mark(self, tablet: Tablets) -> None:
        one = tablet().at("width")
        one.pick_gauge()
        for key in ("6", "1", "Decimal mark", "9", "5", "Change the sign", "Change the sign", "Delete the last digit"):
            one.page.get_by_role("button", name=key, exact=True).click()
        assert one.page.input_value("input#value") == "61.9"
        one.page.get_by_role("button", name="Enter", exact=True).click()
        one.pick_gauge()
        assert "In band: 61.9 mm" in one.verdict()

    def test_takes_readings_at_the_pace_of_a_gauge_that_types_them(self, tablet: Tablets, shop: Shop) -> None:
        one = tablet().at("bore")
        one.page.keyboard.type("20.01\n19.99\n20.00\n", delay=1)
        one.until_sent()
        (answer,) = shop.answers("bore")
        assert answer.answer == '{"values":["20.01","19.99","20.00"]}'


class TestGauge:
    def test_takes_the_next_reading_to_the_next_checkpoint_but_not_past_one_that_is_out(self, tablet: Tablets) -> None:
        one = tablet().at("width").enter("62.01")
        one.page.wait_for_selector("#next")
        one.page.keyboard.type("0.38", delay=1)
        assert one.page.inner_text("#question") == "Axle plates, parallel"
        assert one.page.input_value("input#value") == "0.38"
        one.page.keyboard.press("Enter")
        one.page.wait_for_selector(".verdict.out")
        one.page.keyboard.type("0.21", delay=1)
        assert "What was typed now is not taken" in one.page.inner_text("#not-taken")
        assert one.page.inner_text("#question") == "Axle plates, parallel"

    def test_asks_once_for_the_gauge_in_hand_and_remembers_it(self, tablet: Tablets) -> None:
        one = tablet().at("width")
        one.type("62")
        one.page.press("input#value", "Enter")
        dialog = one.page.locator("dialog[open]")
        assert "Which gauge is in your hand?" in dialog.inner_text()
        dialog.get_by_role("button", name="HG-08").click()
        one.until_sent()
        one.page.reload()
        one.page.wait_for_selector("#question")
        one.at("parallel")
        assert "Gauge HG-08" in one.page.inner_text("#gauge")
        assert "Gauge HG-08" in one.page.inner_text("#hand")


class TestAgain:
    def test_measures_again_once_with_a_reason_and_another_gauge(self, tablet: Tablets, shop: Shop) -> None:
        one = tablet().at("parallel").enter("0.38")
        one.until_sent()
        one.page.get_by_role("button", name="Measure again").click()
        dialog = one.page.locator("dialog[open]")
        one.page.wait_for_selector("text=Critical: measure again with another gauge")
        dialog.get_by_role("button", name="HG-08").click()
        one.page.get_by_role("button", name="Gauge slipped or sat badly").click()
        one.page.wait_for_selector("dialog", state="detached")
        one.enter("0.22")
        one.until_sent()
        one.until("document.querySelector('.verdict.in') !== null")
        first, second = shop.answers("parallel")
        assert (first.outcome, second.outcome, second.purpose, second.reason) == (
            "out_of_band",
            "in_band",
            "repeat",
            "Gauge slipped or sat badly",
        )
        assert one.page.get_by_role("button", name="Measure again").count() == 0

    def test_corrects_with_a_reason_and_keeps_both(self, tablet: Tablets, shop: Shop) -> None:
        one = tablet().at("pores").enter("1")
        one.until_sent()
        one.page.get_by_role("button", name="Correct this entry").click()
        one.page.fill("dialog textarea", "Counted the wrong weld")
        one.page.get_by_role("button", name="Use this reason").click()
        one.page.wait_for_selector("dialog", state="detached")
        one.enter("2")
        one.until_sent()
        assert [(row.answer, row.reason) for row in shop.answers("pores")] == [
            ('{"count":1}', ""),
            ('{"count":2}', "Counted the wrong weld"),
        ]

    def test_asks_a_second_reading_where_a_value_is_wildly_off(self, tablet: Tablets, shop: Shop) -> None:
        one = tablet().at("width").enter("6.19")
        assert "is far outside" in one.page.inner_text("#doubt")
        assert one.page.input_value("input#value") == ""
        assert shop.count() == 0
        one.enter("61.9")
        assert "In band: 61.9 mm" in one.verdict()
        one.until_sent()
        assert [row.raw for row in shop.answers("width")] == ["6.19; 61.9"]

    def test_records_the_wild_value_when_the_second_reading_says_the_same(self, tablet: Tablets, shop: Shop) -> None:
        one = tablet().at("width").enter("-62").enter("-62")
        assert "Out of band, 123.5 mm below: −62 mm" in one.verdict().replace("123.50", "123.5")
        one.until_sent()
        assert [row.outcome for row in shop.answers("width")] == ["out_of_band"]


class TestSecondInspection:
    def test_hides_the_first_answer_until_the_second_is_given_and_calls_a_third(
        self, tablet: Tablets, shop: Shop
    ) -> None:
        first, second, third = tablet("1001"), tablet("1002"), tablet("1003")
        first.at("angle").enter("24.1").until_sent()
        second.open().at("angle")
        assert "your second inspection" in second.page.inner_text(".question").lower()
        assert "24.1" not in second.page.content()
        second.enter("25.1")
        second.until_sent()
        third.open().at("angle")
        assert "you decide as the third" in third.page.inner_text(".question").lower()
        third.enter("24.2")
        third.until_sent()
        assert [(row.inspection, row.outcome) for row in shop.answers("angle")] == [
            (1, "in_band"),
            (2, "out_of_band"),
            (3, "in_band"),
        ]
        first.page.reload()
        first.page.wait_for_selector(".verdict")
        assert "24.1" in first.verdict()


class TestConflict:
    def test_shows_two_answers_in_conflict_and_settles_them(self, tablet: Tablets, shop: Shop) -> None:
        one, two = tablet("1001"), tablet("1002")
        one.at("width").type("62.1")
        two.at("width").type("62.2")
        one.enter("62.1").until_sent()
        two.enter("62.2").until_sent()
        two.page.wait_for_selector("#conflict")
        assert "62.1 mm by IM" in two.page.inner_text("#conflict")
        assert "62.2 mm by TO" in two.page.inner_text("#conflict")
        assert two.page.locator("#rows [aria-current=true] svg[aria-label='two answers in conflict']").count() == 1
        two.enter("62.15").until_sent()
        two.until("document.querySelector('.verdict.in') !== null")
        assert len(shop.answers("width")) == 3
        (point,) = [c for c in shop.view().checkpoints if c.card.key == "width"]
        assert (point.state.value, point.counts.described) == ("answered", "62.15 mm")


class TestOnce:
    def test_gives_one_result_for_a_double_tap_and_for_two_enters(self, tablet: Tablets, shop: Shop) -> None:
        one = tablet().at("stamp")
        one.page.dblclick("text=Conforms >> nth=0")
        one.until_sent()
        assert one.page.inner_text("#question") == "Serial stamp legible"
        one.at("pores").type("2")
        one.page.press("input#value", "Enter")
        one.page.keyboard.press("Enter")
        one.until_sent()
        assert one.page.inner_text("#question") == "Pores in the cap pass"
        assert (len(shop.answers("stamp")), len(shop.answers("pores"))) == (1, 1)

    def test_takes_a_tap_while_the_page_is_drawn_anew(self, tablet: Tablets, shop: Shop) -> None:
        one = tablet().at("pores")
        with one.page.expect_response(f"**/units/{shop.serial}/bench"):  # read again once the entry is sent
            one.enter("2")
            one.until_sent()
        one.until("document.activeElement.id === 'next'")
        one.drawn()
        one.page.locator("#next").hover()
        one.page.mouse.down()
        with one.page.expect_response("**/api/v1/session?*"):
            one.page.evaluate("() => { dispatchEvent(new Event('online')); }")
        one.until("new Promise((done) => setTimeout(done, 200, true))")
        one.page.mouse.up()
        one.until("document.querySelector('#question').innerText === 'Heat number, main tube'")

    def test_sends_from_one_of_two_tabs(self, tablet: Tablets, shop: Shop) -> None:
        one = tablet()
        sent: list[str] = []
        one.context.on(
            "request", lambda request: sent.append(request.url) if request.url.endswith("/operations") else None
        )
        other = one.context.new_page()
        other.goto(one.address + shop.bench)
        other.wait_for_selector("#question")
        one.context.set_offline(True)
        one.at("pores").enter("2")
        one.at("heat").enter("7L0031")
        one.until_on_tablet(2)
        sent.clear()
        one.context.set_offline(False)
        one.page.evaluate("dispatchEvent(new Event('online'))")
        other.evaluate("dispatchEvent(new Event('online'))")
        one.until_sent()
        assert len(sent) == 1
        assert shop.count() == 2
        other.wait_for_function("() => document.querySelector('#foot').innerText.includes('Sent 2')")


class TestKept:
    def test_keeps_unsent_entries_and_the_draft_over_a_reload(self, tablet: Tablets, shop: Shop) -> None:
        one = tablet()
        one.context.route("**/api/v1/operations", lambda route: route.abort())
        one.at("pores").enter("2")
        one.until_on_tablet(1)
        one.at("width").type("61.9")
        one.at("heat").type("7L00")
        one.page.wait_for_timeout(400)
        one.page.reload()
        one.page.wait_for_selector("#question")
        assert one.page.inner_text("#question") == "Heat number, main tube"
        assert one.page.input_value("input#value") == "7L00"
        one.until_on_tablet(1)
        one.page.click("#typed")
        assert one.page.input_value("input#value") == "61.9"
        one.at("pores")
        assert "In band: 2" in one.verdict()
        assert "On tablet, not sent yet" in one.verdict()
        one.context.unroute("**/api/v1/operations")
        one.page.reload()
        one.until_sent()
        assert shop.count() == 1

    def test_goes_on_entering_when_the_session_is_deleted_and_sends_after_the_sign_in(
        self, tablet: Tablets, shop: Shop
    ) -> None:
        one = tablet().at("pores").type("2")
        OpenSession.objects.all().delete()
        one.enter("2")
        one.at("heat").enter("7L0031")
        one.until_foot("sign in to send")
        one.until_on_tablet(2)
        one.until("navigator.serviceWorker.controller !== null")
        one.page.reload()
        one.page.wait_for_url("**/sign-in/**")
        one.sign_in().open()
        one.until_sent()
        assert (len(shop.answers("pores")), len(shop.answers("heat"))) == (1, 1)

    def test_holds_and_names_the_entries_of_another_person_until_they_are_back(
        self, tablet: Tablets, shop: Shop
    ) -> None:
        one = tablet().at("pores")
        OpenSession.objects.all().delete()
        one.enter("2").until_on_tablet(1)
        one.until_foot("sign in to send")
        one.sign_in("1002").open()
        one.until_foot("1 of Imogen Marlowe waits for the sign-in")
        one.at("heat").enter("7L0031").until_foot("Sent 1")
        assert (shop.answers("pores"), len(shop.answers("heat"))) == ([], 1)
        one.sign_in("1001").open()
        one.until_sent()
        (answer,) = shop.answers("pores")
        assert answer.person.badge == "1001"

    def test_lets_nobody_go_on_under_the_former_name(self, tablet: Tablets, shop: Shop) -> None:
        one = tablet().at("pores")
        one.sign_in("1002")
        one.page.evaluate("dispatchEvent(new Event('online'))")
        # The page may hear of the other before a key does, and then takes the field away under it.
        one.page.evaluate(ENTER_WHILE_THERE)
        one.page.wait_for_selector("#stranger")
        assert "Tadeo Okonjo is signed in on this tablet now" in one.page.inner_text("#stranger")
        assert one.page.locator("#value").count() == 0
        one.page.click("text=Go on as Tadeo Okonjo")
        one.until("document.querySelector('#who').textContent === 'TO'")
        assert [row.person.badge for row in shop.answers("pores")] in ([], ["1001"])


class TestServerTrouble:
    def test_keeps_entries_while_the_server_answers_500(self, tablet: Tablets, shop: Shop) -> None:
        one = tablet()
        one.context.route("**/api/v1/operations", lambda route: route.fulfill(status=500, body="fault"))
        one.at("pores").enter("2")
        one.until_on_tablet(1)
        one.until_foot("Sending is tried again by itself")
        one.context.unroute("**/api/v1/operations")
        one.page.click("text=Send now")
        one.until_sent()
        assert len(shop.answers("pores")) == 1

    def test_shows_a_refused_entry_with_its_reason_and_ways_out(self, tablet: Tablets, shop: Shop) -> None:
        one = tablet().at("heat").enter("x")
        one.page.wait_for_selector("#refused")
        one.page.click("#refused")
        text = one.page.inner_text("dialog")
        assert f"{shop.serial}, 105 Heat number, main tube: x" in text
        assert "Entered by Imogen Marlowe" in text
        one.page.get_by_role("button", name="Correct").click()
        one.until("document.querySelector('input#value')?.value === 'x'")
        one.enter("7L0031").until_sent()
        one.page.wait_for_selector("#refused", state="detached")
        assert len(shop.answers("heat")) == 1

    def test_discards_a_refused_entry_only_with_a_reason_that_is_kept(self, tablet: Tablets, shop: Shop) -> None:
        one = tablet().at("heat").enter("x")
        one.page.click("#refused")
        one.page.get_by_role("button", name="Discard").click()
        one.page.locator("dialog").last.get_by_role("button", name="Back").click()
        assert one.page.locator(f"dialog >> text={shop.serial}, 105 Heat number, main tube: x").count() == 1
        one.page.get_by_role("button", name="Discard").click()
        one.page.get_by_role("button", name="Entered for the wrong unit").click()
        one.page.wait_for_selector("#refused", state="detached")
        (kept,) = stored(one, "closed")
        assert (kept["why"], kept["reason"], kept["by"], kept["operation"]["raw"]) == (
            "discarded",
            "Entered for the wrong unit",
            "1001",
            "x",
        )
        assert shop.count() == 0


def stored(one: Tablet, name: str) -> list[dict[str, Any]]:
    """What the tablet's own store holds."""
    return list(one.page.evaluate(page_scripts.STORED, name))


def test_gets_the_unit_compressed(tablet: Tablets, shop: Shop) -> None:
    one = tablet()
    answer = one.context.request.get(f"{one.address}/api/v1/units/{shop.serial}/bench")
    assert answer.headers["content-encoding"] == "gzip"
    assert answer.headers["cache-control"] == "private, no-store"
    assert answer.json()["unit"]["serial"] == shop.serial
