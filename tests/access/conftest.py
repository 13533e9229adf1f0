"""The workshop of world.py on a live server, and one browser, made once a file; somebody signed in at a keyboard."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

import pytest
from django.conf import settings as configured
from django.contrib.auth import BACKEND_SESSION_KEY, HASH_SESSION_KEY, SESSION_KEY
from django.core.management import call_command
from django.db import connections
from pytest_django.live_server_helper import LiveServer

from qcapp.config.demonstration.cast import Cast
from qcapp.people.models import Person
from qcapp.people.services.session_store import SessionStore

from .hand import Hand
from .world import make_world

if TYPE_CHECKING:
    from playwright.sync_api import Browser

CHROMIUM = ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-component-update"]


class Shop(NamedTuple):
    """The people by badge, and where the server is."""

    cast: Cast
    address: str

    def cookie_of(self, badge: str) -> Any:
        """The cookie of a new session of this person."""
        person: Person = self.cast.people[badge]
        session = SessionStore()
        session[SESSION_KEY] = str(person.pk)
        session[BACKEND_SESSION_KEY] = "django.contrib.auth.backends.ModelBackend"
        session[HASH_SESSION_KEY] = person.get_session_auth_hash()
        session.create()
        return {"name": configured.SESSION_COOKIE_NAME, "value": session.session_key, "url": self.address}


@pytest.fixture
def _django_db_helper() -> None:
    """The marker makes the database; emptying it is left to `shop`, once a file and not once a test."""


@pytest.fixture(scope="module")
def shop(django_db_setup: None, django_db_blocker: Any, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Shop]:
    """The workshop with its server; every table is emptied afterwards."""
    folder: Path = tmp_path_factory.mktemp("access")
    with django_db_blocker.unblock(), pytest.MonkeyPatch.context() as patch:
        patch.setattr(configured, "QCAPP_DATA_DIR", folder)
        patch.setattr(configured, "QCAPP_DEMO", True)
        server = LiveServer("127.0.0.1")
        try:
            yield Shop(make_world(), server.url)
        finally:  # a workshop half made is no less in the way of the tests that follow
            server.stop()
            call_command("flush", interactive=False, verbosity=0)
            # Under Playwright's event loop Django holds connections of its own; PostgreSQL drops no database in use.
            connections.close_all()


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    from playwright.sync_api import sync_playwright

    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path="/usr/bin/chromium", args=CHROMIUM)
        yield browser
        browser.close()


@pytest.fixture
def at(browser: Browser, shop: Shop) -> Iterator[Callable[[str], Hand]]:
    """`at("1005")`: the person with this badge at a keyboard, without a mouse."""
    made: list[Hand] = []

    def sit_down(badge: str) -> Hand:
        made.append(Hand(browser, shop.address, shop.cookie_of(badge) if badge else None))
        return made[-1]

    yield sit_down
    for one in made:
        one.context.close()
    assert [complaint for one in made for complaint in one.complaints] == []
