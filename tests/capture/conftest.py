"""A small shop for the tablet's tests: people, gauges, a plan with a checkpoint of each kind, units; and tablets."""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from django.conf import settings
from django.contrib.auth import BACKEND_SESSION_KEY, HASH_SESSION_KEY, SESSION_KEY
from django.core.management import call_command
from django.db import connections, transaction
from django.utils import timezone
from pytest_django.live_server_helper import LiveServer

from qcapp.audit.services import begin_epoch
from qcapp.config.demonstration import cast as demo
from qcapp.inspections import services as inspections
from qcapp.inspections.models import CurrentAnswer, Result
from qcapp.inspections.queries import inspection_of
from qcapp.lib.guards import lifted
from qcapp.people.services import demonstration_proof
from qcapp.people.services.session_store import SessionStore
from qcapp.plans import services as plans
from qcapp.production.models import PartFamily
from qcapp.production.services import add_family

if TYPE_CHECKING:
    from playwright.sync_api import Browser, BrowserContext, Page, Playwright

HERE = Path(__file__).parent
SIZES = {"landscape": (1180, 820), "portrait": (820, 1180), "phone": (390, 844)}
CHROMIUM = ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-component-update"]
PICTURES = Path(os.environ.get("QCAPP_PICTURES", HERE.parents[1] / ".ci" / "pictures"))


@pytest.fixture
def _django_db_helper() -> None:
    """The marker makes the database; emptying it is left to `whole_shop`, once a module and not once a test."""


@pytest.fixture(scope="module")
def playwright() -> Iterator[Playwright]:
    from playwright.sync_api import sync_playwright

    with sync_playwright() as play:
        yield play


@pytest.fixture(scope="module")
def browser(playwright: Playwright) -> Iterator[Browser]:
    browser = playwright.chromium.launch(executable_path="/usr/bin/chromium", args=CHROMIUM)
    yield browser
    browser.close()


@dataclass
class Shop:
    """The people by badge, the address of the server, and what it holds of the unit at hand."""

    people: dict[str, Any]
    address: str
    number: int = 0

    @property
    def serial(self) -> str:
        return f"BN-1-{self.number:04}"

    @property
    def bench(self) -> str:
        return f"/units/{self.serial}/bench/"

    def next_unit(self) -> Shop:
        """A unit that nothing is known of: tests share people and plan, not the unit."""
        self.number += 1
        inspections.open_unit(
            by=self.people["1001"],
            family_code="BN-1",
            serial=self.serial,
            order_number="",
            variant="",
            at=timezone.now(),
        )
        return self

    def lose_results(self) -> None:
        """The server is set back to before this unit's results, as by an older backup; tablets hear of a new epoch."""
        # One table alone: the server goes on writing, and two who want many tables wait for each other.
        with lifted("a backup is restored in a test", [Result._meta.db_table]):
            for model in (CurrentAnswer, Result):
                rows = model.objects.filter(item__unit__number=self.number)
                rows._raw_delete(rows.db)
        with transaction.atomic():
            begin_epoch(at=timezone.now(), margin=1, years=[timezone.now().year], payload={})

    def release_family(self, code: str, name: str, plan: str, draw: Callable[[Any], None] | None = None) -> bool:
        """A part family with its plan released; True the first time in this database. `draw` adds to the draft."""
        if PartFamily.objects.filter(code=code).exists():
            return False
        now, author = timezone.now(), self.people["1010"]
        told = {"name": name, "serial_pattern": f"{code}-{{number:4}}", "certificate_prefix": code[:2], "at": now}
        add_family(by=author, code=code, **told)
        text = {"text_or_bytes": plan.encode(), "filename": "plan.csv"}
        card = plans.import_plan(by=author, family_code=code, letter="A", at=now, **text)
        if draw:
            draw(card)
        plans.send_for_review(by=author, revision_uuid=card.uuid, at=now)
        plans.release(proof=demonstration_proof(self.people["1009"], now), revision_uuid=card.uuid, at=now)
        return True

    def open_unit(self, code: str) -> str:
        """The serial of a new unit of the family, of this test alone."""
        serial = f"{code}-{self.number:04}"
        told = {"order_number": "", "variant": "", "at": timezone.now()}
        inspections.open_unit(by=self.people["1001"], family_code=code, serial=serial, **told)
        return serial

    def view(self, badge: str = "1001") -> Any:
        return inspection_of(self.serial, viewer=self.people[badge], at=timezone.now())

    def answers(self, key: str) -> list[Any]:
        """Every stored answer to a checkpoint of the unit, oldest first."""
        return list(self._results().filter(characteristic__key=key).order_by("id"))

    def count(self) -> int:
        """How many answers people gave about the unit."""
        return int(self._results().exclude(purpose="computed").count())

    def _results(self) -> Any:
        from qcapp.inspections.models import Result

        return Result.objects.filter(item__unit__number=self.number)

    def session_of(self, badge: str) -> str:
        """The key of a new session of this person."""
        person = self.people[badge]
        session = SessionStore()
        session[SESSION_KEY] = str(person.pk)
        session[BACKEND_SESSION_KEY] = "django.contrib.auth.backends.ModelBackend"
        session[HASH_SESSION_KEY] = person.get_session_auth_hash()
        session.create()
        return str(session.session_key)


