"""The page "Limits" by hand: typing, switching, copying, under the content security policy."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING

import pytest
from django.conf import settings
from django.test import Client

from qcapp.people.models import Person
from qcapp.plans.calculators.parts import PARTS
from tests.cast import Cast

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

TOO_WIDE = "document.documentElement.scrollWidth - document.documentElement.clientWidth"
pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    from playwright.sync_api import sync_playwright

    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path="/usr/bin/chromium", args=["--no-sandbox", "--disable-gpu"])
        yield browser
        browser.close()


@pytest.fixture
def page(browser: Browser, live_server, cast: Cast, client_of: Callable[[Person], Client]) -> Iterator[Page]:
    """An engineer's page; whatever the browser complains about fails the test."""
    context = browser.new_context(viewport={"width": 1180, "height": 820}, base_url=live_server.url)
    context.grant_permissions(["clipboard-read", "clipboard-write"])
    cookie = client_of(cast.engineer).cookies[settings.SESSION_COOKIE_NAME].value
    context.add_cookies([{"name": settings.SESSION_COOKIE_NAME, "value": cookie, "url": live_server.url}])
    page = context.new_page()
    page.set_default_timeout(10_000)
    complaints: list[str] = []
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.on("console", lambda message: complaints.append(message.text) if message.type == "error" else None)
    yield page
    context.close()
    assert complaints == []


def headline(page: Page, text: str) -> None:
    page.wait_for_function("text => document.querySelector('.headline')?.textContent.trim() === text", arg=text)


def test_answers_while_typing_keeps_the_focus_and_copies(page: Page) -> None:
    page.goto("/limits/")
    page.focus("#size_size")
    page.keyboard.press("End")
    page.keyboard.type("0")
    headline(page, "300.000 to 300.052 mm")  # ISO 286-1:2010 Table 1: IT7 over 250 up to 315 is 52 µm
    assert page.evaluate("document.activeElement.id") == "size_size"
    assert "size=300" in page.url
    assert page.inner_text("#spoken") == "300.000 to 300.052 mm"
    page.click("text=Copy as plan cells")
    page.locator(".copy output", has_text="Copied").wait_for()
    assert page.evaluate("navigator.clipboard.readText()") == "300\tH7\t300.000\t300.052\t\tmm"


def test_shows_the_fields_of_another_standard_by_the_keyboard(page: Page) -> None:
    page.goto("/limits/?part=size&standard=iso286&size=400&notation=H7&unit_of_measure=mm")
    page.focus("#size_standard")
    page.keyboard.press("ArrowDown")
    headline(page, "398 to 402 mm")
    assert page.evaluate("document.activeElement.id") == "size_standard"
    page.focus("tr.chosen a")
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    headline(page, "396 to 404 mm")  # ISO 13920:2023 Table 1, class C over 120 up to 400: 4 mm


def test_shows_every_part_accessibly_and_without_a_complaint(page: Page) -> None:
    from axe_playwright_python.sync_playwright import Axe

    for part in PARTS:
        page.set_viewport_size({"width": 1180, "height": 820})
        page.goto(f"/limits/?part={part}")
        assert page.inner_text(".headline")
        assert page.locator(".go").is_hidden()  # the button is for whoever has no script
        violations = Axe().run(page).response["violations"]
        assert [(part, each["id"], each["nodes"][0]["html"][:120]) for each in violations] == []
        for width in (1180, 820, 390):
            page.set_viewport_size({"width": width, "height": 820})
            assert (part, width, page.evaluate(TOO_WIDE)) == (part, width, 0)
