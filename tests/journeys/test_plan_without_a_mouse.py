"""The quality manager's walk through a plan by keys alone: import, change, balloon, review, release, compare, adopt,
print. Nothing in here moves or presses a mouse."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from django.conf import settings as configured
from django.utils import timezone

from qcapp.inspections.queries import inspection_of
from qcapp.inspections.services import open_unit, record_operations
from qcapp.lib.fields import uuid7
from qcapp.nonconformance.queries import reports_of
from qcapp.plans import queries
from qcapp.plans.queries.marks import marks_of
from tests.cast import PIN
from tests.factories.gauges import GaugeFactory
from tests.factories.plans import FR200, released

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
SVG = b'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 400 300"><path d="M9 9h300v200" stroke="black"/></svg>'
SERIALS = ("FR-200-0001", "FR-200-0002")
RECORDED = "0.40"  # at 117, notch gap: in band to max 0.5, out of band to max 0.3
CHANGES = {"107": "+0.10/0", "109": "+0.12/0", "113": "±1.0", "117": "max 0.3", "121": "±0.2"}


@pytest.fixture
def browser() -> Iterator[Browser]:
    from playwright.sync_api import sync_playwright

    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path="/usr/bin/chromium", args=["--no-sandbox", "--disable-gpu"])
        yield browser
        browser.close()


class Keys:
    """Somebody at a keyboard; whatever the browser complains about is kept."""

    def __init__(self, browser: Browser, address: str, cookie: str) -> None:
        context = browser.new_context(viewport={"width": 1440, "height": 900}, base_url=address)
        context.add_cookies([{"name": configured.SESSION_COOKIE_NAME, "value": cookie, "url": address}])
        self.page: Page = context.new_page()
        self.page.set_default_timeout(30_000)
        self.complaints: list[str] = []
        self.page.on("pageerror", lambda error: self.complaints.append(str(error)))

    def press(self, *keys: str) -> None:
        for key in keys:
            self.page.keyboard.press(key)

    def to(self, selector: str, key: str = "Tab") -> None:
        """Press Tab until the focus is on what the selector names."""
        for _ in range(400):
            if self.page.evaluate("s => !!document.activeElement && document.activeElement.matches(s)", selector):
                return
            self.page.keyboard.press(key)
        raise AssertionError(f"Tab never reaches {selector}")

    def choose_file(self, selector: str, path: Path) -> None:
        """The field is reached by Tab; the dialog that its key opens is the system's, so the file is given to it."""
        self.to(selector)
        self.page.locator(selector).set_input_files(path)

    def follow(self, selector: str) -> None:
        """To the link or button, and press it; the next page is there afterwards."""
        self.to(selector)
        with self.page.expect_navigation():
            self.press("Enter")

    # ------------------------------------------------------------------------------------- the plan's table

    def cell(self, number: str, column: str) -> None:
        """The focus on one cell of the table, by Home and arrows from where it is."""
        where = (
            "() => { const c = document.activeElement; return [c.closest('tr').cells[0].innerText.trim(), "
            "c.dataset.column] }"
        )
        self.press("Home")
        order: list[str] = self.page.eval_on_selector_all(
            "#rows tr", "rows => rows.map(r => r.cells[0].innerText.trim())"
        )
        there, wanted = order.index(self.page.evaluate(where)[0]), order.index(number)
        self.press(*["ArrowDown" if wanted > there else "ArrowUp"] * abs(wanted - there))
        for _ in range(20):
            if self.page.evaluate(where) == [number, column]:
                return
            self.press("ArrowRight")
        raise AssertionError(f"{number} {column} is not reached")

    def write(self, number: str, column: str, text: str) -> None:
        """Type into a cell and keep it."""
        self.cell(number, column)
        stands = "() => document.activeElement.dataset.text ?? document.activeElement.innerText.trim()"
        if self.page.evaluate(stands) == text:
            return
        self.press("Enter", "Control+A")
        with self.page.expect_response(
            lambda answer: answer.url.endswith("/draft/cell/") and "try=" not in (answer.request.post_data or "")
        ) as kept:
            self.page.keyboard.type(text)
            self.press("Enter")
        assert kept.value.status == 200, kept.value.text()


@pytest.fixture
def units(cast, proof_of, settings, tmp_path: Path) -> list[Any]:
    """FR-200 on revision A with two units in build, each with a notch gap that is in band."""
    settings.QCAPP_DATA_DIR = tmp_path
    at = timezone.now()
    card = released(cast, proof_of, at)
    GaugeFactory(number="FG-01", kind__key="feeler_gauge")
    found = [open_unit(by=cast.inspector, family_code="FR-200", serial=serial, at=at) for serial in SERIALS]
    for unit in found:
        answer(cast, card, unit.serial, at)
    return found


def answer(cast: Any, card: Any, serial: str, at: Any) -> None:
    body = {
        "id": str(uuid7()), "v": 1, "kind": "result", "serial": serial, "revision": str(card.uuid),
        "checkpoint": "notch_gap", "round": 1, "inspection": 1, "purpose": "reading", "answer": {"value": RECORDED},
        "raw": "", "gauge": "FG-01", "recorded_at": at.isoformat(), "recorded_by": cast.inspector.badge, "base": None,
        "reason": "",
    }  # fmt: skip
    (told,) = record_operations(operations=[body], sent_by=cast.inspector, device="T-1", at=at)
    assert (told.outcome, told.verdict) == ("applied", "in_band"), told


