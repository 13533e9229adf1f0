"""Accounts: adding, changing, secrets, leaving."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import date, timedelta
from typing import Any

import pytest
from django.contrib.auth.password_validation import validate_password
from django.db import transaction
from django.db.utils import IntegrityError
from django.test import Client

from qcapp.audit.queries import entries_about, head
from qcapp.core.errors import Conflict, Invalid, NotAllowed, NotFound, QcError, Refused
from qcapp.people import queries, services
from qcapp.people.models import Person, RoleAssignment
from qcapp.people.roles import Act, Role
from tests.cast import FIXED_NOW, PASSWORD, Cast
from tests.factories.people import DeputyFactory, PersonFactory

NEWCOMER: dict[str, Any] = {"badge": "2001", "name": "Florian Beck-Amsel", "initials": "FB"}
TODAY = FIXED_NOW.date()


def add(cast: Cast, **changes: Any) -> Person:
    return services.add_person(by=cast.keeper, at=FIXED_NOW, **(NEWCOMER | changes))


def everything() -> list[tuple[Any, ...]]:
    """All that a refusal has to leave as it is."""
    people = list(Person.objects.order_by("pk").values_list("pk", "badge", "name", "password", "pin", "left_on"))
    roles = list(RoleAssignment.objects.order_by("pk").values_list("pk", "person", "role", "ends_on"))
    return [*people, *roles, (head().number,)]


def refused(act: Callable[[], object], kind: type[QcError], code: str) -> None:
    """Check that the act raises the refusal and changes nothing."""
    before = everything()
    with pytest.raises(kind) as caught:
        act()
    assert caught.value.code == code
    assert everything() == before


def test_adds_a_person_without_rights_or_secrets(cast: Cast) -> None:
    person = add(cast, badge=" a-17 ", name="  Florian   Beck-Amsel ", stamp="W17", email="f@example.test")
    stored = queries.person_by_badge("A-17")
    assert (stored.name, stored.stamp, stored.joined_on) == ("Florian Beck-Amsel", "W17", TODAY)
    assert not stored.has_usable_password()
    assert stored.pin == ""
    assert queries.roles_of(person, FIXED_NOW) == frozenset()
    (entry,) = entries_about("person A-17")
    assert (entry.verb, entry.actor) == ("person.added", str(cast.keeper.uuid))


@pytest.mark.parametrize(
    "changes",
    [
        {"badge": ""},
        {"badge": "20 01"},
        {"badge": "2" * 21},
        {"badge": "-2001"},
        {"name": "   "},
        {"name": "x" * 121},
        {"name": "Flo\0rian"},
        {"initials": ""},
        {"initials": "FBAMSEL"},
        {"email": "nowhere"},
        {"stamp": "W" * 13},
    ],
)
def test_refuses_what_an_account_cannot_hold(cast: Cast, changes: dict[str, str]) -> None:
    cast.keeper.get_username()
    refused(lambda: add(cast, **changes), Invalid, "person_invalid")


def test_refuses_a_badge_or_stamp_that_is_taken(cast: Cast) -> None:
    add(cast, badge="A-17", stamp="W17")
    refused(lambda: add(cast, badge="a-17"), Conflict, "badge_taken")
    refused(lambda: add(cast, stamp="W17"), Conflict, "stamp_taken")
    add(cast, badge="2002", stamp="")
    add(cast, badge="2003", stamp="")


@pytest.mark.django_db
def test_keeps_a_badge_once_whatever_its_case_in_the_database_too() -> None:
    PersonFactory(badge="A-17")
    with pytest.raises(IntegrityError), transaction.atomic():
        PersonFactory(badge="a-17")


@pytest.mark.parametrize("role", [role for role in Role if role is not Role.KEEPER])
def test_lets_only_the_keeper_add_people(cast: Cast, role: Role) -> None:
    person = cast.with_role(role)
    refused(lambda: services.add_person(by=person, at=FIXED_NOW, **NEWCOMER), NotAllowed, "not_permitted")


def test_adds_the_first_keeper_from_the_shell(cast: Cast) -> None:
    person = services.add_person(by=None, at=FIXED_NOW, **NEWCOMER)
    services.give_role(by=None, person=person, role=Role.KEEPER, at=FIXED_NOW)
    assert queries.may(person, Act.KEEP_PEOPLE, FIXED_NOW)
    assert [entry.actor for entry in entries_about("person 2001")] == ["", ""]


def test_writes_down_what_was_changed(cast: Cast) -> None:
    services.change_person(
        by=cast.keeper, person=cast.welder, name="Casimir Lund", initials="CL", email="", at=FIXED_NOW
    )
    assert queries.person_by_badge("1011").name == "Casimir Lund"
    (entry,) = entries_about("person 1011")
    assert entry.payload == {
        "before": {"initials": "CV", "name": "Casimir Voss"},
        "changed": ["initials", "name"],
    }


def test_writes_nothing_down_when_nothing_changed(cast: Cast) -> None:
    services.change_person(by=cast.keeper, person=cast.welder, name="Casimir Voss", initials="CV", at=FIXED_NOW)
    assert head().number == 0


def test_refuses_a_change_that_does_not_fit_or_is_not_permitted(cast: Cast) -> None:
    keeper, welder = cast.keeper, cast.welder
    change = {"person": welder, "name": "", "initials": "CV", "at": FIXED_NOW}
    refused(lambda: services.change_person(by=keeper, **change), Invalid, "person_invalid")
    refused(lambda: services.change_person(by=welder, **change), NotAllowed, "not_permitted")


def test_sets_an_own_password_and_ends_other_sessions(cast: Cast, client_of: Callable[[Person], Client]) -> None:
    elsewhere = client_of(cast.inspector)
    assert elsewhere.get("/account/").status_code == 200
    services.set_password(by=cast.inspector, person=cast.inspector, password="seven loose hinges", at=FIXED_NOW)
    stored = queries.person_by_badge("1001")
    assert stored.check_password("seven loose hinges")
    assert not stored.password_is_temporary
    assert elsewhere.get("/account/").status_code == 302
    assert entries_about("person 1001")[0].payload == {"kind": "password", "temporary": False}


@pytest.mark.parametrize(
    ("password", "reason"), [("short", "10"), ("password123", "common"), ("Ottoline Marsh", "similar")]
)
def test_refuses_a_weak_password_and_says_why(cast: Cast, password: str, reason: str) -> None:
    person = cast.inspector
    refused(
        lambda: services.set_password(by=person, person=person, password=password, at=FIXED_NOW),
        Invalid,
        "password_too_weak",
    )
    with pytest.raises(Invalid, match=reason):
        services.set_password(by=person, person=person, password=password, at=FIXED_NOW)


def test_gives_a_random_password_that_lasts_three_days(cast: Cast) -> None:
    given = [services.give_temporary_password(by=cast.keeper, person=cast.welder, at=FIXED_NOW) for _ in range(2)]
    person = queries.person_by_badge("1011")
    assert given[0] != given[1]
    assert re.fullmatch(r"([a-hjkmnp-z]{4}-){4}[a-hjkmnp-z]{4}", given[1])
    assert person.check_password(given[1])
    assert (person.password_is_temporary, person.password_until) == (True, FIXED_NOW + timedelta(days=3))
    validate_password(given[1], person)  # it follows the rules for all passwords
    assert given[1] not in str(entries_about("person 1011"))
    services.set_password(by=person, person=person, password="seven loose hinges", at=FIXED_NOW)
    person = queries.person_by_badge("1011")
    assert (person.password_is_temporary, person.password_until) == (False, None)


def test_takes_a_temporary_password_until_it_ends_and_not_after(cast: Cast) -> None:
    given = services.give_temporary_password(by=cast.keeper, person=cast.welder, at=FIXED_NOW)

    def identify(secret: str, days: float) -> object:
        at = FIXED_NOW + timedelta(days=days)
        return services.identify(badge="1011", secret=secret, at=at, address="10.0.0.7")

    assert identify(given, 2.9)
    with pytest.raises(NotAllowed) as caught:
        identify(given, 3)
    assert caught.value.code == "temporary_password_ended"
    with pytest.raises(NotAllowed) as caught:
        identify("another password", 3)  # who does not know it learns nothing about it
    assert caught.value.code == "identity_not_proven"


def test_chooses_no_password_for_somebody_else(cast: Cast) -> None:
    keeper, welder = cast.keeper, cast.welder
    choosing = {"person": welder, "password": "take and change it", "at": FIXED_NOW}
    refused(lambda: services.set_password(by=keeper, **choosing), NotAllowed, "own_password_only")
    manager = cast.quality_manager
    giving = {"person": welder, "at": FIXED_NOW}
    refused(lambda: services.give_temporary_password(by=manager, **giving), NotAllowed, "not_permitted")


def test_gives_no_password_to_somebody_who_left(cast: Cast) -> None:
    keeper = cast.keeper
    services.mark_left(by=keeper, person=cast.welder, at=FIXED_NOW)
    welder = queries.person_by_badge("1011")
    with pytest.raises(Refused) as caught:
        services.give_temporary_password(by=keeper, person=welder, at=FIXED_NOW)
    assert caught.value.code == "person_left"
    assert not queries.person_by_badge("1011").has_usable_password()


def test_sets_an_own_pin(cast: Cast) -> None:
    services.set_pin(by=cast.welder, person=cast.welder, pin="513846", at=FIXED_NOW)
    assert not queries.person_by_badge("1011").pin_is_temporary
    assert entries_about("person 1011")[0].payload == {"kind": "PIN", "temporary": False}


def test_refuses_a_simple_pin(cast: Cast) -> None:
    welder = cast.welder
    refused(
        lambda: services.set_pin(by=welder, person=welder, pin="123456", at=FIXED_NOW),
        Invalid,
        "pin_too_simple",
    )


def test_lets_nobody_but_the_person_and_the_keeper_set_secrets(cast: Cast) -> None:
    manager, welder = cast.quality_manager, cast.welder
    refused(
        lambda: services.set_pin(by=manager, person=welder, pin="513846", at=FIXED_NOW),
        NotAllowed,
        "not_permitted",
    )
    refused(
        lambda: services.set_password(by=manager, person=welder, password="seven loose hinges", at=FIXED_NOW),
        NotAllowed,
        "not_permitted",
    )


def test_ends_everything_when_a_person_leaves(cast: Cast, client_of: Callable[[Person], Client]) -> None:
    session = client_of(cast.inspector)
    assert session.get("/account/").status_code == 200
    services.mark_left(by=cast.keeper, person=cast.inspector, at=FIXED_NOW)
    stored = queries.person_by_badge("1001")
    assert (stored.is_active, stored.left_on, stored.pin) == (False, TODAY, "")
    assert not stored.check_password(PASSWORD)
    assert queries.roles_of(stored, FIXED_NOW) == frozenset()
    assert [row.ends_on for row in queries.role_rows(stored)] == [TODAY]
    assert session.get("/account/").status_code == 302
    assert entries_about("person 1001")[0].verb == "person.left"
    refused(
        lambda: services.set_pin(by=stored, person=stored, pin="513846", at=FIXED_NOW),
        NotAllowed,
        "not_permitted",
    )


def test_lets_a_person_work_to_the_last_day(cast: Cast) -> None:
    last = TODAY + timedelta(days=13)
    services.mark_left(by=cast.keeper, person=cast.inspector, last_day=last, at=FIXED_NOW)
    person = queries.person_by_badge("1001")
    assert queries.may(person, Act.RECORD_RESULT, FIXED_NOW + timedelta(days=13))
    assert not queries.may(person, Act.RECORD_RESULT, FIXED_NOW + timedelta(days=14))


def test_never_lets_the_last_keeper_go(cast: Cast) -> None:
    keeper, second = cast.keeper, cast.second_keeper
    services.mark_left(by=keeper, person=second, at=FIXED_NOW)
    refused(lambda: services.mark_left(by=keeper, person=keeper, at=FIXED_NOW), Refused, "last_keeper")
    refused(
        lambda: services.end_role(by=keeper, person=keeper, role=Role.KEEPER, at=FIXED_NOW),
        Refused,
        "last_keeper",
    )


def test_finds_people_by_badge_whatever_its_case(cast: Cast) -> None:
    add(cast, badge="A-17")
    assert queries.person_by_badge("a-17").badge == "A-17"
    assert set(queries.people_by_badge(["a-17", "1101", "9999", "", "x\0"])) == {"a-17", "1101"}
    for unknown in ("9999", "", "x\0", "9" * 30):
        with pytest.raises(NotFound) as caught:
            queries.person_by_badge(unknown)
        assert caught.value.code == "badge_unknown"
    with pytest.raises(NotFound):
        queries.person_by_uuid("not a uuid")


def test_shows_a_card_with_roles_in_the_order_of_the_table(cast: Cast) -> None:
    card = queries.person_card(cast.deputy, FIXED_NOW)
    assert card.roles == ("quality manager, deputy for Isolde Brandt", "customer service")
    assert (card.badge, card.has_pin, card.left_on) == ("1043", True, None)


def test_lists_everybody_in_few_queries(cast: Cast, django_assert_max_num_queries: Any) -> None:
    for role in Role:
        cast.with_role(role)
    deputy = cast.deputy
    services.mark_left(by=cast.keeper, person=cast.welder, last_day=date(2026, 3, 16), at=FIXED_NOW)
    with django_assert_max_num_queries(3):
        cards = queries.people_cards(FIXED_NOW)
    assert "Casimir Voss" not in [card.name for card in cards]
    assert [card.roles for card in cards if card.id == deputy.pk] == [queries.person_card(deputy, FIXED_NOW).roles]
    left = {card.name: card.roles for card in queries.people_cards(FIXED_NOW, with_left=True)}
    assert left["Casimir Voss"] == ()


def test_shows_deputies_on_both_sides(cast: Cast) -> None:
    row = DeputyFactory(person=cast.engineer, deputy=cast.welder, role=Role.ENGINEER)
    for person in (cast.engineer, cast.welder):
        (shown,) = queries.deputy_rows(person)
        assert (shown.id, shown.person_name, shown.deputy_name) == (row.pk, "Leopold Tarn", "Casimir Voss")
