"""The language of the pages follows the badge."""

from __future__ import annotations

from typing import Any

import pytest

from qcapp.people.services import set_language
from qcapp.people.tablet_guard import COOKIE
from tests.cast import FIXED_NOW, Cast
from tests.factories.tablets import enrolled
from tests.unchanged import refused

pytestmark = pytest.mark.django_db


def test_speaks_the_chosen_language_on_the_floor_and_in_the_office(cast: Cast, client_of: Any) -> None:
    client = client_of(cast.inspector)
    assert client.post("/account/language/", {"language": "de"}).status_code == 302
    floor = client.get("/floor/")
    assert 'lang="de"' in floor.content.decode()
    assert "Seriennummer scannen" in floor.content.decode()
    office = client.get("/account/").content.decode()
    assert '<html lang="de">' in office
    assert "Zum Inhalt" in office
    assert "Scan or type" in client_of(cast.second_inspector).get("/floor/").content.decode()
    assert client.get("/api/v1/session").json()["person"]["language"] == "de"


def test_speaks_english_in_the_office_to_who_chose_a_language_of_what_is_met_on_a_tablet(
    cast: Cast, client_of: Any
) -> None:
    client = client_of(cast.inspector)
    client.post("/account/language/", {"language": "es"})
    office = client.get("/gauges/").content.decode()
    assert '<html lang="en">' in office
    assert "Gauges" in office
    for address, said in (("/account/", "Cambiar mi contraseña"), ("/goods/", "Todavía no hay ninguna colada")):
        met = client.get(address).content.decode()
        assert '<html lang="es">' in met
        assert said in met
    assert 'lang="es"' in client.get("/floor/").content.decode()


def test_tells_what_a_shared_tablet_is_refused_in_the_persons_language(cast: Cast, client_of: Any) -> None:
    client = client_of(cast.inspector)
    client.post("/account/language/", {"language": "es"})
    _, client.cookies[COOKIE] = enrolled(cast.keeper, FIXED_NOW)
    page = client.get("/plans/").content.decode()
    assert "Una tableta compartida solo abre las páginas del taller." in page


def test_speaks_the_language_of_a_strangers_browser_and_says_that_it_looked(client: Any) -> None:
    german = client.get("/sign-in/", headers={"accept-language": "de-CH, fr;q=0.8"})
    assert '<html lang="de">' in german.content.decode()
    assert "Accept-Language" in german["Vary"]
    assert "Iniciar sesión" in client.get("/sign-in/", headers={"accept-language": "es"}).content.decode()
    for other in ("fr", "en-GB", ""):
        assert '<html lang="en">' in client.get("/sign-in/", headers={"accept-language": other}).content.decode()


def test_tells_a_refusal_in_the_persons_language_also_where_no_page_was_found(cast: Cast, client_of: Any) -> None:
    client = client_of(cast.inspector)
    client.post("/account/language/", {"language": "de"})
    for address in ("/nowhere/", "/units/NONE-1/"):
        assert '<html lang="de">' in client.get(address).content.decode()


def test_refuses_a_language_that_nobody_speaks_here(cast: Cast) -> None:
    inspector = cast.inspector
    with refused("language_unknown", "people"):
        set_language(by=inspector, language="xx", at=FIXED_NOW)


def test_sends_the_words_as_a_document_that_everybody_may_keep(client: Any) -> None:
    answer = client.get("/floor/words/es/")
    assert answer.json()["Near limit"] == "Cerca del límite"
    assert client.get("/floor/words/fr/").status_code == 404
