"""Each page of the office has two sentences of help in English and German, and a link to a guide that is there.

What is met on a tablet has them in Spanish too.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from django.test import Client
from django.urls import URLResolver, get_resolver

from qcapp.config.helping import DOCUMENTS, GUIDES, OF_ROLE, OPEN_PICTURES, guide_for, help_for, table
from qcapp.lib.on_tablets import PAGES
from qcapp.people.models import Person
from qcapp.people.roles import Role
from tests.cast import Cast

ClientOf = Callable[[Person], Client]
NO_PAGE = re.compile(r"\.(pdf|csv|xlsx|json|ics|svg|png|zip|js|<str:form>|<form>)$")
OTHERS = ("api:", "capture:", "health:", "evidence:")  # programs, the floor's own pages, files


def names(patterns: Any = None, place: str = "") -> Iterator[tuple[str, str]]:
    """Name and route of every address."""
    for pattern in get_resolver().url_patterns if patterns is None else patterns:
        if isinstance(pattern, URLResolver):
            yield from names(pattern.url_patterns, f"{pattern.namespace}:" if pattern.namespace else place)
        else:
            yield f"{place}{pattern.name or ''}", str(pattern.pattern)


def office() -> list[str]:
    found = [name for name, route in names() if not NO_PAGE.search(route) and not name.startswith(OTHERS)]
    return sorted({name for name in found if not name.startswith("guide_picture") and not name.startswith("schema")})


@pytest.mark.parametrize("language", ["en", "de"])
def test_has_two_sentences_for_every_page(language: str) -> None:
    assert len(office()) > 100
    for name in office():
        told = help_for(name, language)
        assert told, name
        assert told.language == language
        assert len(re.findall(r"[.;?!](?= |$)", told.text)) >= 2, name
        assert (DOCUMENTS / f"{told.guide}.md").is_file(), told.guide


def test_speaks_spanish_on_what_is_met_on_a_tablet() -> None:
    met = sorted(name for name in PAGES if not name.startswith(OTHERS) and name != "people:sign_out")
    assert len(met) > 30
    for name in met:
        told = help_for(name, "es")
        assert told, name
        assert (told.language, len(re.findall(r"[.;?!](?= |$)", told.text)) >= 2) == ("es", True), name


def test_names_no_page_that_is_gone() -> None:
    known = {name for name, _ in names()}
    assert [name for name in table() if not name.endswith(":*") and name not in known] == []


def test_speaks_english_to_who_asked_for_another_language() -> None:
    told = help_for("people:people", "es")
    assert told
    assert told.language == "en"
    assert help_for("nobody:knows", "en") is None


def test_shows_it_closed_at_the_foot_of_a_page(cast: Cast, client_of: ClientOf) -> None:
    keeper = cast.keeper
    page = client_of(keeper).get("/people/").content.decode()
    assert '<details class="page-help"><summary>Help on this page</summary>' in page
    assert 'href="/guide/guides/keeper/"' in page
    Person.objects.filter(pk=keeper.pk).update(language="de")
    german = client_of(keeper).get("/people/").content.decode()
    assert "Hilfe zu dieser Seite" in german
    assert '<p lang="de">Eine Person darf' in german


@pytest.mark.parametrize("name", [name for name, _ in GUIDES])
def test_shows_every_guide_with_links_that_lead_somewhere(cast: Cast, client_of: ClientOf, name: str) -> None:
    client = client_of(cast.keeper)
    page = client.get(f"/guide/{name}/").content.decode()
    assert '<h1 id="' in page
    inside = page.partition("<article")[2].partition("</article>")[0]
    assert re.findall(r'(?:href|src)="(?!/guide/|#|https?:)([^"]*)"', inside) == []
    linked = set(re.findall(r'(?:href|src)="(/guide/[^"#]+)', page))
    assert [path for path in sorted(linked) if client.get(path).status_code != 200] == []


@pytest.mark.parametrize("name", ["../README", "guides/../../manage", "nothing", "pictures/..", "deploy/qcapp.env"])
def test_shows_no_other_file(cast: Cast, client_of: ClientOf, name: str) -> None:
    client = client_of(cast.keeper)
    assert client.get(f"/guide/{name}/").status_code == 404
    assert client.get(f"/guide/pictures/{Path(name).name}.txt").status_code == 404


def test_shows_no_guide_to_a_stranger_but_how_a_certificate_is_checked(client: Client) -> None:
    assert client.get("/guide/guides/keeper/").status_code == 302
    assert client.get("/guide/pictures/people.png").status_code == 302
    page = client.get("/guide/guides/checking/").content.decode()
    assert "Checking a certificate" in page
    assert set(re.findall(r'src="/guide/pictures/([^"]+)"', page)) == set(OPEN_PICTURES)
    assert {client.get(f"/guide/pictures/{name}").status_code for name in OPEN_PICTURES} == {200}
    assert "/guide/guides/keeper/" not in page


@pytest.mark.django_db
def test_leads_a_stranger_from_the_check_page_to_its_guide(client: Client) -> None:
    page = client.get("/check/").content.decode()
    assert 'href="/guide/guides/checking/"' in page
    assert 'href="/guide/' not in client.get("/sign-in/").content.decode()


@pytest.mark.parametrize(
    ("page", "role", "guide"),
    [
        ("gauges:list", Role.METROLOGY, "metrology"), ("gauges:list", Role.INSPECTOR, "inspector"),
        ("plans:revision", Role.ENGINEER, "engineer"), ("plans:revision", Role.KEEPER, "quality-manager"),
        ("capture:bench", Role.WELDER, "welder"), ("capture:bench", Role.ASSEMBLER, "inspector"),
        ("capture:lot", Role.GOODS_IN, "goods-in"), ("customers:dispatch", Role.DISPATCH, "dispatch"),
        ("production:welding", Role.WELDING_COORDINATOR, "welding-coordinator"),
        ("history:unit", Role.CUSTOMER_SERVICE, "customer-service"), ("history:unit", Role.KEEPER, "keeper"),
    ],
)  # fmt: skip
def test_leads_to_the_guide_of_the_person_who_uses_the_page(page: str, role: Role, guide: str) -> None:
    assert guide_for(page, {role}) == f"guides/{guide}"
    assert (DOCUMENTS / "guides" / f"{guide}.md").is_file()


def test_names_only_guides_that_are_there() -> None:
    told = {one for row in table().values() for one in (row["guide"], *row.get("also", []))}
    assert [one for one in sorted(told) if not (DOCUMENTS / f"{one}.md").is_file()] == []
    assert set(OF_ROLE.values()) <= told


def test_leads_from_the_floor_to_the_guide_of_who_works_there(cast: Cast, client_of: ClientOf) -> None:
    welder = client_of(cast.welder).get("/floor/").content.decode()
    assert 'href="/guide/guides/welder/"' in welder
    inspector = client_of(cast.inspector).get("/floor/").content.decode()
    assert 'href="/guide/guides/inspector/"' in inspector
