"""Somebody at a keyboard: no mouse, every step of the focus must be seen."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from .page_scripts import FOCUS

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

DESK = {"width": 1280, "height": 800}


class Hand:
    """Goes to an address once, and from there by keys. Whatever the browser calls an error is kept."""

    def __init__(self, browser: Browser, address: str, cookie: Any) -> None:
        self.context = browser.new_context(viewport=DESK, base_url=address, service_workers="block")  # type: ignore[arg-type]
        if cookie:
            self.context.add_cookies([cookie])
        self.page: Page = self.context.new_page()
        self.page.set_default_timeout(20_000)
        self.complaints: list[str] = []
        self.page.on("pageerror", lambda error: self.complaints.append(str(error)))

    def open(self, path: str) -> Hand:
        """A page of the office, past its head by the link that every page begins with."""
        self.page.goto(path)
        self.skip()
        return self

    def skip(self) -> None:
        self.page.keyboard.press("Tab")
        assert (self.focus("a.skip") or {}).get("here"), "The first Tab leads to the link past the head."
        self.page.keyboard.press("Enter")

    def focus(self, selector: str = "") -> dict[str, Any] | None:
        found: dict[str, Any] | None = self.page.evaluate(FOCUS, selector)
        return found

    def to(self, selector: str, key: str = "Tab") -> Hand:
        """Press Tab until the focus is on what the selector names; it must be seen on the way."""
        found = self.focus(selector)
        for _ in range(400):
            if found and found["here"]:
                return self
            self.page.keyboard.press(key)
            found = self.focus(selector)
            assert found is None or (found["ringed"] and found["seen"]), found
        raise AssertionError(f"Tab never reaches {selector} on {self.page.url}")

    def type(self, selector: str, text: str) -> Hand:
        """To the field, and type; what stood there is typed over."""
        self.to(selector)
        self.page.keyboard.press("Control+A")
        self.page.keyboard.type(text)
        return self

    def choose(self, selector: str, text: str) -> Hand:
        """To the list of choices, and type the beginning of one."""
        self.to(selector)
        self.page.keyboard.type(text)
        return self

    def press(self, *keys: str) -> Hand:
        for key in keys:
            self.page.keyboard.press(key)
        return self

    def send(self, button: str = "") -> str:
        """Enter on the button, or where the focus is; gives the words of the page that comes."""
        if button:
            self.to(button)
        with self.page.expect_navigation():
            self.page.keyboard.press("Enter")
        return self.page.inner_text("main")
