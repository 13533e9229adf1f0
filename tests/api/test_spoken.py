"""Refusals in the language that follows the badge: on what a tablet asks, and nowhere else."""

from __future__ import annotations

import pytest
from django.test import Client

from qcapp.inspections.models import Result

from ..factories.inspections import Workshop

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def german(workshop: Workshop, client: Client) -> Client:
    person = workshop.cast.inspector
    person.language = "de"
    person.save(update_fields=["language"])
    client.force_login(person)
    return client


def test_refuses_an_entry_in_the_language_of_who_sends_it(workshop: Workshop, german: Client) -> None:
    operation = workshop.operation("head_angle", "61.94") | {"round": 4}
    body = {"device": "tablet-1", "operations": [operation]}
    found = german.post("/api/v1/operations", body, content_type="application/json").json()["operations"][0]
    assert (found["outcome"], found["code"]) == ("rejected", "round_not_open")
    assert found["message"].startswith("Runde 4 von ")
    assert Result.objects.count() == 0


def test_says_in_it_what_blocks_a_stage(workshop: Workshop, german: Client) -> None:
    stages = german.get(f"/api/v1/units/{workshop.serial}/bench").json()["stages"]
    assert any("kommt zuerst und ist nicht unterschrieben." in stage["blocked_by"] for stage in stages)


def test_answers_nobody_in_the_language_of_the_tablets_page(client: Client) -> None:
    answer = client.get("/api/v1/units/FR-200-0001/bench", headers={"Accept-Language": "es"})
    assert answer.status_code == 401
    assert answer.json()["message"].startswith("Nadie ha iniciado sesión.")


def test_stays_english_where_no_tablet_asks(german: Client) -> None:
    answer = german.get("/api/v1/plans/0190a000-0000-7000-8000-000000000000").json()
    assert "plan" in answer["message"].lower()
    assert german.get("/api/v1/certificates/none/1").json()["message"].isascii()
