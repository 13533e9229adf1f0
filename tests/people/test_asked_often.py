"""One person who asks for more than people do is slowed down; everybody else goes on."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta

import pytest
from django.core.cache import cache
from django.test import Client
from django.urls import get_resolver
from pytest_django import Settings

from qcapp.people.asked_often import LOOK_UP_CALLS, LOOK_UP_PAGES
from qcapp.people.models import Person
from tests.cast import Cast

Browser = Callable[[Person], Client]
NOON = datetime(2026, 3, 17, 12, 0, 20, tzinfo=UTC)


@pytest.fixture(autouse=True)
def _limits(settings: Settings, monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    settings.QCAPP_ASKED_A_MINUTE = {"look-up": 3, "api": 5}
    monkeypatch.setattr("django.utils.timezone.now", lambda: NOON)
    cache.clear()
    yield
    cache.clear()


def statuses(client: Client, path: str, times: int) -> list[int]:
    return [client.get(path).status_code for _ in range(times)]


def test_answers_so_many_look_ups_in_a_minute_and_says_when_to_go_on(cast: Cast, client_of: Browser) -> None:
    client = client_of(cast.quality_manager)
    assert statuses(client, "/units/?q=0147", 4) == [200, 200, 200, 429]
    page = client.get("/units/FR-200-0147/")
    assert (page.status_code, page["Retry-After"]) == (429, "40")
    assert "More than 3 look-ups in a minute are not answered. Go on at 13:01:00." in page.text


def test_hears_the_person_again_in_the_next_minute(
    cast: Cast, client_of: Browser, monkeypatch: pytest.MonkeyPatch
) -> None:
    client = client_of(cast.quality_manager)
    statuses(client, "/units/", 4)
    monkeypatch.setattr("django.utils.timezone.now", lambda: NOON + timedelta(seconds=40))
    assert statuses(client, "/units/", 4) == [200, 200, 200, 429]


def test_slows_one_person_and_no_other_and_no_other_page(cast: Cast, client_of: Browser) -> None:
    client = client_of(cast.quality_manager)
    statuses(client, "/units/", 4)
    assert client.get("/account/").status_code == 200
    assert client_of(cast.second_quality_manager).get("/units/").status_code == 200


def test_counts_a_person_over_all_sessions(cast: Cast, client_of: Browser) -> None:
    first, second = client_of(cast.quality_manager), client_of(cast.quality_manager)
    assert statuses(first, "/units/", 2) + statuses(second, "/units/", 2) == [200, 200, 200, 429]


def test_answers_so_many_calls_of_the_api_look_ups_among_them(cast: Cast, client_of: Browser) -> None:
    client = client_of(cast.quality_manager)
    assert statuses(client, "/api/v1/session", 2) == [200, 200]
    assert statuses(client, "/api/v1/look-up?q=0147", 3) == [200, 200, 200]
    refused = client.get("/api/v1/session")
    assert (refused.status_code, refused.json()["code"]) == (429, "asked_too_often")
    assert refused.json()["details"]["retry_at"].startswith("2026-03-17T12:01:00")


def test_holds_nobody_where_a_limit_is_nought(cast: Cast, client_of: Browser, settings: Settings) -> None:
    settings.QCAPP_ASKED_A_MINUTE = {"look-up": 0, "api": 0}
    assert statuses(client_of(cast.quality_manager), "/units/", 5) == [200] * 5


def test_counts_addresses_that_exist() -> None:
    rooms = get_resolver().namespace_dict
    assert rooms.keys() >= LOOK_UP_PAGES
    known = {name for name in rooms["api"][1].reverse_dict if isinstance(name, str)}
    assert known >= LOOK_UP_CALLS