@pytest.fixture(scope="module")
def whole_shop(django_db_setup: None, django_db_blocker: Any) -> Iterator[Shop]:
    """Made once a module, because it takes seconds, with a live server; every table is emptied afterwards."""
    with django_db_blocker.unblock():
        server = LiveServer("127.0.0.1")
        people = _people_and_plan()
        yield Shop(people, server.url)
        server.stop()
        call_command("flush", interactive=False, verbosity=0)
        # Under Playwright's event loop Django holds connections of its own; PostgreSQL drops no database in use.
        connections.close_all()


def _people_and_plan() -> dict[str, Any]:
    now = timezone.now()
    begin = now - timedelta(days=30)
    cast = demo.make_people(begin)
    demo.make_gauges(cast, begin, now)
    author, releaser, engineer = (cast.people[badge] for badge in ("1010", "1009", "1011"))
    add_family(
        by=author, code="BN-1", name="bench sample", serial_pattern="BN-1-{number:4}", certificate_prefix="BN", at=begin
    )
    text = (HERE / "bench-plan.csv").read_bytes()
    card = plans.import_plan(
        by=author, family_code="BN-1", letter="A", text_or_bytes=text, filename="bench-plan.csv", at=begin
    )
    plans.send_for_review(by=author, revision_uuid=card.uuid, at=begin)
    plans.approve(proof=demonstration_proof(engineer, begin), revision_uuid=card.uuid, at=begin)
    plans.release(proof=demonstration_proof(releaser, begin), revision_uuid=card.uuid, at=begin)
    return cast.people


@pytest.fixture
def shop(whole_shop: Shop) -> Shop:
    return whole_shop.next_unit()


