"""What an enrolled tablet may call, and what becomes of entries sent for others."""

from __future__ import annotations

import re
from typing import Any

import pytest
from django.test import Client
from django.urls import resolve
from django.utils import timezone

from qcapp.people import services
from qcapp.people.queries import aside_cards, tablet_cards
from qcapp.people.rights_table import addresses
from qcapp.people.tablet_guard import ALLOWED, COOKIE, OF_REVOKED, TO_FLOOR
from tests.cast import FIXED_NOW, Cast
from tests.factories.tablets import Pair, enrolled, put_on

pytestmark = pytest.mark.django_db(transaction=True)
FILLED = dict.fromkeys(("uuid", "sheet", "article"), "00000000-0000-7000-8000-000000000000")


def on_tablet(token: str, person: Any = None) -> Client:
    client = Client()
    if person is not None:
        client.force_login(person)
    client.cookies[COOKIE] = token
    return client


def code_of(client: Client, method: str, path: str) -> str:
    response = getattr(client, method)(path, headers={"Accept": "application/json"})
    found = re.search(rb'"code": ?"(tablet_\w+)"', response.content)
    return found[1].decode() if found else ""


def test_lets_a_tablet_call_the_listed_routes_only(cast: Cast) -> None:
    _, token = enrolled(cast.keeper, FIXED_NOW)
    client = on_tablet(token, cast.quality_manager)
    named = set()
    for address in addresses():
        path = re.sub(r"<(\w+)>", lambda name: FILLED.get(name[1], "1"), address.path)
        full = resolve(path).view_name
        named.add(full)
        for method in ("get", "post", "delete"):
            if full in ("people:sign_out", "api:session") and method != "get":
                continue  # it would end the session that walks
            if (full, method) == (TO_FLOOR, "get"):
                continue  # leads to the floor, below
            allowed = method.upper() in ALLOWED.get(full, ())
            assert (code_of(client, method, path) != "tablet_route") == allowed, (method, path, full)
    assert set(ALLOWED) <= named, "a listed route does not exist"


def test_leads_from_the_account_of_a_person_to_the_floor(cast: Cast) -> None:
    """Who taps their initials before the page has loaded its scripts goes by the link."""
    tablet, token = enrolled(cast.keeper, FIXED_NOW)
    client = on_tablet(token, cast.inspector)
    answer = client.get("/account/")
    assert (answer.status_code, answer["Location"]) == (302, "/floor/")
    assert code_of(client, "post", "/account/") == "tablet_route"
    services.revoke_tablet(by=cast.keeper, tablet=tablet, reason="lost", at=timezone.now())
    assert code_of(client, "get", "/account/") == "tablet_revoked"


def test_lets_a_revoked_tablet_hand_in_only(cast: Cast) -> None:
    tablet, token = enrolled(cast.keeper, FIXED_NOW)
    client = on_tablet(token, cast.inspector)
    services.revoke_tablet(by=cast.keeper, tablet=tablet, reason="lost", at=timezone.now())
    assert code_of(client, "get", "/floor/") == "tablet_revoked"
    assert client.get("/api/v1/session").json()["person"] is None
    assert "api:operations" in OF_REVOKED
    body = {"device": "tablet-1", "operations": [{"id": "x-1", "serial": "FR-200-0147"}], "proofs": {}}
    answer = client.post("/api/v1/operations", body, content_type="application/json").json()
    assert [one["outcome"] for one in answer["operations"]] == ["kept_aside"]
    assert [card.body["id"] for card in aside_cards()] == ["x-1"]


def test_opens_no_address_to_a_revoked_tablet_but_those_to_hand_in(cast: Cast) -> None:
    """Every address and method, whoever was signed in on it: the most powerful person of the site."""
    tablet, token = enrolled(cast.keeper, FIXED_NOW)
    client = on_tablet(token, cast.quality_manager)
    services.revoke_tablet(by=cast.keeper, tablet=tablet, reason="lost", at=timezone.now())
    walked = 0
    for address in addresses():
        path = re.sub(r"<(\w+)>", lambda name: FILLED.get(name[1], "1"), address.path)
        name = resolve(path).view_name
        for method in ("get", "post", "delete"):
            walked += 1
            assert (code_of(client, method, path) == "tablet_revoked") == (name not in OF_REVOKED), (method, path)
    assert walked > 600


def test_frees_no_revoked_tablet_that_threw_its_cookie_away(cast: Cast) -> None:
    services.set_pin(by=None, person=cast.inspector, pin="271845", at=FIXED_NOW)
    tablet, token = enrolled(cast.keeper, timezone.now())
    client = on_tablet(token)
    body = {"badge": cast.inspector.badge, "pin": "271845", "entry_key": Pair.made().public}
    body["sign_key"] = Pair.made().public
    opened = client.post("/api/v1/tablet/people", body, content_type="application/json")
    assert opened.json()["person"]["badge"] == cast.inspector.badge
    del client.cookies[COOKIE]
    assert code_of(client, "get", "/plans/") == "tablet_route"
    services.revoke_tablet(by=cast.keeper, tablet=tablet, reason="lost", at=timezone.now())
    assert code_of(client, "get", "/floor/") == "tablet_revoked"


def test_opens_the_session_of_whoever_unlocked_the_tablet(cast: Cast) -> None:
    services.set_pin(by=None, person=cast.inspector, pin="271845", at=FIXED_NOW)
    tablet, token = enrolled(cast.keeper, timezone.now())
    person = put_on(tablet, cast.inspector, timezone.now())
    client = on_tablet(token)
    nonce = client.get("/api/v1/tablet").json()["nonce"]
    body = {"key": person.key, "nonce": nonce, "signature": person.entry.sign("qcapp switch 1", nonce)}
    answer = client.post("/api/v1/tablet/switch", body, content_type="application/json")
    assert answer.json()["person"]["badge"] == cast.inspector.badge
    assert client.get("/api/v1/session?unsent=4&since=2026-03-17T10:00:00Z&version=abc").status_code == 200
    assert tablet_cards()[0].unsent == 4


def test_gives_the_page_without_names_where_nobody_is_signed_in(cast: Cast) -> None:
    _, token = enrolled(cast.keeper, FIXED_NOW)
    response = on_tablet(token).get("/floor/")
    assert response.status_code == 200
    assert b"csrfmiddlewaretoken" not in response.content


def test_opens_nothing_in_a_browser_that_is_not_enrolled(cast: Cast) -> None:
    answer = Client().post("/api/v1/tablet/switch", {"key": "x", "nonce": "x", "signature": "x"}, "application/json")
    assert (answer.status_code, answer.json()["code"]) == (403, "not_enrolled")
