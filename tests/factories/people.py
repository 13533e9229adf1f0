"""People for tests, made past the services: no audit entries, no slow hashes."""

from __future__ import annotations

from datetime import UTC, date, datetime

import factory
from django.contrib.auth.hashers import make_password

from qcapp.people.models import Deputy, Person, RoleAssignment
from qcapp.people.roles import Role

LONG_AGO = date(2020, 1, 6)


class PersonFactory(factory.django.DjangoModelFactory):
    """Somebody who works here and has no role. `roles=[Role.WELDER]` gives some; traits give a role by its
    name.
    """

    class Meta:
        model = Person
        skip_postgeneration_save = True

    badge = factory.Sequence(lambda n: f"T{n + 5000}")
    name = factory.Sequence(lambda n: f"Test Person {n + 1}")
    initials = "TP"
    joined_on = LONG_AGO
    password = factory.LazyFunction(lambda: make_password(None))

    class Params:
        is_inspector = factory.Trait(roles=[Role.INSPECTOR])
        is_welder = factory.Trait(roles=[Role.WELDER])
        is_quality_manager = factory.Trait(roles=[Role.QUALITY_MANAGER])
        is_engineer = factory.Trait(roles=[Role.ENGINEER])
        is_keeper = factory.Trait(roles=[Role.KEEPER])

    @factory.post_generation
    def roles(self: Person, create: bool, extracted: list[Role] | None, **kwargs: object) -> None:
        for role in extracted or ():
            RoleAssignmentFactory(person=self, role=role)


class RoleAssignmentFactory(factory.django.DjangoModelFactory):
    """A role since long ago, without an end."""

    class Meta:
        model = RoleAssignment

    person = factory.SubFactory(PersonFactory)
    role = Role.INSPECTOR
    starts_on = LONG_AGO


class DeputyFactory(factory.django.DjangoModelFactory):
    """A deputy of a quality manager for the year 2026."""

    class Meta:
        model = Deputy

    person = factory.SubFactory(PersonFactory, is_quality_manager=True)
    deputy = factory.SubFactory(PersonFactory)
    role = Role.QUALITY_MANAGER
    starts_on = date(2026, 1, 1)
    ends_on = date(2026, 12, 31)
    named_by = factory.SelfAttribute("person")
    named_at = datetime(2025, 12, 15, 8, tzinfo=UTC)
