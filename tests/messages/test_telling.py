"""What is told to whom, once, and what becomes of it in the inbox."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.db import transaction

from qcapp.core.errors import NotFound
from qcapp.messages.kinds import LABELS, Kind
from qcapp.messages.models import Message
from qcapp.messages.queries import PAGE, inbox, mail_kinds, unread_count
from qcapp.messages.services import choose_mail, mark_read, tell
from qcapp.people.roles import Role

from ..cast import FIXED_NOW, Cast
from ..unchanged import refused

pytestmark = pytest.mark.django_db
Count = Callable[[int], Any]


def test_tells_everybody_who_holds_the_role_deputies_included(cast: Cast, told: Any) -> None:
    people = [cast.quality_manager, cast.second_quality_manager, cast.deputy]
    told(Role.QUALITY_MANAGER)
    told(cast.engineer, "Another")
    assert {person.name: unread_count(person) for person in people} == {person.name: 1 for person in people}
    assert [one.subject for one in inbox(cast.engineer).messages] == ["Another"]


def test_tells_the_same_thing_once(cast: Cast, told: Any) -> None:
    for subject in ("first wording", "second wording"):
        told(cast.engineer, subject, key="drift of head_angle")
    told(cast.engineer, "first wording")
    told(cast.engineer, "first wording")
    assert [one.subject for one in inbox(cast.engineer).messages] == ["first wording", "first wording"]


def test_spares_whoever_did_it(cast: Cast, told: Any) -> None:
    told([cast.quality_manager, cast.engineer], leave_out=cast.quality_manager)
    assert (unread_count(cast.quality_manager), unread_count(cast.engineer)) == (0, 1)


def test_falls_with_the_transaction_that_it_tells_of(cast: Cast, told: Any) -> None:
    engineer = cast.engineer
    with transaction.atomic():
        told(engineer)
        transaction.set_rollback(True)
    assert unread_count(engineer) == 0


def test_asks_the_database_little(cast: Cast, told: Any, django_assert_max_num_queries: Count) -> None:
    assert cast.quality_manager
    with django_assert_max_num_queries(4):
        told(Role.QUALITY_MANAGER)


def test_shortens_what_does_not_fit(cast: Cast, told: Any) -> None:
    told(cast.engineer, "x" * 400, text="y" * 4000, about="z" * 400, key="k" * 400)
    (one,) = inbox(cast.engineer).messages
    assert (len(one.subject), one.subject[-1], len(one.text)) == (160, "…", 1000)


def test_marks_one_and_all_as_read_and_keeps_the_first_time(cast: Cast, told: Any) -> None:
    for number in range(3):
        told(cast.engineer, f"number {number}")
    first = inbox(cast.engineer).messages[0]
    assert mark_read(by=cast.engineer, message_id=first.id, at=FIXED_NOW) == "/nonconformances/"
    assert unread_count(cast.engineer) == 2
    later = FIXED_NOW.replace(hour=11)
    mark_read(by=cast.engineer, at=later)
    assert unread_count(cast.engineer) == 0
    assert [one.read_at for one in inbox(cast.engineer).messages] == [FIXED_NOW, later, later]


def test_lets_nobody_read_the_message_of_another(cast: Cast, told: Any) -> None:
    told(cast.engineer)
    key = Message.objects.get().pk
    with refused("message_unknown", "shop_messages"):
        mark_read(by=cast.welder, message_id=key, at=FIXED_NOW)


def test_pages_through_a_long_inbox(cast: Cast, told: Any) -> None:
    for number in range(PAGE + 5):
        told(cast.engineer, f"number {number}")
    first = inbox(cast.engineer)
    assert (len(first.messages), first.unread) == (PAGE, PAGE + 5)
    rest = inbox(cast.engineer, before=first.older)
    assert [one.subject for one in rest.messages] == [f"number {number}" for number in (4, 3, 2, 1, 0)]
    assert rest.older is None
    assert len(inbox(cast.engineer, unread_only=True).messages) == PAGE


def test_keeps_which_kinds_come_by_mail(cast: Cast) -> None:
    assert mail_kinds(cast.engineer) == frozenset()
    choose_mail(by=cast.engineer, kinds=["reminder", "report_raised"], at=FIXED_NOW)
    choose_mail(by=cast.engineer, kinds=["reminder"], at=FIXED_NOW)
    assert mail_kinds(cast.engineer) == {Kind.REMINDER}
    with refused("kind_unknown", "shop_messages"):
        choose_mail(by=cast.engineer, kinds=["gossip"], at=FIXED_NOW)


def test_owes_mail_only_for_the_kinds_chosen(cast: Cast, told: Any) -> None:
    choose_mail(by=cast.engineer, kinds=["reminder"], at=FIXED_NOW)
    told(cast.engineer, "by mail")
    told(cast.engineer, "not by mail", kind=Kind.REPORT_RAISED)
    told(cast.welder, "never chose")
    owed = Message.objects.filter(mail_due__isnull=False).values_list("subject", flat=True)
    assert list(owed) == ["by mail"]


def test_has_words_for_every_kind() -> None:
    assert set(LABELS) == set(Kind)


def test_refuses_to_open_what_is_not_there(cast: Cast) -> None:
    with pytest.raises(NotFound):
        mark_read(by=cast.engineer, message_id=999, at=FIXED_NOW)


def test_tells_nobody_where_nobody_holds_the_role(db: None) -> None:
    tell(to=Role.METROLOGY, subject="Nobody", text="here.", at=FIXED_NOW)
    assert not Message.objects.exists()
