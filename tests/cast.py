"""The cast of the tests: one person per role, a fixed moment, and proofs of identity.

A pytest plugin (`pytest_plugins = ["tests.cast"]`). People are made when they are first asked for; all names
are invented. Everybody signs in with PASSWORD and signs with PIN.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime
from functools import lru_cache
from typing import TYPE_CHECKING, NamedTuple
from uuid import NAMESPACE_OID, UUID, uuid5

import pytest
from django.test import Client

from qcapp.people.pins import hash_pin
from qcapp.people.roles import Role
from qcapp.people.services import Proof, demonstration_proof

from .factories.people import LONG_AGO, DeputyFactory, PersonFactory

if TYPE_CHECKING:
    from django.contrib.auth.hashers import make_password as make_password

    from qcapp.people.models import Person

PASSWORD = "quarter inch drift 7"
PIN = "480592"
FIXED_NOW = datetime(2026, 3, 17, 9, 30, tzinfo=UTC)


class Part(NamedTuple):
    """What a member of the cast plays."""

    badge: str
    name: str
    initials: str
    roles: tuple[Role, ...]
    stamp: str = ""


PARTS = {
    "inspector": Part("1001", "Ottoline Marsh", "OM", (Role.INSPECTOR,)),
    "second_inspector": Part("1002", "Barnaby Quill", "BQ", (Role.INSPECTOR,)),
    "third_inspector": Part("1003", "Perpetua Lund", "PL", (Role.INSPECTOR,)),
    "welder": Part("1011", "Casimir Voss", "CV", (Role.WELDER,), "W11"),
    "second_welder": Part("1012", "Linnea Farrow", "LF", (Role.WELDER,), "W12"),
    "assembler": Part("1021", "Tobiah Renn", "TR", (Role.ASSEMBLER,)),
    "goods_in": Part("1031", "Quenby Oakes", "QO", (Role.GOODS_IN,)),
    "quality_manager": Part("1041", "Isolde Brandt", "IB", (Role.QUALITY_MANAGER,)),
    "second_quality_manager": Part("1042", "Evander Holt", "EH", (Role.QUALITY_MANAGER,)),
    "deputy": Part("1043", "Marguerite Sorrel", "MS", (Role.CUSTOMER_SERVICE,)),
    "engineer": Part("1051", "Leopold Tarn", "LT", (Role.ENGINEER,)),
    "welding_coordinator": Part("1061", "Ysolde Crane", "YC", (Role.WELDING_COORDINATOR,)),
    "metrology": Part("1071", "Ambrose Pike", "AP", (Role.METROLOGY,)),
    "customer_service": Part("1081", "Delphine Moor", "DM", (Role.CUSTOMER_SERVICE,)),
    "dispatch": Part("1091", "Horatio Wick", "HW", (Role.DISPATCH,)),
    "keeper": Part("1101", "Sunniva Gale", "SG", (Role.KEEPER,)),
    "second_keeper": Part("1102", "Alaric Thorne", "AT", (Role.KEEPER,)),
    "stranger_to_all_roles": Part("1111", "Wilhelmina Dask", "WD", ()),
}
EVERY_ROLE = {
    role: next(name for name, part in PARTS.items() if part.roles == (role,) and name != "deputy") for role in Role
}


@lru_cache(maxsize=len(PARTS))
def _pin_of(uuid: UUID) -> str:
    return hash_pin(PIN, uuid)


@lru_cache(maxsize=1)
def _password() -> str:
    from django.contrib.auth.hashers import make_password

    return make_password(PASSWORD)


class Cast:
    """`cast.inspector`, `cast.welder` and so on: each an account with a role, a password and a PIN.

    `cast.deputy` works in customer service and stands in for the quality manager from 1 to 31 March 2026.
    """

    password = PASSWORD
    pin = PIN
    parts = PARTS

    def __getattr__(self, name: str) -> Person:
        if name not in PARTS:
            raise AttributeError(f"Nobody in the cast plays {name}.")
        person = self._make(PARTS[name])
        setattr(self, name, person)
        if name == "deputy":
            DeputyFactory(
                person=self.quality_manager,
                deputy=person,
                starts_on=date(2026, 3, 1),
                ends_on=date(2026, 3, 31),
                named_at=datetime(2026, 2, 20, 8, tzinfo=UTC),
            )
        return person

    def with_role(self, role: Role) -> Person:
        """The one who plays the role."""
        return getattr(self, EVERY_ROLE[role])

    @staticmethod
    def _make(part: Part) -> Person:
        uuid = uuid5(NAMESPACE_OID, f"cast {part.badge}")  # fixed, so that the slow hash is made once
        return PersonFactory(
            uuid=uuid,
            badge=part.badge,
            name=part.name,
            initials=part.initials,
            stamp=part.stamp,
            joined_on=LONG_AGO,
            password=_password(),
            pin=_pin_of(uuid),
            roles=list(part.roles),
        )


@pytest.fixture
def cast(db: None) -> Cast:
    """One person per role, made when first asked for."""
    return Cast()


@pytest.fixture
def fixed_now() -> datetime:
    """The moment at which tests play: Tuesday 17 March 2026, 09:30 UTC, 10:30 in the workshop."""
    return FIXED_NOW


@pytest.fixture
def proof_of() -> Callable[..., Proof]:
    """`proof_of(person)` or `proof_of(person, at)`: a proof of identity without the secret."""

    def prove(person: Person, at: datetime = FIXED_NOW) -> Proof:
        return demonstration_proof(person, at)

    return prove


@pytest.fixture
def client_of() -> Callable[[Person], Client]:
    """`client_of(person)`: a browser in which the person has signed in."""

    def sign_in(person: Person) -> Client:
        client = Client()
        client.force_login(person)
        return client

    return sign_in
