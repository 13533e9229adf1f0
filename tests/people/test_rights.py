"""Who may do what on which day, and in which role a signature is given."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta

import pytest
from django.db import transaction

from qcapp.core.errors import Invalid, NotAllowed, Refused
from qcapp.people import services
from qcapp.people.models import Person, Signature
from qcapp.people.queries import (
    RoleHeld,
    acts_of,
    distinct_people,
    may,
    people_with_role,
    require_distinct_people,
    role_names,
    roles_of,
    signature_line,
)
from qcapp.people.roles import ACTS, DEPUTIZABLE, Act, Role
from qcapp.people.services import Proof, require, write_signature
from tests.cast import FIXED_NOW, Cast
from tests.factories.people import DeputyFactory, PersonFactory, RoleAssignmentFactory

COVERS = "ab" * 32
ProofOf = Callable[..., Proof]


def signature_of(proof: Proof, act: Act, role: Role | None = None, at: datetime = FIXED_NOW) -> Signature:
    with transaction.atomic():
        return write_signature(
            proof=proof,
            act=act,
            role=role,
            meaning="Recorded.",
            subject="unit FR-200-0147",
            covers=COVERS,
            at=at,
        )


@pytest.mark.parametrize("act", list(Act))
def test_lets_exactly_the_roles_of_the_table(cast: Cast, act: Act) -> None:
    for role in Role:
        person = cast.with_role(role)
        assert may(person, act, FIXED_NOW) == (role in ACTS[act])
        if role in ACTS[act]:
            assert require(person, act, FIXED_NOW) == RoleHeld(role)
        else:
            with pytest.raises(NotAllowed) as caught:
                require(person, act, FIXED_NOW)
            assert caught.value.code == "not_permitted"


def test_names_who_may_in_the_refusal(cast: Cast) -> None:
    with pytest.raises(NotAllowed) as caught:
        require(cast.welder, Act.GET_CERTIFICATE, FIXED_NOW)
    assert caught.value.message == (
        "Casimir Voss may not get a certificate today. "
        "This is for: quality manager or engineer or customer service or dispatch."
    )
    assert caught.value.details["roles"] == ["quality_manager", "engineer", "customer_service", "dispatch"]


def test_lets_nobody_without_a_role_do_anything(cast: Cast) -> None:
    assert acts_of(cast.stranger_to_all_roles, FIXED_NOW) == frozenset()


@pytest.mark.parametrize(
    ("day", "held"),
    [("2026-02-28", False), ("2026-03-01", True), ("2026-03-31", True), ("2026-04-01", False)],
)
def test_lets_a_deputy_act_between_the_dates_both_included(cast: Cast, day: str, held: bool) -> None:
    for hour in (0, 12, 21):
        at = datetime.fromisoformat(f"{day}T{hour:02}:30:00").replace(tzinfo=UTC)
        assert may(cast.deputy, Act.RELEASE_UNIT, at) == held
        assert (Role.QUALITY_MANAGER in role_names(cast.deputy, at)) == held


def test_counts_days_where_the_workshop_stands(cast: Cast) -> None:
    """23:30 UTC on the last day of February is the first of March in the site's zone (winter time)."""
    assert may(cast.deputy, Act.RELEASE_UNIT, datetime(2026, 2, 28, 23, 30, tzinfo=UTC))
    assert not may(cast.deputy, Act.RELEASE_UNIT, datetime(2026, 2, 28, 22, 30, tzinfo=UTC))
    assert not may(cast.deputy, Act.RELEASE_UNIT, datetime(2026, 3, 31, 22, 30, tzinfo=UTC))  # summer time


def test_gives_a_deputy_the_one_role_only(cast: Cast) -> None:
    assert role_names(cast.deputy, FIXED_NOW) == {Role.CUSTOMER_SERVICE, Role.QUALITY_MANAGER}
    assert not may(cast.deputy, Act.APPROVE_PLAN, FIXED_NOW)


def test_ends_a_deputy_with_the_role_stood_in_for(cast: Cast) -> None:
    assert may(cast.deputy, Act.RELEASE_UNIT, FIXED_NOW)
    services.end_role(by=cast.keeper, person=cast.quality_manager, role=Role.QUALITY_MANAGER, at=FIXED_NOW)
    assert not may(cast.deputy, Act.RELEASE_UNIT, FIXED_NOW)


def test_takes_no_deputy_of_a_floor_role() -> None:
    assert DEPUTIZABLE & {Role.INSPECTOR, Role.WELDER, Role.ASSEMBLER, Role.GOODS_IN} == frozenset()


@pytest.mark.django_db
def test_ignores_a_deputy_row_of_a_floor_role() -> None:
    inspector = PersonFactory(is_inspector=True)
    row = DeputyFactory(person=inspector, role=Role.INSPECTOR)
    assert role_names(row.deputy, FIXED_NOW) == frozenset()


@pytest.mark.parametrize(
    ("starts", "ends", "held"),
    [
        (date(2026, 3, 17), None, True),
        (date(2026, 3, 18), None, False),
        (date(2026, 1, 1), date(2026, 3, 17), True),
        (date(2026, 1, 1), date(2026, 3, 16), False),
    ],
)
@pytest.mark.django_db
def test_lets_a_role_count_from_its_first_to_its_last_day(starts: date, ends: date | None, held: bool) -> None:
    person = PersonFactory()
    RoleAssignmentFactory(person=person, role=Role.WELDER, starts_on=starts, ends_on=ends)
    assert may(person, Act.RECORD_RESULT, FIXED_NOW) == held