def test_walks_a_plan_from_import_to_the_printed_sheet_by_keys_alone(
    browser: Browser, live_server, cast, client_of, units, tmp_path: Path
) -> None:
    def at_a_keyboard(person: Any) -> Keys:
        cookie = client_of(person).cookies[configured.SESSION_COOKIE_NAME].value
        return Keys(browser, live_server.url, cookie)

    author, releaser = at_a_keyboard(cast.quality_manager), at_a_keyboard(cast.second_quality_manager)
    path = _import(author)
    uuid = path.strip("/").split("/")[-1]
    card = queries.revision_card(uuid)
    _change_limits(author)
    derived = _add_derived(author)
    found = queries.differences(queries.previous_of(card.id).id, card.id)
    assert {str(one.number) for one in found} == {*CHANGES, derived}
    assert author.page.locator(".look-at .wrong").count() == 0
    _balloon(author, path, tmp_path)
    assert len(marks_of(card.id).balloons) == 3
    author.page.goto(path)
    author.follow("form[action$='send-for-review/'] button")

    _release(releaser, path)
    assert queries.revision_card(uuid).state == "released"
    _compare(releaser, path)
    _adopt(releaser, path)
    for unit in units:
        view = inspection_of(unit.serial)
        assert view.revision.letter == "B"
        assert [one.counts.outcome for one in view.checkpoints if one.card.number == 117 and one.counts] == [
            "out_of_band"
        ]
        assert len(reports_of(unit.item_id)) == 1
    _print(releaser, path)
    assert author.complaints == releaser.complaints == []


def _import(author: Keys) -> str:
    """The plan file as draft B; gives the draft's path."""
    page = author.page
    page.goto("/plans/import/")
    author.to("select[name=family_code]")
    page.keyboard.type("FR-200")
    author.to("input[name=letter]")
    page.keyboard.type("B")
    author.choose_file("input[type=file]", FR200)
    author.to("input[name=change_note]")
    page.keyboard.type("Tighter kit, left against right")
    with page.expect_navigation():
        author.press("Enter")
    page.locator("#sheet").wait_for()
    return page.url.removeprefix(page.url.split("/plans/")[0])


def _change_limits(author: Keys) -> None:
    author.to("#rows td")
    for number, limits in CHANGES.items():
        author.write(number, "limits", limits)


def _add_derived(author: Keys) -> str:
    """A derived checkpoint below 114: left rail minus right rail. Gives its number."""
    page = author.page
    author.cell("114", "title")
    before = page.locator("#rows tr").count()
    with page.expect_response("**/draft/rows/"):
        author.press("Control+Enter")
    page.locator("#rows tr").nth(before).wait_for(state="attached")
    if page.locator("#rows input").count():
        author.press("Escape")
    number: str = page.eval_on_selector("#rows tr.here", "row => row.cells[0].innerText.trim()")
    for column, text in (
        ("title", "Cradle rails, left minus right"), ("kind", "derived"), ("nominal", "0"), ("unit_of_measure", "mm"),
        ("limits", "±1.0"), ("frequency", "1 in 5"), ("criticality", "minor"),
        ("formula", "cradle_left_length - cradle_right_length"),
    ):  # fmt: skip
        author.write(number, column, text)
    return number


def _balloon(author: Keys, path: str, folder: Path) -> None:
    """A drawing added, and three balloons set where the cross stands."""
    page = author.page
    drawing = folder / "frame.svg"
    drawing.write_bytes(SVG)
    page.goto(path)
    author.follow("a[href$='/drawing/']")
    author.choose_file("form[action$='/sheets/'] input[type=file]", drawing)
    for name, text in (("number", "FR-200-001"), ("document_revision", "C"), ("title", "Side view")):
        author.to(f"form[action$='/sheets/'] input[name={name}]")
        page.keyboard.type(text)
    with page.expect_navigation():
        author.press("Enter")
    author.to("#view")
    for _ in range(3):
        with page.expect_response("**/balloon/") as kept:
            author.press("Shift+ArrowRight", "ArrowDown", "Enter")
        assert kept.value.status == 200


def _release(releaser: Keys, path: str) -> None:
    releaser.page.goto(path)
    releaser.to("form[action$='/release/'] input[name=pin]")
    releaser.page.keyboard.type(PIN)
    with releaser.page.expect_navigation():
        releaser.press("Enter")


def _compare(releaser: Keys, path: str) -> None:
    page = releaser.page
    page.goto(path)
    releaser.follow("a[href$='/compare/']")
    text = page.inner_text("main")
    assert "tightened" in text
    assert "loosened" in text
    assert "Cradle rails, left minus right" in text


def _adopt(releaser: Keys, path: str) -> None:
    page = releaser.page
    page.goto(path)
    releaser.follow(f"a[href='{path}units/']")
    for serial in SERIALS:
        releaser.to(f"input[value='{serial}']")
        releaser.press("Space")
    releaser.to("input[name=reason], textarea[name=reason]")
    page.keyboard.type("Both kits are cut, the gap counts")
    releaser.to("input[name=pin]")
    page.keyboard.type(PIN)
    with page.expect_navigation():
        releaser.press("Enter")


def _print(releaser: Keys, path: str) -> None:
    page = releaser.page
    page.goto(path + "?stage=1")
    releaser.to("details.drop summary")
    releaser.press("Enter")
    releaser.to("a[href$='/paper.pdf?stage=1&paper=a4']")
    with page.expect_response("**/paper.pdf?stage=1&paper=a4") as printed:
        releaser.press("Enter")
    assert (printed.value.status, printed.value.headers["content-type"]) == (200, "application/pdf")
