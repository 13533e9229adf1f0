"""Every address, asked by every role and by nobody, answers as docs/rights.md says."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from datetime import timedelta
from pathlib import Path
from typing import NamedTuple

import pytest
from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.test import Client, RequestFactory
from django.utils import timezone

from qcapp.lib.site_days import site_day
from qcapp.people.access import acts_of_view, needs, public, signed_in
from qcapp.people.models import Person
from qcapp.people.rights_table import addresses, as_markdown
from qcapp.people.roles import Act, Role
from qcapp.people.services import mark_left
from tests.cast import Cast

NOBODY = "00000000-0000-7000-8000-000000000000"
FILLED = {
    "uuid": NOBODY,
    "sheet": NOBODY,
    "article": NOBODY,
    "stage": "1",
    "calibration": "1",
    "deputy_id": "1",
    "issue": "1",
    "message_id": "1",
    "study": "1",
    "entry_id": "1",
}
EVERYBODY = "everybody"
SIGNED_IN = "whoever has signed in"
NOT_WALKED = {"/sign-out/"}  # it ends the session that walks; tests/people/test_pages.py signs out


class Line(NamedTuple):
    """One line of the second table, with an address that can be asked for."""

    address: str
    path: str
    looking: str
    sending: list[str]


def table() -> tuple[dict[str, set[str]], list[Line]]:
    """The document as a reader has it: the roles of each act, and the act of each address."""
    rows = [
        [cell.strip() for cell in line.strip("|").split("|")]
        for line in (Path(settings.BASE_DIR) / "docs" / "rights.md").read_text(encoding="utf-8").splitlines()
        if line.startswith("|") and not line.startswith("| ---")
    ]
    start = next(place for place, row in enumerate(rows) if row[0] == "address")
    roles = rows[0][1:]
    acts = {row[0]: {role for role, mark in zip(roles, row[1:], strict=True) if mark} for row in rows[1:start]}
    return acts, [line_of(*row) for row in rows[start + 1 :]]


def line_of(address: str, looking: str, sending: str) -> Line:
    path = re.sub(r"<(\w+)>", lambda name: FILLED.get(name[1], "X-1"), address.strip("`"))
    return Line(address.strip("`"), path, looking, sending.split("; "))


def asked() -> Iterator[tuple[str, Line, list[str]]]:
    """Method, line, and the acts of which one is enough."""
    for line in table()[1]:
        if line.address not in NOT_WALKED:
            yield "get", line, [line.looking]
            yield "post", line, line.sending


def answer(client: Client, method: str, path: str) -> str:
    """How an address answers: `sign in`, `not permitted`, `wrong method` or `heard`.

    Asked for JSON, because a refusal is then no page to render; test_pages.py looks at the pages.
    """
    response = getattr(client, method)(path, headers={"Accept": "application/json"})
    if response.status_code == 401 or response.headers.get("Location", "").startswith("/sign-in/"):
        return "sign in"
    if response.status_code == 403 and b"not_permitted" in response.content:
        return "not permitted"
    return "wrong method" if response.status_code == 405 else "heard"


def differing(client: Client, expected: Callable[[list[str]], set[str]]) -> list[str]:
    """Every address whose answer is not among the expected ones."""
    found = []
    for method, line, acts in asked():
        got = answer(client, method, line.path)
        if got not in expected(acts):
            found.append(f"{method} {line.path}: {got}, and the table says {acts}")
    return found


def test_is_written_down_for_every_address() -> None:
    assert (Path(settings.BASE_DIR) / "docs" / "rights.md").read_text(encoding="utf-8") == as_markdown()
    assert [address.path for address in addresses() if not address.acts] == []


@pytest.mark.django_db
def test_opens_to_nobody_what_needs_a_sign_in(client: Client) -> None:
    def expected(acts: list[str]) -> set[str]:
        return {"heard", "wrong method"} if EVERYBODY in acts else {"sign in", "wrong method"}

    assert differing(client, expected) == []


@pytest.mark.parametrize("role", list(Role))
def test_opens_to_a_role_what_the_table_says(cast: Cast, client_of: Callable[[Person], Client], role: Role) -> None:
    roles = table()[0]

    def expected(acts: list[str]) -> set[str]:
        if acts == [""]:
            return {"wrong method", "not permitted"}
        may = any(act in (EVERYBODY, SIGNED_IN) or role.label in roles[act] for act in acts)
        return {"heard", "wrong method"} if may else {"not permitted", "wrong method"}

    client = client_of(cast.with_role(role))
    assert differing(client, expected) == []


def test_opens_nothing_to_a_person_without_a_role(cast: Cast, client_of: Callable[[Person], Client]) -> None:
    def expected(acts: list[str]) -> set[str]:
        heard = {EVERYBODY, SIGNED_IN} & set(acts)
        return {"heard", "wrong method"} if heard else {"not permitted", "wrong method"}

    assert differing(client_of(cast.stranger_to_all_roles), expected) == []


@pytest.mark.parametrize("how", ["left today", "left yesterday, unnoticed by the session"])
def test_opens_to_somebody_who_left_what_everybody_sees(
    cast: Cast, client_of: Callable[[Person], Client], how: str
) -> None:
    """In a session that was open before: a quality manager, who could do most."""

    def expected(acts: list[str]) -> set[str]:
        return {"heard", "wrong method"} if EVERYBODY in acts else {"sign in", "wrong method"}

    person = cast.quality_manager
    client = client_of(person)
    assert answer(client, "get", "/plans/") == "heard"
    if how == "left today":
        mark_left(by=cast.keeper, person=person, at=timezone.now())
    else:
        Person.objects.filter(pk=person.pk).update(left_on=site_day(timezone.now()) - timedelta(days=1))
    assert differing(client, expected) == []


def page(request: HttpRequest) -> HttpResponse:
    return HttpResponse("heard")


def test_says_what_a_view_asks_for() -> None:
    assert acts_of_view(page) == {}
    assert acts_of_view(needs(Act.LOOK_AT_PLAN)(page)) == {"GET": Act.LOOK_AT_PLAN, "POST": Act.LOOK_AT_PLAN}
    both = needs(Act.LOOK_AT_PLAN, post=Act.IMPORT_PLAN)(page)
    assert acts_of_view(both) == {"GET": Act.LOOK_AT_PLAN, "POST": Act.IMPORT_PLAN}
    assert acts_of_view(signed_in(page)) == {"GET": "signed in", "POST": "signed in"}
    assert acts_of_view(public(lambda request: HttpResponse())) == {"GET": "public", "POST": "public"}


@pytest.mark.parametrize("method", ["POST", "PUT", "PATCH", "DELETE"])
def test_asks_for_the_right_to_send_whatever_the_method(cast: Cast, method: str) -> None:
    view = needs(Act.LOOK_AT_PLAN, post=Act.IMPORT_PLAN)(page)
    request = RequestFactory().generic(method, "/plans/")
    request.user = cast.welder
    request.resolver_match = None
    with pytest.raises(Exception, match="may not import an inspection plan"):
        view(request)
    request.user = cast.engineer
    assert view(request).content == b"heard"
