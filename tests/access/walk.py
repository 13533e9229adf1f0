"""Somebody who looks at one page after the other and writes down what is wrong with it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from axe_playwright_python.base import AXE_SCRIPT
from django.urls import resolve

from tests.capture.page_scripts import SMALL

from . import page_scripts

if TYPE_CHECKING:
    from playwright.sync_api import CDPSession, Page

DESK = {"width": 1280, "height": 1024}
ZOOMED = {"width": 320, "height": 256}  # 1280 by 1024 at 400 %: WCAG 2.2, 1.4.10 Reflow
# A tablet's page builds itself: it is there when this is.
BUILT = {"/bench/": "#question", "/floor/lots/": ".counts", "/floor/setup/": "h1"}
# How the browser calls a file that it saves.
NO_PAGE = ("Download is starting", "ERR_ABORTED")
# Everything by day; at night the colours alone are others. Targets of 24 pixels (2.5.8) are off unless asked for.
BY_DAY = {"resultTypes": ["violations"], "rules": {"target-size": {"enabled": True}}}
BY_NIGHT = {"resultTypes": ["violations"], "runOnly": ["color-contrast", "link-in-text-block"]}
# Roles of the accessibility tree that somebody can act on, or that mean nothing without a name.
NAMED = {
    "button", "link", "textbox", "searchbox", "combobox", "listbox", "checkbox", "radio", "spinbutton", "slider",
    "switch", "menuitem", "tab", "option", "Date", "DateTime", "InputTime", "DisclosureTriangle", "heading", "image",
    "img", "dialog", "alertdialog", "ComboBoxSelect", "PopUpButton", "toolbar", "progressbar", "meter",
}  # fmt: skip


@dataclass
class Found:
    """What is wrong, by what was looked for; titles with their pages; the pages that were seen, and their forms."""

    wrong: dict[str, list[str]] = field(default_factory=dict)
    titles: dict[str, set[str]] = field(default_factory=dict)
    seen: list[str] = field(default_factory=list)
    asked: set[str] = field(default_factory=set)  # the names of the addresses, and of those that gave something
    heard: set[str] = field(default_factory=set)
    forms: dict[tuple[str, str], tuple[str, dict[str, str]]] = field(default_factory=dict)

    def add(self, what: str, path: str, told: list[str]) -> None:
        self.wrong.setdefault(what, []).extend(f"{path}: {one}" for one in told)


class Walk:
    """One page object, taken from address to address; both themes and both sizes without loading anything again."""

    def __init__(self, page: Page, tree: CDPSession, found: Found | None = None) -> None:
        self.page, self.tree = page, tree
        self.found = found or Found()
        page.set_default_timeout(20_000)
        page.on("pageerror", lambda error: self.found.add("script", page.url, [str(error)]))

    def look_at(self, path: str, status: int = 200, code: str = "en") -> None:
        """Open it and write down what is wrong; files, refusals and pages seen in this language are passed by."""
        answer = self._open(path)
        self.found.asked.add(resolve(path.partition("?")[0]).view_name)
        if answer is None or answer.status < 400:
            self.found.heard.add(resolve(path.partition("?")[0]).view_name)
        if answer is None or answer.status != status or "text/html" not in answer.headers.get("content-type", ""):
            return
        here = f"{code} {self.page.url.split('://')[-1].partition('/')[2]}"
        if here in self.found.seen or not self.page.evaluate("Boolean(document.doctype)"):  # a piece of a page has none
            return
        self.found.seen.append(here)
        self._wait_for_what_builds_itself(path, code)
        self.found.titles.setdefault(f"{code}: {self.page.title()}", set()).add(here.partition("?")[0])
        self.page.evaluate(page_scripts.OPEN_ALL)
        for action, hidden in self.page.evaluate(page_scripts.FORMS):
            view = resolve(action.partition("?")[0]).view_name
            self.found.forms.setdefault((view, hidden.get("act", "")), (action, hidden))
        self.found.add("structure", path, self.page.evaluate(page_scripts.STRUCTURE))
        self.found.add("names", path, list(self._of_the_tree()))
        if self.page.locator("body.floor").count():
            self.found.add("gloves", path, self.page.evaluate(SMALL))
        self._zoomed(path)
        self.page.evaluate(page_scripts.LEAVE_ONE_OF_EACH_KIND)
        self._by_day_and_night(path)

    def _open(self, path: str) -> Any:
        from playwright.sync_api import Error

        try:
            return self.page.goto(path)
        except Error as error:
            if any(words in error.message for words in NO_PAGE):
                return None
            raise

    def _wait_for_what_builds_itself(self, path: str, code: str) -> None:
        for part, selector in BUILT.items():
            if part in path:
                self.page.wait_for_selector(selector)
                self.page.wait_for_selector(f"html[lang={code}]", state="attached")

    def _by_day_and_night(self, path: str) -> None:
        self.page.evaluate(AXE_SCRIPT)
        self.found.add("axe", path, self._axe(BY_DAY))
        self._moving(path)
        self.page.emulate_media(color_scheme="dark", reduced_motion="reduce")
        self.found.add("axe at night", path, self._axe(BY_NIGHT))
        self._moving(path, still=True)
        self.page.emulate_media(color_scheme="light", reduced_motion="no-preference")

    def _axe(self, options: dict[str, Any]) -> list[str]:
        found = self.page.evaluate("options => axe.run(options)", options)["violations"]
        return [f"{rule['id']} {node['html'][:160]}" for rule in found for node in rule["nodes"]]

    def _moving(self, path: str, still: bool = False) -> None:
        longest, moving = self.page.evaluate(page_scripts.MOVING)
        if longest > (0 if still else 0.12) or (still and moving):
            self.found.add("motion", path, [f"{longest} s at most, {moving} in motion{', asked for none' * still}"])

    def _zoomed(self, path: str) -> None:
        self.page.set_viewport_size(ZOOMED)  # type: ignore[arg-type]
        self.found.add("zoom", path, self.page.evaluate(page_scripts.SIDEWAYS))
        self.page.set_viewport_size(DESK)  # type: ignore[arg-type]

    # ------------------------------------------------------------------------------------- the accessibility tree

    def _of_the_tree(self) -> Iterator[str]:
        nodes = self.tree.send("Accessibility.getFullAXTree")["nodes"]
        level = 0
        for node in in_reading_order(nodes):
            role, name = node["role"]["value"], node.get("name", {}).get("value", "").strip()
            if role in NAMED and not name:
                yield f"{role} without a name, {described(node)}"
            if role == "LayoutTable":
                yield "a table that a screen reader takes for mere layout"
            if role == "heading":
                now = int(properties(node).get("level", 0))
                if now > level + 1:
                    yield f"heading {name!r} of level {now} after level {level}"
                level = now


def in_reading_order(nodes: list[dict[str, Any]]) -> Iterator[dict[str, Any]]:
    """What is not left out of the tree, as it is read."""
    by_id = {node["nodeId"]: node for node in nodes}
    waiting = [nodes[0]]
    while waiting:
        node = waiting.pop()
        waiting.extend(by_id[child] for child in reversed(node.get("childIds", [])) if child in by_id)
        if not node.get("ignored"):
            yield node


def properties(node: dict[str, Any]) -> dict[str, Any]:
    return {one["name"]: one["value"].get("value") for one in node.get("properties", [])}


def described(node: dict[str, Any]) -> str:
    return str({name: value for name, value in properties(node).items() if name in ("url", "level", "focusable")})
