"""The page of the audit chain."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from django.db.models import QuerySet
from django.test import Client
from pytest_django import Settings

from qcapp.audit.models import ChainHead, Entry
from qcapp.audit.services import anchor, record
from qcapp.audit.verbs import Verb
from qcapp.lib.guards import lifted
from qcapp.people import services
from qcapp.people.models import Person
from tests.cast import FIXED_NOW, Cast

Browser = Callable[[Person], Client]


@pytest.fixture(autouse=True)
def _data_folder(settings: Settings, tmp_path: Path) -> None:
    settings.QCAPP_DATA_DIR = tmp_path


def add_people(cast: Cast, count: int) -> None:
    for number in range(count):
        badge = f"{3000 + number}"
        services.add_person(by=cast.keeper, badge=badge, name=f"Newcomer {number}", initials="N", at=FIXED_NOW)


def test_shows_acts_newest_first_with_names(cast: Cast, client_of: Browser) -> None:
    add_people(cast, 2)
    page = client_of(cast.keeper).get("/audit/").text
    assert page.index("person 3001") < page.index("person 3000")
    assert "person added" in page
    assert cast.keeper.name in page
    assert "name: Newcomer 1" in page
    assert "17 Mar 2026" in page


def test_names_the_system_where_nobody_acted(cast: Cast, client_of: Browser) -> None:
    services.add_person(by=None, badge="3000", name="Newcomer", initials="N", at=FIXED_NOW)
    assert "the system" in client_of(cast.keeper).get("/audit/").text


def test_filters_by_what_an_act_is_about(cast: Cast, client_of: Browser) -> None:
    add_people(cast, 3)
    client = client_of(cast.keeper)
    page = client.get("/audit/", {"about": "person 3001"}).text
    assert "Newcomer 1" in page
    assert "Newcomer 2" not in page
    assert "No entry is about" in client.get("/audit/", {"about": "unit FR-200-0147"}).text


def test_pages_back_to_older_acts(cast: Cast, client_of: Browser) -> None:
    add_people(cast, 60)
    client = client_of(cast.keeper)
    first = client.get("/audit/").text
    assert "before=11" in first
    older = client.get("/audit/?before=11").text
    assert "Newcomer 9" in older
    assert "Newcomer 10" not in older
    assert "Older entries" not in older


@pytest.mark.parametrize("query", ["?before=x", "?before=-1", "?before=" + "9" * 40, "?about=%00", "?before=²"])
def test_takes_any_address(cast: Cast, client_of: Browser, query: str) -> None:
    assert client_of(cast.keeper).get(f"/audit/{query}").status_code == 200


def test_says_that_the_chain_holds_and_how_far_it_is_anchored(cast: Cast, client_of: Browser) -> None:
    add_people(cast, 2)
    anchor(at=FIXED_NOW)
    add_people(cast, 0)
    client = client_of(cast.quality_manager)
    assert "entry 2 was the last one anchored" in client.get("/audit/").text
    page = client.post("/audit/check/").text
    assert "The chain holds." in page
    assert "2 entries and 1 anchors" in page


def test_says_which_entry_is_broken(cast: Cast, client_of: Browser) -> None:
    add_people(cast, 3)
    with lifted("a test plays the intruder", [Entry._meta.db_table]):
        QuerySet(Entry).filter(number=2).update(subject="person 9999")
    page = client_of(cast.keeper).post("/audit/check/").text
    assert "The chain does not hold." in page
    assert "Entry 2 was altered" in page


def test_says_that_the_anchors_know_more(cast: Cast, client_of: Browser) -> None:
    add_people(cast, 2)
    anchor(at=FIXED_NOW)
    ChainHead.objects.all().delete()
    assert "begun anew" in client_of(cast.keeper).post("/audit/check/").text


def test_is_closed_to_the_floor(cast: Cast, client_of: Browser) -> None:
    client = client_of(cast.inspector)
    assert client.get("/audit/").status_code == 403
    assert client.post("/audit/check/").status_code == 403


def test_tells_acts_in_the_language_of_the_reader_and_takes_its_words_to_filter_by(
    cast: Cast, client_of: Browser
) -> None:
    add_people(cast, 2)
    Person.objects.filter(pk=cast.keeper.pk).update(language="de")
    client = client_of(Person.objects.get(pk=cast.keeper.pk))
    for about in ("Person 3001", "person 3001", "Person hinzugefügt"):
        page = client.get("/audit/", {"about": about}).text
        assert "Person hinzugefügt" in page
        assert ">Person 3001</a>" in page
        assert ("Person 3000" in page) is (about == "Person hinzugefügt")
    assert "Person hinzugefügt" not in client.get("/audit/", {"about": "Einheit FR-200-0147"}).text


def test_tells_each_field_of_a_change_by_itself_and_nothing_of_what_is_empty(cast: Cast, client_of: Browser) -> None:
    payload = {"before": {"language": "en", "email": ""}, "note": "", "changed": ["language"], "held": 0}
    record(verb=Verb.PERSON_CHANGED, actor=None, subject="person 1001", at=FIXED_NOW, payload=payload)
    page = client_of(cast.keeper).get("/audit/").text
    assert "before, language: en · changed: language · held: 0" in page
    assert "{" not in page.split("before, language")[1].partition("</td>")[0]
