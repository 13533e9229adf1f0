"""The draft's table answers its keys in the page itself, without the server."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import pytest
from django.conf import settings as configured
from django.utils import timezone

from tests.factories.plans import draft, plan_text

if TYPE_CHECKING:
    from playwright.sync_api import Page

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
HERE = "() => [document.activeElement.closest('tr').dataset.row, document.activeElement.dataset.column]"


@pytest.fixture
def page(live_server, cast, client_of) -> Iterator[Page]:
    """The quality manager's page; whatever the browser complains about fails the test."""
    from playwright.sync_api import sync_playwright

    cookie = client_of(cast.quality_manager).cookies[configured.SESSION_COOKIE_NAME].value
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path="/usr/bin/chromium", args=["--no-sandbox", "--disable-gpu"])
        context = browser.new_context(viewport={"width": 1440, "height": 900}, base_url=live_server.url)
        context.add_cookies([{"name": configured.SESSION_COOKIE_NAME, "value": cookie, "url": live_server.url}])
        page = context.new_page()
        page.set_default_timeout(60_000)
        complaints: list[str] = []
        page.on("pageerror", lambda error: complaints.append(str(error)))
        yield page
        browser.close()
    assert complaints == []


def test_answers_an_arrow_key_in_the_page_itself(page: Page, cast) -> None:
    """The focus is on the other cell when the key's event is over: no request is made, and none is waited for."""
    card = draft(cast, timezone.now(), plan_text({"criticality": "major"}, {"number": "102", "key": "other"}))
    page.goto(f"/plans/{card.uuid}/?stage=all")
    page.locator("#rows td").first.focus()
    page.context.set_offline(True)
    for key, wanted in (("ArrowDown", ["2", "number"]), ("ArrowRight", ["2", "title"]), ("ArrowUp", ["1", "title"])):
        page.keyboard.press(key)
        assert page.evaluate(HERE) == wanted
