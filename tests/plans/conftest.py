"""The quality manager at the office's own browser, on a real server."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from typing import TYPE_CHECKING

import pytest
from django.conf import settings as configured

if TYPE_CHECKING:
    from playwright.sync_api import ConsoleMessage, Page

REFUSED, OFFLINE = "status of 409", "ERR_INTERNET_DISCONNECTED"
Editor = Callable[..., AbstractContextManager["Page"]]


@pytest.fixture
def editor(live_server, cast, client_of) -> Editor:
    """Opens the quality manager's page. Whatever the browser calls an error fails the test, but what is `expected`."""

    @contextmanager
    def opened(*expected: str, patience: int = 20_000) -> Iterator[Page]:
        from playwright.sync_api import sync_playwright

        cookie = client_of(cast.quality_manager).cookies[configured.SESSION_COOKIE_NAME].value
        with sync_playwright() as play:
            browser = play.chromium.launch(executable_path="/usr/bin/chromium", args=["--no-sandbox", "--disable-gpu"])
            context = browser.new_context(viewport={"width": 1440, "height": 900}, base_url=live_server.url)
            context.add_cookies([{"name": configured.SESSION_COOKIE_NAME, "value": cookie, "url": live_server.url}])
            page = context.new_page()
            page.set_default_timeout(patience)
            complaints: list[str] = []
            page.on("pageerror", lambda error: complaints.append(str(error)))
            page.on("console", lambda said: complaints.append(said.text) if _is_wrong(said, expected) else None)
            yield page
            browser.close()
        assert complaints == []

    return opened


def _is_wrong(said: ConsoleMessage, expected: tuple[str, ...]) -> bool:
    return said.type == "error" and not any(one in said.text for one in expected)
