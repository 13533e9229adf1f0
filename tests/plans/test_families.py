"""A part family is added by page and API; a new site has none, and no unit can be opened without one."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.test import Client

from qcapp.people.models import Person
from qcapp.production.queries import families
from tests.cast import Cast
from tests.unchanged import unchanged

ClientOf = Callable[[Person], Client]
WHAT = {"code": "FR-200", "name": "trike frame", "serial_pattern": "FR-200-{number:4}", "certificate_prefix": "FR"}
pytestmark = pytest.mark.django_db


def test_is_added_on_a_page_that_leads_on_to_its_first_plan(cast: Cast, client_of: ClientOf) -> None:
    engineer = client_of(cast.engineer)
    assert "Add the first one, then import its plan." in engineer.get("/plans/").content.decode()
    answer = engineer.post("/plans/families/add/", WHAT, follow=True)
    assert answer.redirect_chain == [("/plans/import/?family=FR-200", 302)]
    assert "Family FR-200 is added." in answer.content.decode()
    assert 'value="FR-200" selected' in answer.content.decode()
    (family,) = families()
    assert {name: getattr(family, name) for name in WHAT} == WHAT


def test_is_added_through_the_api(cast: Cast, client_of: ClientOf) -> None:
    manager = client_of(cast.quality_manager)
    answer = manager.post("/api/v1/families", WHAT, content_type="application/json")
    assert (answer.status_code, answer.json()) == (201, WHAT)
    assert manager.get("/api/v1/families").json() == {"families": [WHAT]}


@pytest.mark.parametrize(
    ("changes", "status", "says"),
    [
        ({"code": "fr 200"}, 400, "capitals, digits and dashes"),
        ({"serial_pattern": "FR-200"}, 400, "Example: FR-200-{number:4}"),
        ({"certificate_prefix": "F R"}, 400, "The prefix of certificate numbers"),
        ({"name": ""}, 400, "required"),
        ({}, 409, "There is a part family FR-200 already"),
    ],
)
def test_is_refused_with_a_sentence(
    cast: Cast, client_of: ClientOf, changes: dict[str, str], status: int, says: str
) -> None:
    manager = client_of(cast.quality_manager)
    if status == 409:
        manager.post("/plans/families/add/", WHAT)
    with unchanged():
        answer = manager.post("/plans/families/add/", WHAT | changes)
    assert answer.status_code == status
    assert says in answer.content.decode()


def test_is_not_added_by_an_inspector(cast: Cast, client_of: ClientOf) -> None:
    inspector = client_of(cast.inspector)
    assert "Add a part family" not in inspector.get("/plans/").content.decode()
    with unchanged():
        assert inspector.post("/plans/families/add/", WHAT).status_code == 403