def test_takes_every_right_from_somebody_who_left(cast: Cast) -> None:
    Person.objects.filter(pk=cast.inspector.pk).update(left_on="2026-03-16")
    cast.inspector.refresh_from_db()
    assert roles_of(cast.inspector, FIXED_NOW) == frozenset()
    assert acts_of(cast.inspector, FIXED_NOW) == frozenset()
    assert may(cast.inspector, Act.RECORD_RESULT, FIXED_NOW - timedelta(days=1))


def test_lists_own_holders_of_a_role_before_deputies(cast: Cast) -> None:
    deputy, manager = cast.deputy, cast.second_quality_manager
    assert people_with_role(Role.QUALITY_MANAGER, FIXED_NOW) == [manager, cast.quality_manager, deputy]
    assert people_with_role(Role.METROLOGY, FIXED_NOW) == []


def test_opens_nothing_to_a_temporary_password(cast: Cast) -> None:
    services.give_temporary_password(by=cast.keeper, person=cast.inspector, at=FIXED_NOW)
    with pytest.raises(Refused) as caught:
        require(cast.inspector, Act.RECORD_RESULT, FIXED_NOW)
    assert caught.value.code == "password_is_temporary"


def test_writes_down_who_signed_in_which_role(cast: Cast, proof_of: ProofOf) -> None:
    signature = signature_of(proof_of(cast.inspector), Act.SIGN_STAGE).written()
    assert (signature.person, signature.role, signature.deputy_for) == (cast.inspector, "inspector", None)
    assert (signature.act, signature.meaning, signature.subject) == (
        "sign a stage",
        "Recorded.",
        "unit FR-200-0147",
    )
    assert (signature.covers, signature.method, signature.at) == (COVERS, "demonstration", FIXED_NOW)


def test_writes_down_for_whom_a_deputy_signed(cast: Cast, proof_of: ProofOf) -> None:
    signature = signature_of(proof_of(cast.deputy), Act.RELEASE_UNIT)
    assert signature.deputy_for == cast.quality_manager
    assert signature_line(signature) == "Marguerite Sorrel, quality manager, deputy for Isolde Brandt"


def test_prefers_an_own_role_to_a_deputys(cast: Cast, proof_of: ProofOf) -> None:
    RoleAssignmentFactory(person=cast.deputy, role=Role.ENGINEER)
    assert signature_of(proof_of(cast.deputy), Act.DECIDE_REPORT).role == "engineer"
    picked = signature_of(proof_of(cast.deputy), Act.DECIDE_REPORT, Role.QUALITY_MANAGER)
    assert (picked.role, picked.deputy_for) == ("quality_manager", cast.quality_manager)


@pytest.mark.parametrize("role", [None, Role.ENGINEER])
def test_refuses_a_signature_outside_the_rights(cast: Cast, proof_of: ProofOf, role: Role | None) -> None:
    with pytest.raises(NotAllowed) as caught:
        signature_of(proof_of(cast.welder), Act.DECIDE_REPORT, role)
    assert caught.value.code == "not_permitted"
    assert not Signature.objects.exists()


def test_refuses_a_role_that_the_act_does_not_know(cast: Cast, proof_of: ProofOf) -> None:
    with pytest.raises(NotAllowed):
        signature_of(proof_of(cast.inspector), Act.DECIDE_REPORT, Role.INSPECTOR)
    assert not Signature.objects.exists()


@pytest.mark.parametrize("covers", ["", "ab" * 31, "AB" * 32, "zz" * 32, COVERS + "\n"])
def test_refuses_to_cover_anything_but_a_digest(cast: Cast, proof_of: ProofOf, covers: str) -> None:
    with pytest.raises(Invalid) as caught:
        write_signature(
            proof=proof_of(cast.inspector),
            act=Act.SIGN_STAGE,
            meaning="Recorded.",
            subject="unit FR-200-0147",
            covers=covers,
            at=FIXED_NOW,
        )
    assert caught.value.code == "covers_no_digest"
    assert not Signature.objects.exists()


def test_never_lets_one_person_fill_two_signatures(cast: Cast, proof_of: ProofOf) -> None:
    RoleAssignmentFactory(person=cast.quality_manager, role=Role.ENGINEER)
    both_roles = [
        signature_of(proof_of(cast.quality_manager), Act.DECIDE_REPORT, role)
        for role in (Role.QUALITY_MANAGER, Role.ENGINEER)
    ]
    assert not distinct_people(both_roles)
    with pytest.raises(Refused) as caught:
        require_distinct_people(both_roles)
    assert caught.value.code == "same_person_twice"
    two_people = [both_roles[0], signature_of(proof_of(cast.engineer), Act.DECIDE_REPORT)]
    assert distinct_people(two_people)
    require_distinct_people(two_people)
    assert distinct_people([])


def test_asks_the_database_once_for_the_menu(cast: Cast, django_assert_num_queries: object) -> None:
    person = cast.deputy
    with django_assert_num_queries(1):
        acts_of(person, FIXED_NOW)
    with django_assert_num_queries(2):
        roles_of(person, FIXED_NOW)
