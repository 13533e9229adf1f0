"""Where I am signed in: what the list shows, whose sessions it ends, and how long one lives."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from importlib import import_module
from typing import Any

import pytest
from django.apps import apps
from django.conf import settings
from django.contrib.sessions.models import Session
from django.test import Client
from django.utils import timezone

from qcapp.audit.queries import entries_about
from qcapp.people import services
from qcapp.people.models import OpenSession, Person
from qcapp.people.services.open_sessions import device_of
from tests.cast import PASSWORD, Cast

Browser = Callable[[Person], Client]
PAGE = "/account/sessions/"
FIREFOX = "Mozilla/5.0 (X11; Linux x86_64; rv:140.0) Gecko/20100101 Firefox/140.0"
EDGE = "Mozilla/5.0 (Windows NT 10.0; Win64; x64) AppleWebKit/537.36 Chrome/140.0 Safari/537.36 Edg/140.0"


def signed_in(person: Person, agent: str = FIREFOX) -> Client:
    client = Client(headers={"User-Agent": agent})
    assert client.post("/sign-in/", {"badge": person.badge, "password": PASSWORD}).status_code == 302
    return client


def row_of(client: Client) -> OpenSession:
    return OpenSession.objects.get(session_key=client.session.session_key)


@pytest.mark.parametrize(
    ("agent", "words"),
    [
        (FIREFOX, "Firefox, Linux"),
        (EDGE, "Edge, Windows"),
        ("Mozilla/5.0 (Linux; Android 15) AppleWebKit/537.36 Chrome/140.0 Safari/537.36", "Chromium, Android"),
        ("curl/8.5.0", "curl"),
        ("<script>", ""),
        ("", ""),
    ],
)
def test_says_in_words_where_a_session_is(agent: str, words: str) -> None:
    assert device_of(agent) == words


def test_shows_every_open_session_of_ones_own_and_no_key(cast: Cast) -> None:
    here, elsewhere = signed_in(cast.inspector), signed_in(cast.inspector, EDGE)
    other = signed_in(cast.welder)
    page = here.get(PAGE)
    assert (page.status_code, page["Cache-Control"]) == (200, "private, no-store")
    assert page.text.count("Firefox, Linux") == 1  # the welder's is not there
    assert "Edge, Windows" in page.text
    assert page.text.count("this one") == 1
    keys = [client.session.session_key for client in (here, elsewhere, other)]
    assert not any(str(key) in page.text for key in keys)


def test_ends_the_chosen_ones_after_the_password_and_writes_it_down(cast: Cast) -> None:
    person = cast.inspector
    here, lost, kept = signed_in(person), signed_in(person, EDGE), signed_in(person, EDGE)
    chosen = {"sign_ins": [str(row_of(lost).sign_in)]}
    refused = here.post(PAGE, chosen | {"current": "wrong guess of a password"})
    assert refused.status_code == 403
    assert lost.get("/account/").status_code == 200
    answer = here.post(PAGE, chosen | {"current": PASSWORD}, follow=True)
    assert "One session has ended." in answer.text
    assert lost.get("/account/").status_code == 302
    assert [client.get("/account/").status_code for client in (here, kept)] == [200, 200]
    (entry,) = [one for one in entries_about(f"person {person.badge}") if one.verb == "person.sessions_ended"]
    assert entry.payload == {"sessions": 1}


def test_ends_no_session_of_somebody_else(cast: Cast) -> None:
    here, other = signed_in(cast.inspector), signed_in(cast.welder)
    theirs = row_of(other).sign_in
    assert theirs is not None
    assert here.post(PAGE, {"sign_ins": [str(theirs)], "current": PASSWORD}).status_code == 400
    now = timezone.now()
    proof = services.prove_identity(
        person=cast.inspector, secret=PASSWORD, method="password", at=now, address="10.0.0.7"
    )
    assert services.end_sessions(proof=proof, sign_ins=[theirs], at=now) == 0
    assert other.get("/account/").status_code == 200


def test_asks_for_at_least_one_and_for_the_password(cast: Cast) -> None:
    here, lost = signed_in(cast.inspector), signed_in(cast.inspector, EDGE)
    assert "Choose at least one session." in here.post(PAGE, {"current": PASSWORD}).text
    assert here.post(PAGE, {"sign_ins": [str(row_of(lost).sign_in)]}).status_code == 400
    assert lost.get("/account/").status_code == 200


def test_keeps_its_name_in_the_list_when_its_key_changes(cast: Cast) -> None:
    here = signed_in(cast.inspector)
    before = row_of(here)
    new = {"password-current": PASSWORD, "password-password": "seven loose hinges"}
    assert here.post("/account/password/", new | {"password-again": "seven loose hinges"}).status_code == 302
    after = row_of(here)
    assert after.session_key != before.session_key
    assert (after.sign_in, after.device, after.begun_at) == (before.sign_in, before.device, before.begun_at)


def test_ends_a_session_after_ninety_days_however_much_it_is_used(
    cast: Cast, client_of: Browser, monkeypatch: pytest.MonkeyPatch
) -> None:
    client, begin, alive = client_of(cast.inspector), timezone.now(), []
    for days in range(0, 100, 10):
        at = begin + timedelta(days=days, minutes=1)
        monkeypatch.setattr("django.utils.timezone.now", lambda at=at: at)
        alive.append(client.get("/account/").status_code == 200)
    assert alive == [True] * 9 + [False]
    assert settings.SESSION_LONGEST == 90 * 24 * 3600


@pytest.mark.django_db
def test_takes_over_the_sessions_of_the_version_before() -> None:
    migration: Any = import_module("qcapp.people.migrations.0006_open_sessions")
    later = timezone.now() + timedelta(days=1)
    Session.objects.create(session_key="a" * 32, session_data="x", expire_date=later)
    Session.objects.create(session_key="b" * 32, session_data="y", expire_date=timezone.now() - timedelta(days=1))
    migration.take_over(apps, None)
    kept = OpenSession.objects.values_list("session_key", "session_data", "expire_date")
    assert list(kept) == [("a" * 32, "x", later)]
    assert Session.objects.count() == 0
