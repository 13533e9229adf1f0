"""Giving and ending roles, naming deputies."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta
from typing import Any

import pytest
from django.test import Client

from qcapp.audit.queries import entries_about
from qcapp.core.errors import Conflict, Invalid, NotAllowed, NotFound, Refused
from qcapp.people import queries, services
from qcapp.people.models import Deputy, DeputyEnd, Person
from qcapp.people.roles import Act, Role
from tests.cast import FIXED_NOW, Cast
from tests.factories.people import PersonFactory

from .test_accounts import refused

TODAY = FIXED_NOW.date()
YESTERDAY = TODAY - timedelta(days=1)


def name(cast: Cast, **changes: Any) -> Deputy:
    usual = {
        "by": cast.keeper,
        "person": cast.engineer,
        "deputy": cast.welding_coordinator,
        "role": Role.ENGINEER,
        "starts_on": TODAY,
        "ends_on": TODAY + timedelta(days=6),
        "at": FIXED_NOW,
    }
    return services.name_deputy(**(usual | changes))


def test_gives_a_role_from_today_or_a_later_day(cast: Cast) -> None:
    person = cast.stranger_to_all_roles
    services.give_role(by=cast.keeper, person=person, role=Role.WELDER, at=FIXED_NOW)
    services.give_role(
        by=cast.keeper, person=person, role=Role.INSPECTOR, starts_on=TODAY + timedelta(days=1), at=FIXED_NOW
    )
    assert queries.role_names(person, FIXED_NOW) == {Role.WELDER}
    assert queries.role_names(person, FIXED_NOW + timedelta(days=1)) == {Role.WELDER, Role.INSPECTOR}
    assert entries_about("person 1111")[1].payload == {"role": "welder", "starts_on": "2026-03-17"}


def test_refuses_a_role_that_is_held(cast: Cast) -> None:
    keeper, welder = cast.keeper, cast.welder
    refused(
        lambda: services.give_role(by=keeper, person=welder, role=Role.WELDER, at=FIXED_NOW),
        Conflict,
        "role_already_held",
    )


def test_lets_only_the_keeper_give_and_end_roles(cast: Cast) -> None:
    manager, welder = cast.quality_manager, cast.welder
    refused(
        lambda: services.give_role(by=manager, person=manager, role=Role.ENGINEER, at=FIXED_NOW),
        NotAllowed,
        "not_permitted",
    )
    refused(
        lambda: services.end_role(by=manager, person=welder, role=Role.WELDER, at=FIXED_NOW),
        NotAllowed,
        "not_permitted",
    )


def test_ends_a_role_in_running_sessions_at_once(
    cast: Cast, client_of: Callable[[Person], Client], fixed_now: object
) -> None:
    """The pages count by the clock on the wall, so the role ends by it too."""
    session = client_of(cast.second_keeper)
    assert session.get("/people/").status_code == 200
    services.end_role(by=cast.keeper, person=cast.second_keeper, role=Role.KEEPER, at=FIXED_NOW)
    answer = session.get("/people/")
    assert answer.status_code == 403
    assert session.get("/account/").status_code == 200


def test_ends_a_role_after_a_last_day_and_gives_it_again(cast: Cast) -> None:
    welder = cast.welder
    services.end_role(by=cast.keeper, person=welder, role=Role.WELDER, last_day=TODAY, at=FIXED_NOW)
    assert queries.may(welder, Act.RECORD_RESULT, FIXED_NOW)
    assert not queries.may(welder, Act.RECORD_RESULT, FIXED_NOW + timedelta(days=1))
    tomorrow = FIXED_NOW + timedelta(days=1)
    services.give_role(by=cast.keeper, person=welder, role=Role.WELDER, at=tomorrow)
    assert queries.may(welder, Act.RECORD_RESULT, tomorrow)


def test_refuses_to_end_a_role_that_is_not_held(cast: Cast) -> None:
    keeper, welder = cast.keeper, cast.welder
    refused(
        lambda: services.end_role(by=keeper, person=welder, role=Role.ENGINEER, at=FIXED_NOW),
        NotFound,
        "role_not_held",
    )


def test_names_a_deputy_and_writes_it_down(cast: Cast) -> None:
    name(cast)
    assert queries.may(cast.welding_coordinator, Act.APPROVE_PLAN, FIXED_NOW)
    (entry,) = entries_about("person 1051")
    assert entry.payload == {
        "deputy": "1061",
        "role": "engineer",
        "starts_on": "2026-03-17",
        "ends_on": "2026-03-23",
    }


@pytest.mark.parametrize(
    "changes",
    [
        {"role": Role.INSPECTOR},
        {"starts_on": TODAY + timedelta(days=7)},
        {"starts_on": date(2026, 3, 1), "ends_on": YESTERDAY},
    ],
)
def test_refuses_a_deputy_that_does_not_fit(cast: Cast, changes: dict[str, Any]) -> None:
    people = cast.keeper, cast.engineer, cast.welding_coordinator
    refused(lambda: name(cast, **changes), Invalid, "deputy_invalid")
    assert len(people) == Person.objects.count()
    assert not Deputy.objects.exists()


def test_refuses_a_deputy_who_is_the_person_or_gone(cast: Cast) -> None:
    engineer, _, _ = cast.engineer, cast.keeper, cast.welding_coordinator
    refused(lambda: name(cast, deputy=engineer), Invalid, "deputy_invalid")
    gone = PersonFactory(left_on=YESTERDAY)
    refused(lambda: name(cast, deputy=gone), Invalid, "deputy_invalid")
    assert not Deputy.objects.exists()


def test_refuses_a_deputy_for_a_role_that_is_not_held(cast: Cast) -> None:
    people = cast.keeper, cast.engineer, cast.welding_coordinator
    refused(lambda: name(cast, role=Role.QUALITY_MANAGER), Refused, "role_not_held")
    assert len(people) == Person.objects.count()
    assert not Deputy.objects.exists()


def test_lets_nobody_but_the_keeper_name_or_end_a_deputy(cast: Cast) -> None:
    row = name(cast)
    refused(lambda: name(cast, by=cast.engineer), NotAllowed, "not_permitted")
    refused(
        lambda: services.end_deputy(by=cast.engineer, deputy_id=row.pk, at=FIXED_NOW),
        NotAllowed,
        "not_permitted",
    )
    assert Deputy.objects.count() == 1


def test_ends_a_deputy_early_without_changing_what_was_named(cast: Cast) -> None:
    row = name(cast)
    services.end_deputy(by=cast.keeper, deputy_id=row.pk, at=FIXED_NOW)
    assert not queries.may(cast.welding_coordinator, Act.APPROVE_PLAN, FIXED_NOW)
    assert row.written().ends_on == date(2026, 3, 23)
    assert [shown.ends_on for shown in queries.deputy_rows(cast.engineer)] == [YESTERDAY]
    refused(lambda: services.end_deputy(by=cast.keeper, deputy_id=row.pk, at=FIXED_NOW), Conflict, "deputy_ended")
    refused(lambda: services.end_deputy(by=cast.keeper, deputy_id=0, at=FIXED_NOW), NotFound, "deputy_unknown")
    assert DeputyEnd.objects.count() == 1
