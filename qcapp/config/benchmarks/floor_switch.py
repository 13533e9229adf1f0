"""Two people at one shared tablet, for `manage.py benchmark --floor`: from the tap on the name to the other's page."""

from __future__ import annotations

import tempfile
from typing import TYPE_CHECKING

import numpy as np
from django.conf import settings
from django.core.management.base import CommandError
from django.utils import timezone

from qcapp.people import services
from qcapp.people.roles import Role
from qcapp.people.tablet_guard import COOKIE
from qcapp.production.queries import UnitCard

from .dataset import Shop
from .floor_page import browser_at, limit_of
from .real_server import RealServer
from .registry import Effort, Measurement

if TYPE_CHECKING:
    from playwright.sync_api import Page

    from qcapp.people.models import Person

PIN = "271845"
MOST_SECONDS, SWITCHES = 3, 20


def switching(shop: Shop, frame: UnitCard, effort: Effort) -> Measurement:
    """The longest switch by tap and PIN, nothing waited for between them; a hand comes on top."""
    people = [shop.person(Role.INSPECTOR, index) for index in range(2)]
    folder = tempfile.TemporaryDirectory(prefix="qcapp-profile-", ignore_cleanup_errors=True)
    pepper = settings.QCAPP_PIN_PEPPER.decode()  # the house's own, by which the PINs are kept
    with folder as profile, RealServer(QCAPP_PIN_PEPPER=pepper) as server, browser_at(profile) as context:
        cookie = {"name": COOKIE, "value": _tablet(shop, people), "url": server.address, "httpOnly": True}
        context.add_cookies([cookie])  # type: ignore[list-item]
        page = context.pages[0]
        page.set_default_timeout(60_000)
        page.goto(f"{server.address}/floor/")
        for person in people:
            _take(page, person)
        page.goto(f"{server.address}/units/{frame.serial}/bench/")
        _until_there(page, people[1])
        took = [_switch(page, people[turn % 2]) for turn in range(effort.of(SWITCHES, 2))]
    against = f"{len(took)} switches, median {float(np.median(took)):.2f} s; the PIN's key is derived on the tablet"
    return limit_of("another person by tap and PIN, longest", max(took), "s", MOST_SECONDS, against)


def _tablet(shop: Shop, people: list[Person]) -> str:
    """The token of an enrolled tablet; the people have their PIN."""
    now = timezone.now()
    for person in people:
        services.set_pin(by=person, person=person, pin=PIN, at=now)
    _, code = services.add_tablet(by=shop.person(Role.KEEPER), name="Bench 9", place="Hall 2", at=now)
    return services.enrol(code=code, at=now, address="127.0.0.1")[1]


def _take(page: Page, person: Person) -> None:
    """Somebody who is new on the tablet, by badge and PIN; the first is asked, the next taps on the name."""
    if page.locator("main[data-online]").count():
        page.click("#who")
    page.fill("#badge", person.badge)
    page.press("#badge", "Enter")
    page.fill("#pin", PIN)
    page.wait_for_selector("#pin-error:not([hidden]), body:not(:has(dialog))")
    if page.locator("#pin-error").count():
        raise CommandError(f"The tablet did not take badge {person.badge}: {page.inner_text('#pin-error')}")
    page.wait_for_selector("body:has(main[data-online]) #who[aria-haspopup]")


def _switch(page: Page, person: Person) -> float:
    begin = float(page.evaluate("Date.now()"))
    page.click("#who")
    page.click(f'#who-works [data-badge="{person.badge}"]')
    page.fill("#pin", PIN)
    _until_there(page, person)
    return (float(page.evaluate("Date.now()")) - begin) / 1000


def _until_there(page: Page, person: Person) -> None:
    page.wait_for_selector(f'body:has(#question) #who:text-is("{person.initials}")')
