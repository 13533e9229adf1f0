"""The cast plays what its names say."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta

import pytest

from qcapp.people.queries import RoleHeld, roles_of
from qcapp.people.roles import Role
from qcapp.people.services import Proof
from tests.cast import EVERY_ROLE, PIN, Cast


@pytest.mark.parametrize("role", list(Role))
def test_has_somebody_for_every_role(cast: Cast, fixed_now: datetime, role: Role) -> None:
    assert roles_of(cast.with_role(role), fixed_now) == {RoleHeld(role)}


def test_has_a_deputy_of_the_quality_manager_in_march(cast: Cast, fixed_now: datetime) -> None:
    held = roles_of(cast.deputy, fixed_now)
    assert RoleHeld(Role.QUALITY_MANAGER, cast.quality_manager) in held
    assert roles_of(cast.deputy, fixed_now + timedelta(days=31)) == {RoleHeld(Role.CUSTOMER_SERVICE)}


def test_makes_each_person_once(cast: Cast) -> None:
    assert cast.welder is cast.welder
    assert set(EVERY_ROLE) == set(Role)


def test_proves_who_somebody_is_without_a_secret(
    cast: Cast, proof_of: Callable[..., Proof], fixed_now: datetime
) -> None:
    assert proof_of(cast.engineer) == Proof(cast.engineer, "demonstration", fixed_now)
    assert PIN not in cast.engineer.pin
