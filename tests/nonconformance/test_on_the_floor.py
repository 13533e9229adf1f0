"""Rework and repair as work on the floor, also on a shared tablet."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client

from qcapp.people.models import Person
from qcapp.people.tablet_guard import ALLOWED

from ..factories.nonconformance import Case
from ..unchanged import unchanged

pytestmark = pytest.mark.django_db
ROOMS = ("nonconformance", "inspections", "production")
Browser = Callable[[Person], Client]


@pytest.fixture
def decided(case: Case) -> Case:
    """Rework decided: two steps, to be started."""
    return case.decide(steps=["Clamp it.", "Press 0.4 mm over."])


def test_walks_a_correction_on_the_floor(
    decided: Case, client_of: Browser, django_assert_max_num_queries: Callable[[int], Any]
) -> None:
    client, address = client_of(decided.cast.welder), f"/floor/corrections/{decided.number}/"
    assert "Corrections to be done: 1" in client.get("/floor/").text
    assert address in client.get("/floor/corrections/").text
    client.get(address)
    with django_assert_max_num_queries(20):
        page = client.get(address).text
    assert "Straighten in the restraint." in page
    assert "Confirm step" not in page  # before the start
    for act, note in (("start", ""), ("1", "By hand."), ("2", "")):
        assert client.post(address, {"act": act, "note": note})["Location"] == address
    page = client.get(address).text
    assert "Press 0.4 mm over." in page
    assert "By hand." in page
    client.post(address, {"act": "finish", "note": "Pressed once."})
    assert decided.state == "to_be_verified"
    assert "somebody else inspects again" in client.get(address).text
    assert "No rework or repair waits." in client.get("/floor/corrections/").text


@pytest.mark.parametrize(("act", "status"), [("finish", 409), ("1", 409), ("9", 409), ("jump", 400), ("1\u0663", 400)])
def test_refuses_what_is_out_of_turn(decided: Case, client_of: Browser, act: str, status: int) -> None:
    client = client_of(decided.cast.welder)
    with unchanged(*ROOMS):
        answer = client.post(f"/floor/corrections/{decided.number}/", {"act": act, "note": "Pressed <once>."})
    assert answer.status_code == status
    assert 'role="alert"' in answer.text


def test_keeps_what_was_typed_when_a_step_is_open(decided: Case, client_of: Browser) -> None:
    decided.start()
    answer = client_of(decided.cast.welder).post(
        f"/floor/corrections/{decided.number}/", {"act": "finish", "note": "Pressed <once>."}
    )
    assert (answer.status_code, "Pressed &lt;once&gt;." in answer.text) == (409, True)


def test_is_open_to_who_corrects_and_to_shared_tablets(decided: Case, client_of: Browser) -> None:
    for person, status in ((decided.cast.welder, 200), (decided.cast.customer_service, 403)):
        assert client_of(person).get("/floor/corrections/").status_code == status
    assert ALLOWED["capture:correction"] == {"GET", "POST"}
    assert client_of(decided.cast.welder).get("/floor/corrections/NCR-2026-0099/").status_code == 404


def test_shows_nothing_to_do_on_a_report_without_a_correction(decided: Case, client_of: Browser) -> None:
    other = Case.by_hand(decided.workshop)
    page = client_of(decided.cast.welder).get(f"/floor/corrections/{other.number}/").text
    assert "Nothing is to be corrected here now." in page
