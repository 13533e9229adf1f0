"""Two walks by hand: a phone call answered by keyboard alone, and a wrong gauge until its units are on hold."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import timedelta
from typing import TYPE_CHECKING

import pytest
from django.utils import timezone

from qcapp.config.demonstration import cast as demo
from qcapp.inspections.models import Result
from qcapp.nonconformance.models import Report
from qcapp.people.roles import Role
from qcapp.production.queries import open_holds, unit_by_serial

from .small_demonstration import CERTIFIED, HELD, play
from .test_main_path_in_browser import Person

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    from playwright.sync_api import sync_playwright

    with sync_playwright() as started:
        browser = started.chromium.launch(executable_path="/usr/bin/chromium", args=["--no-sandbox", "--disable-gpu"])
        yield browser
        browser.close()


def badge(role: Role) -> str:
    return demo.BADGES_BY_ROLE[role][0]


def tab_to(page: Page, name: str) -> None:
    """Press Tab until the link or field of this name has the focus."""
    wanted = re.compile(name)
    for _ in range(400):
        page.keyboard.press("Tab")
        found = page.evaluate(
            "() => { const one = document.activeElement; "
            "return one.getAttribute('aria-label') || one.innerText || one.placeholder || one.name || '' }"
        )
        if wanted.search(found):
            return
    raise AssertionError(f"No Tab leads to {name}.")


def test_answers_a_phone_call_by_keyboard_alone(live_server, browser: Browser, settings) -> None:
    """Four digits, open, three questions: which certificate, was the head angle an outlier, which heat is in it."""
    settings.QCAPP_DEMO = True
    play(CERTIFIED, HELD)
    caller = Person(browser, live_server.url, badge(Role.CUSTOMER_SERVICE))
    page = caller.page
    tab_to(page, "Part of a serial")
    page.keyboard.type("O131")  # as heard: the letter for the zero
    page.keyboard.press("Enter")
    page.wait_for_url(f"**/units/{CERTIFIED}/")
    assert page.inner_text("#papers ~ ul h3").startswith("FR-")
    assert "current" in page.inner_text("section[aria-labelledby=papers]")
    angle = page.locator("section[aria-labelledby=all] tr", has_text="Head angle to base plane").first
    value = angle.locator("td.number a").inner_text()
    tab_to(page, f"^{re.escape(value)}$")
    page.keyboard.press("Enter")
    page.wait_for_url("**/values/**")
    assert "Too few to say" in page.inner_text("main")
    page.keyboard.press("Enter")  # the way back has the focus
    page.wait_for_url(re.compile(f"/units/{CERTIFIED}/"))
    heat = page.locator("section[aria-labelledby=all] tr", has_text="Heat number, main tubes").first
    assert re.fullmatch(r"[0-9A-Z]{5,}", heat.locator("td.number").inner_text())
    assert caller.complaints == []


def test_finds_what_a_wrong_gauge_has_measured_and_holds_it(live_server, browser: Browser, settings) -> None:
    """As-found error, list, hold by PIN, one grouped report."""
    settings.QCAPP_DEMO = True
    play(CERTIFIED, HELD)
    number, readings = _used_caliper()
    person = Person(browser, live_server.url, badge(Role.METROLOGY))
    page = person.go(f"/gauges/{number}/")
    form = page.locator("form", has=page.get_by_role("button", name="Record the calibration"))
    form.locator("[name=done_on]").fill((timezone.now() - timedelta(hours=1)).date().isoformat())
    form.locator("[name=done_by]").fill("Metrology room")
    form.locator("[name=expanded_uncertainty]").fill("0.02")
    for name, value in (("reference", "0"), ("as_found", "5"), ("as_left", "0"), ("limit", "0.03")):
        form.locator(f"[name=point_{name}]").first.fill(value)
    form.get_by_role("button", name="Record the calibration").click()
    page.wait_for_load_state()
    page.get_by_role("link", name="What it has measured since the calibration before").first.click()
    page.wait_for_url("**/recall/**")
    assert "judged again" in page.inner_text("main")
    chosen = page.locator("input[name=item]:checked").count()
    assert 1 <= chosen <= readings
    page.fill("[name=reason]", "Jaw bent, five millimetres too much.")
    page.fill("[name=pin]", demo.PIN)
    page.get_by_role("button", name="Hold the chosen units").click()
    page.wait_for_selector("text=put on hold")
    report = Report.objects.order_by("-id").first()
    assert report is not None
    assert number in report.title
    assert report.number in page.inner_text("main")
    held = [
        serial
        for serial in (CERTIFIED, HELD)
        if report.number in {hold.source for hold in open_holds(unit_by_serial(serial).item_id)}
    ]
    assert len(held) == chosen
    assert person.complaints == []


def _used_caliper() -> tuple[str, int]:
    """A caliper in mm that measured on the units that were played, and on how many of them."""
    rows = Result.objects.filter(gauge__kind__key="caliper", checkpoint__kind="measured", outcome="in_band")
    number = rows.order_by("gauge__number").values_list("gauge__number", flat=True).first()
    assert number is not None
    return number, rows.filter(gauge__number=number).values("item").distinct().count()
