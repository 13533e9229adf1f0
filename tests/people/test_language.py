"""The language of the floor pages follows the badge."""

from __future__ import annotations

from typing import Any

import pytest

from qcapp.people.services import set_language
from tests.cast import FIXED_NOW, Cast
from tests.unchanged import refused

pytestmark = pytest.mark.django_db


def test_speaks_the_chosen_language_on_the_floor_and_english_in_the_office(cast: Cast, client_of: Any) -> None:
    client = client_of(cast.inspector)
    assert client.post("/account/language/", {"language": "de"}).status_code == 302
    floor = client.get("/floor/")
    assert 'lang="de"' in floor.content.decode()
    assert "Seriennummer scannen" in floor.content.decode()
    assert "Change my password" in client.get("/account/").content.decode()
    assert "Scan or type" in client_of(cast.second_inspector).get("/floor/").content.decode()
    assert client.get("/api/v1/session").json()["person"]["language"] == "de"


def test_refuses_a_language_that_nobody_speaks_here(cast: Cast) -> None:
    inspector = cast.inspector
    with refused("language_unknown", "people"):
        set_language(by=inspector, language="xx", at=FIXED_NOW)


def test_sends_the_words_as_a_document_that_everybody_may_keep(client: Any) -> None:
    answer = client.get("/floor/words/es/")
    assert answer.json()["Near limit"] == "Cerca del límite"
    assert client.get("/floor/words/fr/").status_code == 404
