"""A nonconformance walked in the browser: held, suspects held, decided by two roles, corrected, verified, closed."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta
from decimal import Decimal
from typing import TYPE_CHECKING, Any

import pytest
from django.utils import timezone

from qcapp.certificates.services.rendering import html_of
from qcapp.gauges.models import Calibration, Gauge
from qcapp.nonconformance.queries import report
from qcapp.production.models import Lot
from qcapp.production.queries import open_holds

from ..cast import FIXED_NOW, PASSWORD, PIN, Cast
from ..factories.certificates import certified, release_unit
from ..factories.inspections import SECOND, STAGES, Workshop
from ..factories.nonconformance import Case
from ..factories.production import ItemFactory

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
CHROMIUM = ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-component-update"]
PEOPLE = (
    "inspector", "second_inspector", "quality_manager", "second_quality_manager", "engineer", "welding_coordinator",
    "welder", "goods_in",
)  # fmt: skip


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    from playwright.sync_api import sync_playwright

    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path="/usr/bin/chromium", args=CHROMIUM)
        yield browser
        browser.close()


class At:
    """Somebody at a browser of their own, on the pages of reports."""

    def __init__(self, browser: Browser, address: str, badge: str, *, scripts: bool = True) -> None:
        self.address = address
        self.page: Page = browser.new_context(
            viewport={"width": 1440, "height": 900}, java_script_enabled=scripts
        ).new_page()
        self.page.goto(address + "/sign-in/")
        self.page.fill("input[name=badge]", badge)
        self.page.fill("input[type=password]", PASSWORD)
        self.page.click("text=Sign in >> visible=true >> nth=-1")
        self.page.wait_for_url(f"{address}/")

    def go(self, path: str) -> Page:
        self.page.goto(self.address + path)
        return self.page

    def press(self, button: str, **fields: str) -> str:
        """Fill the fields of the form with this button, press it, and give the page's words."""
        own = self.page.get_by_role("button", name=button, exact=True)
        form = self.page.locator("form", has=own)
        for name, value in fields.items():
            field = form.locator(f"[name={name}]")
            field.select_option(value) if field.evaluate("e => e.tagName") == "SELECT" else field.fill(value)
        own.click()
        self.page.wait_for_load_state()
        return self.page.inner_text("main")

    def measure(self, serial: str, key: str, value: str, gauge: str = "AG-01") -> str:
        """Answer a checkpoint on the bench with this gauge; gives the verdict's words."""
        page = self.go(f"/units/{serial}/bench/?checkpoint={key}")
        page.wait_for_selector("#value")
        page.fill("#value", value)
        page.keyboard.press("Enter")
        if page.locator("dialog[open]").count():
            page.locator("dialog[open] .picks button", has_text=gauge).first.click()
            page.wait_for_selector("dialog", state="detached")
        page.wait_for_selector(".verdict")
        page.wait_for_function("() => !document.querySelector('#foot').innerText.includes('On tablet')")
        return page.inner_text(".verdict")


@pytest.fixture
def shop(cast: Cast, live_server: Any) -> Workshop:
    """A unit on its bench since an hour ago by the clock that the pages go by, every gauge calibrated this month."""
    for name in PEOPLE:
        getattr(cast, name)
    now = timezone.now()
    done = (now - timedelta(days=20)).date()
    shop = Workshop.opened(cast, now - timedelta(hours=1))
    Calibration.objects.bulk_create(
        Calibration(
            gauge=gauge, done_on=done, due_on=done + timedelta(days=365), outcome="passed", done_by="Gauge room",
            expanded_uncertainty=Decimal("0.01"), recorded_by=cast.metrology, recorded_at=now - timedelta(days=20),
        )
        for gauge in Gauge.objects.filter(number__in=["AG-01", "CA-01", "TG-01"]).order_by("id")
    )  # fmt: skip
    return shop


def people(browser: Browser, shop: Workshop, address: str, *names: str) -> list[At]:
    return [At(browser, address, getattr(shop.cast, name).badge) for name in names]


