"""Rows written and asked for by statements that are composed once."""

from __future__ import annotations

from datetime import timedelta

import pytest

from qcapp.lib.statements import Prepared, add_row
from qcapp.messages.models import MailChoice, Message
from qcapp.people.models import Deputy, Person
from qcapp.people.queries import keys_with_role, people_with_role
from qcapp.people.roles import Role

from ..cast import FIXED_NOW, Cast

pytestmark = pytest.mark.django_db


def test_writes_a_row_as_the_model_would(cast: Cast) -> None:
    told = {"to_id": cast.welder.pk, "key": "one", "subject": "A", "text": "B", "at": FIXED_NOW}
    key = add_row(Message, **told)
    row = Message.objects.get(pk=key)
    usual = Message(**told)
    names = [field.attname for field in Message._meta.concrete_fields if not field.primary_key]
    assert [getattr(row, name) for name in names] == [getattr(usual, name) for name in names]


def test_knows_the_columns_of_its_table(cast: Cast) -> None:
    with pytest.raises(ValueError, match="MailChoice has no column colour"):
        add_row(MailChoice, person_id=cast.welder.pk, colour="red")


def test_asks_again_with_other_values(cast: Cast) -> None:
    ask = Prepared(lambda badge: Person.objects.filter(badge=badge, is_active=True).values_list("name"), badge="none")
    for person in (cast.welder, cast.engineer):
        assert ask(badge=person.badge) == [(person.name,)]
    assert ask(badge="9999") == []


@pytest.mark.parametrize("days", [-4000, -30, 0, 30, 4000])
def test_finds_whoever_holds_a_role_as_the_list_of_people_does(cast: Cast, days: int) -> None:
    manager, welder = cast.quality_manager, cast.welder
    Person.objects.filter(pk=welder.pk).update(left_on=(FIXED_NOW + timedelta(days=10)).date())
    Deputy.objects.create(
        person=manager, deputy=cast.engineer, role="quality_manager", named_by=manager, named_at=FIXED_NOW,
        starts_on=FIXED_NOW.date(), ends_on=(FIXED_NOW + timedelta(days=60)).date(),
    )  # fmt: skip
    at = FIXED_NOW + timedelta(days=days)
    for role in Role:
        assert sorted(keys_with_role(role, at)) == sorted(person.pk for person in people_with_role(role, at))
