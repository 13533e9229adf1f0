"""Who calls: signing in and out, and the two ways of being turned away."""

from __future__ import annotations

import json
from typing import Any

import pytest
from django.test import Client

from qcapp.people.services import mark_left

from ..cast import PASSWORD, Cast
from .conftest import Api

pytestmark = pytest.mark.django_db


def test_says_who_is_signed_in_and_gives_a_token(api_of: Any, cast: Cast) -> None:
    body = api_of(cast.inspector).get("session")
    assert (body["person"]["badge"], body["roles"]) == ("1001", ["inspector"])
    assert "record a result" in body["acts"]
    assert body["csrf_token"]
    assert body["server_time"].endswith("+00:00")


def test_says_that_nobody_is_signed_in(stranger: Api) -> None:
    body = stranger.get("session")
    assert (stranger.status, body["person"], body["roles"]) == (200, None, [])


def test_signs_in_with_a_token_and_out_again(cast: Cast) -> None:
    cast.inspector  # noqa: B018 - makes the account
    client = Client(enforce_csrf_checks=True)
    token = client.get("/api/v1/session").json()["csrf_token"]
    body = json.dumps({"badge": "1001", "password": PASSWORD})
    answer = client.post("/api/v1/session", body, content_type="application/json", headers={"X-CSRFToken": token})
    assert answer.status_code == 200
    assert answer.json()["person"]["name"] == cast.inspector.name
    token = answer.json()["csrf_token"]
    assert client.delete("/api/v1/session", headers={"X-CSRFToken": token}).status_code == 204
    assert client.get("/api/v1/session").json()["person"] is None


def test_refuses_to_sign_in_without_a_token(cast: Cast) -> None:
    cast.inspector  # noqa: B018 - makes the account
    client = Client(enforce_csrf_checks=True)
    body = json.dumps({"badge": "1001", "password": PASSWORD})
    answer = client.post("/api/v1/session", body, content_type="application/json")
    assert (answer.status_code, answer.json()["code"]) == (403, "csrf")
    assert client.get("/api/v1/session").json()["person"] is None


@pytest.mark.parametrize(("badge", "password"), [("1001", "wrong"), ("9999", PASSWORD)])
def test_refuses_a_wrong_password_and_an_unknown_badge_alike(
    cast: Cast, stranger: Api, badge: str, password: str
) -> None:
    cast.inspector  # noqa: B018 - makes the account
    body = stranger.post("session", {"badge": badge, "password": password})
    assert (stranger.status, body["code"]) == (403, "identity_not_proven")
    assert stranger.get("session")["person"] is None


def test_says_when_to_try_again_after_too_many_attempts(cast: Cast, stranger: Api) -> None:
    cast.inspector  # noqa: B018 - makes the account
    for _ in range(30):
        body = stranger.post("session", {"badge": "1001", "password": "wrong"})
        if stranger.status == 429:
            break
    assert (stranger.status, body["code"]) == (429, "too_many_attempts")
    assert int(stranger.response.headers["Retry-After"]) > 0
    assert "retry_at" in body["details"]


def test_answers_401_to_a_stranger_and_403_to_a_stale_token(cast: Cast, stranger: Api, api_of: Any) -> None:
    body = stranger.get("units")
    assert (stranger.status, body["code"]) == (401, "signed_out")
    assert stranger.response.headers["WWW-Authenticate"].startswith("Session")
    client = Client(enforce_csrf_checks=True)
    client.force_login(cast.inspector, backend="django.contrib.auth.backends.ModelBackend")
    answer = client.post("/api/v1/operations", "{}", content_type="application/json")
    assert (answer.status_code, answer.json()["code"]) == (403, "csrf")


def test_turns_somebody_away_who_left(cast: Cast, api_of: Any, fixed_now: Any) -> None:
    api = api_of(cast.inspector)
    mark_left(by=cast.keeper, person=cast.inspector, at=fixed_now)
    body = api.get("units")
    assert (api.status, body["code"]) == (401, "signed_out")


def test_refuses_an_act_that_lies_in_no_role_of_the_person(cast: Cast, api_of: Any) -> None:
    api = api_of(cast.customer_service)
    body = api.post("operations", {"device": "tablet 7", "operations": []})
    assert (api.status, body["code"]) == (403, "not_permitted")


def test_keeps_answers_out_of_caches(cast: Cast, api_of: Any) -> None:
    api = api_of(cast.inspector)
    api.get("session")
    assert "no-store" in api.response.headers["Cache-Control"]