def finish(shop: Workshop, *left_out: str) -> None:
    """Everything else of the plan answered, and every stage signed."""
    for stage, keys in STAGES.items():
        wanted = [key for key in keys if key not in left_out]
        shop.send(*(shop.operation(key) for key in wanted))
        second = shop.cast.second_inspector
        again = [shop.operation(key, inspection=2, person=second) for key in wanted if key in SECOND]
        if again:
            shop.send(*again, by=second)
        shop.sign(stage)


def decide_rework(case: Case, here: str, manager: At, engineer: At, coordinator: At) -> None:
    """Contained, proposed, and decided by the signatures of all three."""
    manager.go(here)
    manager.press("Record containment", note="Frame set aside with its tag.")
    told = {"disposition": "rework", "instruction": "Straighten in the restraint.", "cause": "method"}
    told |= {"steps": "Clamp it.\nPress 0.4 mm over.", "method": "cold_straightening"}
    told |= {"procedure": "CS-3", "max_attempts": "1"}
    assert "Still to sign" in manager.press("Propose", **told)
    manager.press("Sign", pin=PIN)
    engineer.go(here)
    engineer.press("Sign", pin=PIN)
    assert case.state == "contained"
    coordinator.go(here)
    coordinator.press("Sign", pin=PIN)
    assert case.state == "decided"


def correct(case: Case, here: str, welder: At) -> None:
    """Every step confirmed, which the correction waits for."""
    welder.go(here)
    welder.press("Start rework")
    welder.press("Confirm step 1")
    assert "Open: 2. Press 0.4 mm over." in welder.press("Correction done", note="Pressed.")
    welder.press("Confirm step 2")
    welder.press("Correction done", note="Pressed 0.4 mm over, once.")
    assert case.state == "to_be_verified"


def test_walks_from_out_of_band_to_the_certificate(browser: Browser, shop: Workshop, live_server: Any) -> None:
    other = shop.another_unit("FR-200-0148")
    other.send(other.operation("head_angle", "62.145"))  # near its limit, with the same gauge
    inspector, again, manager, engineer, coordinator, welder, second = people(
        browser, shop, live_server.url, "inspector", "second_inspector", "quality_manager", "engineer",
        "welding_coordinator", "welder", "second_quality_manager",
    )  # fmt: skip
    assert "Out of band, 0.25 ° above: 62.40 °" in inspector.measure(shop.serial, "head_angle", "62.40")
    inspector.page.wait_for_selector("text=On hold: NCR-")
    (hold,) = open_holds(shop.item_id)
    case = Case(shop, hold.source)
    here = f"/nonconformances/{case.number}/"

    page = manager.go(f"{here}suspects/")
    assert page.get_by_label("Hold FR-200-0148").is_checked()
    manager.press("Hold the chosen units", reason="Same gauge, near its limit.")
    assert [hold.source for hold in open_holds(other.item_id)] == [case.number]

    decide_rework(case, here, manager, engineer, coordinator)
    correct(case, here, welder)

    manager.go(here)
    closing = {"corrective_action": "Second clamp.", "action_number": "CA-7", "pin": PIN}
    assert "not inspected in round 2 yet" in manager.press("Close the report", **closing)
    assert "In band: 62.02 °" in again.measure(shop.serial, "head_angle", "62.02")
    second.go(here)
    assert "closed" in second.press("Close the report", **closing)
    assert not open_holds(shop.item_id)
    assert [hold.source for hold in open_holds(other.item_id)] == [case.number]  # lifted by its own act alone

    shop.at = timezone.now()
    finish(shop, "head_angle")
    paper = html_of(certified(release_unit(shop, at=shop.at), at=shop.at))
    assert case.number in paper
    assert "rework, procedure CS-3, 1 inspected again" in paper