class Tablet:
    """A tablet in somebody's hands."""

    def __init__(self, context: BrowserContext, shop: Shop, address: str = "") -> None:
        self.context, self.shop, self.address = context, shop, address or shop.address
        self.page: Page = context.pages[0] if context.pages else context.new_page()
        self.complaints: list[str] = []
        self.page.set_default_navigation_timeout(40_000)  # two dozen scripts, on a machine that does other things too
        self.page.set_default_timeout(int(os.environ.get("QCAPP_TEST_PATIENCE", "20")) * 1000)
        self.listen(self.page)

    def listen(self, page: Page) -> None:
        page.on("pageerror", lambda error: self.complaints.append(str(error)))

    def sign_in(self, badge: str = "1001") -> Tablet:
        cookie = {"name": settings.SESSION_COOKIE_NAME, "value": self.shop.session_of(badge), "url": self.address}
        self.context.add_cookies([cookie])
        return self

    def open(self, path: str = "") -> Tablet:
        path = path or self.shop.bench
        self.page.goto(self.address + path)
        if "/bench/" in path:
            self.page.wait_for_selector("#question")
        return self

    def at(self, key: str) -> Tablet:
        """Go to a checkpoint of the stage shown."""
        self.page.click(f'#rows [data-key="{key}"]')
        return self

    def type(self, text: str) -> Tablet:
        self.page.fill("input#value", text)
        return self

    def enter(self, text: str) -> Tablet:
        """Type a value and press Enter; a question about the gauge is answered with the first that fits."""
        self.type(text)
        self.page.press("input#value", "Enter")
        self.pick_gauge()
        return self

    def pick_gauge(self) -> None:
        self.drawn()  # the question comes after what Enter began
        if self.page.locator("dialog[open]").count():
            self.page.locator("dialog[open] .picks button:enabled").first.click()
            self.page.wait_for_selector("dialog", state="detached")

    def verdict(self) -> str:
        return self.page.locator(".verdict").inner_text()

    def foot(self) -> str:
        return self.page.locator("#foot").inner_text()

    def until(self, condition: str, seconds: float = 20) -> None:
        """Wait until a sentence of JavaScript about the page is true; it may be a promise."""
        end = time.monotonic() + seconds
        while not self._holds(condition):
            if time.monotonic() > end:
                raise TimeoutError(f"{condition}: {self.page.locator('#foot').all_inner_texts()}")
            self.page.wait_for_timeout(25)

    def _holds(self, condition: str) -> bool:
        from playwright.sync_api import Error

        try:
            return bool(self.page.evaluate(f"async () => Boolean(await ({condition}))"))
        except Error as error:
            # The page is just being left for another, or the other is not built yet.
            if any(words in error.message for words in ("context was destroyed", "properties of null")):
                return False
            raise

    def until_foot(self, words: str, there: bool = True) -> None:
        self.until(f"document.querySelector('#foot').innerText.includes({words!r}) === {str(there).lower()}")

    def drawn(self) -> None:
        """Let the page paint twice: the foot follows the verdict, and tells of what came before it until then."""
        frame = "new Promise((done) => requestAnimationFrame(() => setTimeout(done)))"
        at_last = "new Promise((done) => setTimeout(done, 300))"  # a page behind another is not painted
        self.until(f"Promise.race([{frame}.then(() => {frame}), {at_last}]).then(() => true)")

    def until_sent(self) -> None:
        self.drawn()
        foot = "document.querySelector('#foot').innerText"
        sent = "Sent|All sent|Gesendet|Enviado"
        not_yet = "On tablet|Auf dem Tablet|En la tableta|[Nn]ot saved|NOT SAVED|gespeichert|guarda"
        self.until(f"/{sent}/.test({foot}) && !/{not_yet}/.test({foot})")

    def until_on_tablet(self, number: int) -> None:
        self.until_foot(f"On tablet {number}")
        self.until_foot("Not saved", there=False)

    def picture(self, name: str) -> None:
        PICTURES.mkdir(parents=True, exist_ok=True)
        self.page.screenshot(path=PICTURES / f"{name}.png")


@pytest.fixture
def tablet(browser: Browser, shop: Shop) -> Iterator[Callable[..., Tablet]]:
    """Makes tablets: `tablet()` is signed in as 1001 and shows the bench of the unit."""
    made: list[Tablet] = []

    def make(badge: str = "1001", path: str = "", address: str = "", **options: Any) -> Tablet:
        context = browser.new_context(viewport={"width": 1180, "height": 820}, **options)
        made.append(Tablet(context, shop, address).sign_in(badge))
        return made[-1].open(path)

    yield make
    for one in made:
        one.context.close()
    assert [complaint for one in made for complaint in one.complaints] == []
