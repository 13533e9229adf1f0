"""Families and units for tests, made past the services: no audit entries."""

from __future__ import annotations

from datetime import UTC, datetime

import factory

from qcapp.core.identification import lookup_key
from qcapp.production.models import Item, PartFamily, Unit
from qcapp.production.states import UnitState

from .people import PersonFactory


class FamilyFactory(factory.django.DjangoModelFactory):
    """The FR-200 trike frame; the same code gives the same family."""

    class Meta:
        model = PartFamily
        django_get_or_create = ("code",)

    code = "FR-200"
    name = "trike frame"
    serial_pattern = factory.LazyAttribute(lambda family: f"{family.code}-{{number:4}}")
    certificate_prefix = factory.LazyAttribute(lambda family: family.code.partition("-")[0])


class ItemFactory(factory.django.DjangoModelFactory):
    """The subject of an inspection that a unit is."""

    class Meta:
        model = Item

    kind = Item.Kind.UNIT
    family = factory.SubFactory(FamilyFactory)


class UnitFactory(factory.django.DjangoModelFactory):
    """A frame in build: FR-200-0001, then 0002 and on. `number=147` gives FR-200-0147."""

    class Meta:
        model = Unit

    item = factory.SubFactory(ItemFactory)
    number = factory.Sequence(lambda n: n + 1)
    serial = factory.LazyAttribute(lambda unit: f"{unit.item.family.code}-{unit.number:04d}")
    lookup = factory.LazyAttribute(lambda unit: lookup_key(unit.serial))
    state = UnitState.IN_BUILD
    opened_by = factory.SubFactory(PersonFactory)
    opened_at = datetime(2026, 3, 2, 7, tzinfo=UTC)