def test_repairs_under_a_concession_that_the_certificate_lists(
    browser: Browser, shop: Workshop, live_server: Any
) -> None:
    inspector, again, manager, engineer, coordinator, welder = people(
        browser, shop, live_server.url, "inspector", "second_inspector", "quality_manager", "engineer",
        "welding_coordinator", "welder",
    )  # fmt: skip
    inspector.measure(shop.serial, "head_angle", "62.40")
    (hold,) = open_holds(shop.item_id)
    here = f"/nonconformances/{hold.source}/"
    manager.go(here)
    manager.press("Record containment", note="Frame set aside with its tag.")
    told = {"disposition": "repair", "instruction": "Shim the lower cup.", "cause": "method"}
    manager.press("Propose", **told, concession_upper="62,30", ends_on="2099-12-31")
    manager.press("Sign", pin=PIN)
    engineer.go(here)
    engineer.press("Sign", pin=PIN)
    coordinator.go(here)
    coordinator.press("Sign", pin=PIN)
    welder.go(here)
    welder.press("Start repair")
    welder.press("Confirm step 1")
    welder.press("Correction done", note="Shimmed.")
    assert "Out of band" in again.measure(shop.serial, "head_angle", "62.28")  # outside the plan, inside the concession
    manager.go(here)
    assert "closed" in manager.press("Close the report", corrective_action="None: a single cup.", pin=PIN)
    shop.at = timezone.now()
    finish(shop, "head_angle")
    paper = html_of(certified(release_unit(shop, at=shop.at), at=shop.at))
    assert "CN-2" in paper
    assert "Shim the lower cup. Until 31 December 2099." in paper


def test_splits_a_lot_into_rework_and_return(browser: Browser, shop: Workshop, live_server: Any) -> None:
    keeper = shop.cast.goods_in
    lot = Lot.objects.create(
        item=ItemFactory(kind="lot"), code="TK-200-L0007", lookup="TK200L7", number=7, quantity=40, state="accepted",
        opened_by=keeper, opened_at=FIXED_NOW,
    )  # fmt: skip
    goods, manager, welder, second = people(
        browser, shop, live_server.url, "goods_in", "quality_manager", "welder", "second_quality_manager"
    )
    goods.go("/nonconformances/raise-on-lot/?lot=TK-200-L0007")
    found = {"title": "2 mm short", "severity": "major", "cause": "machine"}
    assert "The lot is on hold." in goods.press("Raise and hold the lot", **found)
    here = goods.page.url.removeprefix(live_server.url)
    number = here.strip("/").split("/")[-1]

    manager.go(here)
    manager.press("Record containment", note="Box locked away.")
    told = {"instruction": "Sort by length; shim the short ones.", "cause": "machine", "part_rework": "25"}
    assert "The parts add up to 39; the report is about 40" in manager.press(
        "Propose", **told, part_return_to_supplier="14"
    )
    manager.press("Propose", **told, part_return_to_supplier="15")
    manager.press("Sign", pin=PIN)
    words = manager.press("Write the paper", supplier="Tidewell Tube Works", text="15 tubes short; credit them.")
    assert "paper for the supplier" in words

    welder.go(here)
    welder.press("Start rework")
    welder.press("Confirm step 1")
    welder.press("Correction done", note="Sorted and shimmed.")
    second.go(here)
    assert "closed" in second.press("Close the report", corrective_action="Stop at the saw renewed.", pin=PIN)
    assert not open_holds(lot.item_id)
    assert report(number).return_note.quantity == 15  # type: ignore[union-attr]


def test_asks_what_the_chosen_disposition_needs_without_any_script(
    browser: Browser, shop: Workshop, live_server: Any
) -> None:
    case = Case.out_of_band(shop).contain()
    manager = At(browser, live_server.url, shop.cast.quality_manager.badge, scripts=False)
    page = manager.go(f"/nonconformances/{case.number}/")
    asked = {
        "use_as_is": (False, True), "rework": (True, False), "repair": (True, True), "scrap": (False, False),
        "return_to_supplier": (False, False),
    }  # fmt: skip
    for disposition, shown in asked.items():
        page.select_option("[name=disposition]", disposition)
        there = page.locator(".for-correction").is_visible(), page.locator(".for-concession").is_visible()
        assert there == shown, disposition
    page.select_option("[name=disposition]", "rework")
    assert "Still to sign" in manager.press("Propose", instruction="Straighten in the restraint.", cause="method")
