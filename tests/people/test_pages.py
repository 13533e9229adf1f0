"""The pages of people, as a browser meets them."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any
from urllib.parse import parse_qs, urlsplit

import pytest
from django.test import Client
from django.urls import reverse

from qcapp.audit.queries import head
from qcapp.people import queries
from qcapp.people.models import OpenSession, Person
from qcapp.people.roles import Role
from tests.cast import PASSWORD, Cast

Browser = Callable[[Person], Client]


def sign_in(client: Client, badge: str = "1001", password: str = PASSWORD, **more: str) -> Any:
    return client.post("/sign-in/", {"badge": badge, "password": password, **more})


def session_of(client: Client, person: Person) -> bool:
    return client.session.get("_auth_user_id") == str(person.pk)


def test_signs_in_by_badge_and_password(cast: Cast, client: Client) -> None:
    person = cast.inspector
    answer = client.get("/sign-in/")
    assert answer.status_code == 200
    assert "no-store" in answer["Cache-Control"]
    answer = sign_in(client, next="/account/")
    assert (answer.status_code, answer["Location"]) == (302, "/account/")
    assert session_of(client, person)
    page = client.get("/account/")
    assert "Ottoline Marsh" in page.text
    assert "record a result" in page.text
    assert page["Cache-Control"] == "private, no-store"


@pytest.mark.parametrize("badge", ["1001", "9999"])
def test_says_the_same_to_a_wrong_password_and_an_unknown_badge(cast: Cast, client: Client, badge: str) -> None:
    person = cast.inspector
    answer = sign_in(client, badge, "wrong guess of a password")
    assert answer.status_code == 403
    assert "Badge and password do not fit." in answer.text
    assert "wrong guess" not in answer.text
    assert not session_of(client, person)


def test_says_when_to_try_again(cast: Cast, client: Client) -> None:
    person = cast.inspector
    for _ in range(5):
        sign_in(client, password="wrong guess of a password")
    answer = sign_in(client)
    assert answer.status_code == 429
    assert 1 <= int(answer["Retry-After"]) <= 30
    assert "Try again at" in answer.text
    assert not session_of(client, person)


@pytest.mark.parametrize("fields", [{}, {"badge": "1001"}, {"badge": "x" * 50, "password": PASSWORD}])
def test_asks_for_both_fields(cast: Cast, client: Client, fields: dict[str, str]) -> None:
    assert client.post("/sign-in/", fields).status_code == 400
    assert head().number == 0


@pytest.mark.parametrize(
    "target",
    [
        "https://elsewhere.test/",
        "//elsewhere.test/",
        "/\\elsewhere.test",
        "javascript:alert(1)",
        "account/",
        "",
    ],
)
def test_leads_nowhere_but_to_this_site(cast: Cast, client: Client, target: str) -> None:
    cast.inspector.get_username()
    assert sign_in(client, next=target)["Location"] == "/"
    assert f'value="{target}"' not in client.get("/sign-in/", {"next": target}).text or target == ""


def test_gives_the_session_a_new_key_at_the_sign_in(cast: Cast, client: Client) -> None:
    cast.inspector.get_username()
    session = client.session
    session["before"] = "kept"
    session.save()
    before = session.session_key
    sign_in(client)
    assert client.session.session_key != before


def test_refuses_a_form_without_its_token(cast: Cast) -> None:
    person = cast.inspector
    strict = Client(enforce_csrf_checks=True)
    assert sign_in(strict).status_code == 403
    assert not session_of(strict, person)


def test_signs_out_by_sending_only(cast: Cast, client_of: Browser) -> None:
    client = client_of(cast.inspector)
    assert client.get("/sign-out/").status_code == 405
    assert session_of(client, cast.inspector)
    assert client.post("/sign-out/")["Location"] == "/sign-in/"
    assert not session_of(client, cast.inspector)


@pytest.mark.django_db
def test_sends_a_stranger_to_sign_in_and_back(client: Client) -> None:
    answer = client.get("/people/?left=1")
    assert answer.status_code == 302
    address = urlsplit(answer["Location"])
    assert address.path == "/sign-in/"
    assert parse_qs(address.query) == {"next": ["/people/?left=1"]}


@pytest.mark.django_db
def test_tells_whoever_sent_a_form_after_the_session_ended(client: Client) -> None:
    OpenSession.objects.all().delete()
    referer = "http://testserver/account/"
    answer = client.post("/account/pin/", {"pin-pin": "513846"}, headers={"Referer": referer})
    assert parse_qs(urlsplit(answer["Location"]).query) == {"next": ["/account/"], "ended": ["1"]}
    assert "was not stored" in client.get(answer["Location"]).text


@pytest.mark.django_db
@pytest.mark.parametrize("referer", ["http://testserver//elsewhere.test/x", "", "nonsense"])
def test_comes_back_to_the_first_page_when_the_form_was_nowhere(client: Client, referer: str) -> None:
    answer = client.post("/account/pin/", headers={"Referer": referer})
    assert parse_qs(urlsplit(answer["Location"]).query)["next"] == ["/"]


@pytest.mark.django_db
def test_tells_a_fragment_and_a_script_to_sign_in(client: Client) -> None:
    fragment = client.get("/people/", headers={"HX-Request": "true"})
    assert fragment.status_code == 401
    assert fragment["HX-Redirect"].startswith("/sign-in/?next=")
    script = client.get("/people/", headers={"Accept": "application/json"})
    assert script.status_code == 401
    assert script.json()["code"] == "sign_in_needed"


def test_opens_the_account_page_alone_to_a_temporary_password(cast: Cast, client_of: Browser) -> None:
    Person.objects.filter(pk=cast.keeper.pk).update(password_is_temporary=True)
    client = client_of(cast.keeper)
    assert client.get("/people/")["Location"] == "/account/"
    assert client.post("/account/pin/", {})["Location"] == "/account/"
    page = client.get("/account/")
    assert "Replace it now" in page.text
    assert "/account/pin/" not in page.text
    new = {"password-current": PASSWORD, "password-password": "seven loose hinges"}
    answer = client.post("/account/password/", new | {"password-again": "seven loose hinges"})
    assert answer.status_code == 302
    assert client.get("/people/").status_code == 200


def test_changes_the_own_password_and_stays_signed_in(cast: Cast, client_of: Browser) -> None:
    client = client_of(cast.inspector)
    new = {"password-current": PASSWORD, "password-password": "seven loose hinges"}
    answer = client.post("/account/password/", new | {"password-again": "seven loose hinges"}, follow=True)
    assert answer.status_code == 200
    assert "Your password is changed." in answer.text
    assert queries.person_by_badge("1001").check_password("seven loose hinges")


@pytest.mark.parametrize(
    ("current", "again", "status"),
    [
        ("wrong guess of a password", "seven loose hinges", 403),
        (PASSWORD, "seven loose hinge", 400),
        (PASSWORD, "", 400),
    ],
)
def test_keeps_the_old_password_unless_all_fits(
    cast: Cast, client_of: Browser, current: str, again: str, status: int
) -> None:
    client = client_of(cast.inspector)
    new = {"password-current": current, "password-password": "seven loose hinges", "password-again": again}
    answer = client.post("/account/password/", new)
    assert answer.status_code == status
    assert "seven loose" not in answer.text
    assert queries.person_by_badge("1001").check_password(PASSWORD)


def test_sets_the_own_pin_after_the_password(cast: Cast, client_of: Browser) -> None:
    client = client_of(cast.inspector)
    before = queries.person_by_badge("1001").pin
    simple = {"pin-current": PASSWORD, "pin-pin": "123456", "pin-again": "123456"}
    answer = client.post("/account/pin/", simple)
    assert answer.status_code == 400
    assert "too easy to guess" in answer.text
    assert queries.person_by_badge("1001").pin == before
    fitting = {"pin-current": PASSWORD, "pin-pin": "513846", "pin-again": "513846"}
    assert client.post("/account/pin/", fitting).status_code == 302
    assert queries.person_by_badge("1001").pin != before


def test_walks_a_newcomer_from_the_badge_to_the_first_sign_in(cast: Cast, client_of: Browser) -> None:
    keeper = client_of(cast.keeper)
    answer = keeper.post("/people/add/", {"badge": "2001", "name": "Florian Beck-Amsel", "initials": "FB"})
    page = answer["Location"]
    assert keeper.get(page).status_code == 200
    assert keeper.post(f"{page}roles/", {"role-role": "inspector"}).status_code == 302
    told = keeper.post(f"{page}password/")
    given = re.search(r'<code class="given">([a-z-]+)</code>', told.text)
    assert (told.status_code, told["Cache-Control"]) == (200, "private, no-store")
    assert given
    assert given[1] not in keeper.get(page).text
    assert keeper.post(f"{page}pin/", {"pin-pin": "927415"}).status_code == 302
    assert "inspector" in keeper.get("/people/").text
    newcomer = Client()
    assert sign_in(newcomer, "2001", given[1])["Location"] == "/"
    assert "record a result" in newcomer.get("/account/").text


def test_names_and_ends_a_deputy_by_badge(cast: Cast, client_of: Browser) -> None:
    keeper, engineer, stand_in = client_of(cast.keeper), cast.engineer, cast.welding_coordinator
    page = reverse("people:person", kwargs={"uuid": engineer.uuid})
    dates = {"deputy-starts_on": "2026-01-01", "deputy-ends_on": "2099-12-31", "deputy-role": "engineer"}
    unknown = keeper.post(f"{page}deputies/", dates | {"deputy-deputy": "9999"})
    assert unknown.status_code == 404
    assert "No person has the badge" in unknown.text
    assert keeper.post(f"{page}deputies/", dates | {"deputy-deputy": stand_in.badge}).status_code == 302
    (row,) = queries.deputy_rows(engineer)
    assert stand_in.name in keeper.get(page).text
    assert keeper.post(f"{page}deputies/{row.id}/end/").status_code == 302
    assert queries.deputy_rows(engineer)[0].ends_on < row.ends_on


def test_changes_a_name_and_ends_roles_and_work(cast: Cast, client_of: Browser) -> None:
    keeper, welder = client_of(cast.keeper), cast.welder
    page = reverse("people:person", kwargs={"uuid": welder.uuid})
    assert keeper.post(f"{page}change/", {"change-name": "Casimir Lund", "change-initials": "CL"}).status_code == 302
    assert "Casimir Lund" in keeper.get(page).text
    assert keeper.post(f"{page}roles/end/", {"end-role": "welder"}).status_code == 302
    assert queries.role_rows(welder)[0].ends_on is not None
    assert keeper.post(f"{page}leave/", {}).status_code == 302
    assert not queries.person_by_badge("1011").is_active
    assert "Casimir Lund" not in keeper.get("/people/").text
    assert "Casimir Lund" in keeper.get("/people/?left=1").text


@pytest.mark.parametrize(
    ("path", "fields", "status", "words"),
    [
        ("roles/", {"role-role": "welder"}, 409, "already is welder"),
        ("roles/", {"role-role": "owner"}, 400, "owner"),
        ("roles/end/", {"end-role": "engineer"}, 404, "nothing ends"),
        ("pin/", {"pin-pin": "111111"}, 400, "too easy"),
        ("change/", {"change-name": "", "change-initials": "CV"}, 400, "required"),
        ("leave/", {"leave-last_day": "soon"}, 400, "valid date"),
    ],
)
def test_shows_what_was_wrong_and_changes_nothing(
    cast: Cast, client_of: Browser, path: str, fields: dict[str, str], status: int, words: str
) -> None:
    keeper, welder = client_of(cast.keeper), cast.welder
    before = Person.objects.values().get(pk=welder.pk)
    answer = keeper.post(f"/people/{welder.uuid}/{path}", fields)
    assert answer.status_code == status
    assert words in answer.text
    assert Person.objects.values().get(pk=welder.pk) == before
    assert head().number == 0


def test_refuses_a_badge_that_is_taken_and_keeps_the_form(cast: Cast, client_of: Browser) -> None:
    keeper, welder = client_of(cast.keeper), cast.welder
    answer = keeper.post("/people/add/", {"badge": welder.badge, "name": "Florian Beck-Amsel", "initials": "FB"})
    assert answer.status_code == 409
    assert "is taken" in answer.text
    assert 'value="Florian Beck-Amsel"' in answer.text


def test_shows_a_name_as_text_whatever_is_in_it(cast: Cast, client_of: Browser) -> None:
    Person.objects.filter(pk=cast.welder.pk).update(name="<script>alert(1)</script>")
    page = client_of(cast.keeper).get("/people/").text
    assert "<script>alert" not in page
    assert "&lt;script&gt;" in page


@pytest.mark.parametrize("role", [role for role in Role if role is not Role.KEEPER])
def test_shows_people_to_the_keeper_alone(cast: Cast, client_of: Browser, role: Role) -> None:
    client = client_of(cast.with_role(role))
    answer = client.get("/people/")
    assert answer.status_code == 403
    assert "keeper" in answer.text
    assert client.post("/people/add/", {"badge": "2001", "name": "F B", "initials": "FB"}).status_code == 403
    assert not Person.objects.filter(badge="2001").exists()


def test_takes_few_queries_a_page(cast: Cast, client_of: Browser, django_assert_max_num_queries: Any) -> None:
    for role in Role:
        cast.with_role(role)
    client = client_of(cast.keeper)
    for page in ("/people/", f"/people/{cast.deputy.uuid}/", "/account/", "/audit/"):
        with django_assert_max_num_queries(13):
            assert client.get(page).status_code == 200


def test_carries_no_inline_style_or_script(cast: Cast, client_of: Browser) -> None:
    client = client_of(cast.keeper)
    for page in (
        "/sign-in/",
        "/people/",
        "/people/add/",
        f"/people/{cast.deputy.uuid}/",
        "/account/",
        "/audit/",
    ):
        text = client.get(page).text
        assert " style=" not in text
        assert "<style" not in text
        assert " onclick=" not in text
