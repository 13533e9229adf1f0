"""Whether the walk over the chain finds what was done to it behind the guards' back."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.db import connection, transaction
from django.db.models import F, QuerySet
from django.utils import timezone
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from qcapp.audit import anchors, queries
from qcapp.audit.models import ChainHead, Entry, Payload
from qcapp.audit.queries import ChainReport, check_chain
from qcapp.core.sealing import Break, chain, digest
from qcapp.lib.guards import lifted

from ..cast import FIXED_NOW
from .conftest import acts

Count = Callable[[int], list[int]]


@contextmanager
def behind_the_guards() -> Iterator[None]:
    """Somebody with the owner's password at the database."""
    connection.check_constraints()  # PostgreSQL alters no table with checks pending
    with lifted("a test plays the intruder", [Entry._meta.db_table, Payload._meta.db_table]):
        yield


def entry(number: int) -> Entry:
    return Entry.objects.get(number=number)


def change(number: int, **columns: Any) -> None:
    with behind_the_guards():
        QuerySet(Entry).filter(number=number).update(**columns)


def remove(number: int) -> None:
    with behind_the_guards():
        QuerySet(Payload).filter(entry__number=number).delete()
        QuerySet(Entry).filter(number=number).delete()


def swap(first: int, second: int) -> None:
    with behind_the_guards():
        for old, new in ((first, -1), (second, first), (-1, second)):
            QuerySet(Entry).filter(number=old).update(number=new)


def resealed(number: int) -> None:
    """The entry with another subject and all its own digests made to fit."""
    row = entry(number)
    header = row.header.replace(row.subject, "unit FR-200-9999")
    seal = chain(row.previous_digest, number, header)
    change(number, subject="unit FR-200-9999", header=header, digest=seal)


def appended(count: int) -> None:
    """A further entry, without moving the head."""
    last = entry(count)
    header = last.header.replace(f'"number":{count}', f'"number":{count + 1}')
    row = Entry(
        number=count + 1,
        at=last.at,
        verb=last.verb,
        actor=last.actor,
        subject=last.subject,
        header=header,
        payload_digest=last.payload_digest,
        previous_digest=last.digest,
        digest=chain(last.digest, count + 1, header),
    )
    row.save()
    Payload(entry=row, body=last.payload.body).save()


@contextmanager
def undone() -> Iterator[None]:
    """Whatever one example does to the database is gone after it."""
    with transaction.atomic():
        yield
        transaction.set_rollback(True)


def changed_payload(number: int) -> None:
    with behind_the_guards():
        QuerySet(Payload).filter(entry__number=number).update(body='{"family":"AX-200"}')


def without_payload(number: int) -> None:
    with behind_the_guards():
        QuerySet(Payload).filter(entry__number=number).delete()


SQLITE = connection.vendor == "sqlite"  # PostgreSQL takes no NUL character
TAMPERINGS: dict[str, Callable[[int], None]] = {
    "another subject": lambda n: change(n, subject="unit FR-200-9999"),
    "another person": lambda n: change(n, actor=""),
    "another verb": lambda n: change(n, verb="unit.scrapped"),
    "another time": lambda n: change(n, at=entry(n).at.replace(year=2025)),
    "another header": lambda n: change(n, header=entry(n).header.replace("FR", "AX")),
    "another digest": lambda n: change(n, digest="f" * 64),
    "another payload": changed_payload,
    "another payload with its digest": lambda n: (
        changed_payload(n),
        change(n, payload_digest=digest('{"family":"AX-200"}')),
    ),
    "no payload": without_payload,
    "a subject that cannot be sealed": lambda n: change(n, subject="unit\u0000" if SQLITE else ""),
    "another predecessor": lambda n: change(n, previous_digest="a" * 64),
    "removed": remove,
}


@pytest.mark.django_db
@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(count=st.integers(2, 6), data=st.data(), how=st.sampled_from(sorted(TAMPERINGS)))
def test_names_the_first_entry_that_was_touched(count: int, data: st.DataObject, how: str) -> None:
    with undone():
        acts(count)
        assert check_chain() == ChainReport(count, None, 0, "")
        number = data.draw(st.integers(1, count))
        TAMPERINGS[how](number)
        broken = check_chain().broken
        assert broken is not None
        assert broken.number == number


@pytest.mark.django_db
@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(count=st.integers(3, 6), data=st.data())
def test_names_the_first_of_two_entries_that_changed_places(count: int, data: st.DataObject) -> None:
    with undone():
        acts(count)
        first = data.draw(st.integers(1, count - 1))
        swap(first, data.draw(st.integers(first + 1, count)))
        broken = check_chain().broken
        assert broken is not None
        assert broken.number == first


@pytest.mark.django_db
@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(count=st.integers(2, 6), data=st.data())
def test_finds_an_entry_resealed_by_its_successor(count: int, data: st.DataObject) -> None:
    with undone():
        acts(count)
        number = data.draw(st.integers(1, count))
        resealed(number)
        broken = check_chain().broken
        assert broken is not None
        assert broken.reason is Break.UNLINKED
        assert broken.number == min(number + 1, count)  # the last one is held by the head


@pytest.mark.django_db
def test_finds_an_entry_beyond_the_head() -> None:
    acts(3)
    appended(3)
    broken = check_chain().broken
    assert broken is not None
    assert (broken.number, broken.reason) == (4, Break.INSERTED)


@pytest.mark.django_db
def test_finds_an_entry_put_in_before_another() -> None:
    acts(3)
    with behind_the_guards():
        QuerySet(Entry).filter(number=3).update(number=F("number") + 1)
    appended(2)
    broken = check_chain().broken
    assert broken is not None
    assert broken.number == 3


@pytest.mark.django_db
def test_finds_an_end_cut_off_while_the_head_stands() -> None:
    acts(4)
    remove(4)
    remove(3)
    broken = check_chain().broken
    assert broken is not None
    assert (broken.number, broken.reason) == (3, Break.CUT)


@pytest.mark.django_db
def test_finds_a_head_that_was_lost() -> None:
    acts(2)
    ChainHead.objects.all().delete()
    broken = check_chain().broken
    assert broken is not None
    assert (broken.number, broken.reason) == (1, Break.INSERTED)


@pytest.mark.django_db
def test_holds_before_the_first_act() -> None:
    assert check_chain() == ChainReport(0, None, 0, "")


@pytest.mark.django_db
def test_walks_a_chain_longer_than_one_portion(
    write_acts: Count, monkeypatch: pytest.MonkeyPatch, django_assert_num_queries: Any
) -> None:
    monkeypatch.setattr(queries, "ROWS_AT_ONCE", 2)
    write_acts(7)
    with django_assert_num_queries(4):
        assert check_chain().entries == 7


@pytest.mark.django_db
def test_shows_a_payload_that_was_made_unreadable(write_acts: Count) -> None:
    write_acts(2)
    with behind_the_guards():
        QuerySet(Payload).filter(entry__number=1).update(body="[1")
    assert queries.entries_about("unit FR-200-0000")[0].payload == {"unreadable": "[1"}
    broken = check_chain().broken
    assert broken is not None
    assert broken.number == 1


@pytest.mark.django_db
def test_tells_on_the_command_line_that_all_holds(write_acts: Count, capsys: pytest.CaptureFixture[str]) -> None:
    write_acts(2)
    call_command("anchor_audit")
    call_command("verify_audit")
    assert "2 entries and 1 anchors checked" in capsys.readouterr().out


@pytest.mark.django_db
def test_does_not_pass_when_somebody_took_the_anchors_away(
    write_acts: Count, capsys: pytest.CaptureFixture[str]
) -> None:
    """The chain alone cannot show a whole rewrite, so a nightly check without anchors has to be seen."""
    write_acts(2)
    call_command("anchor_audit")
    anchors.anchor_file().unlink()
    with pytest.raises(CommandError, match=r"Compare with a copy or a saved message: verify_audit --anchors") as caught:
        call_command("verify_audit")
    assert caught.value.returncode == 2
    assert "a cut end or a full rewrite would not show" in capsys.readouterr().out


@pytest.mark.django_db
def test_lets_a_site_begin_before_its_first_anchor(
    write_acts: Count, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    write_acts(2)
    monkeypatch.setattr(timezone, "now", lambda: FIXED_NOW + timedelta(days=1))
    call_command("verify_audit")
    told = capsys.readouterr().out
    assert "2 entries and 0 anchors checked." in told
    assert "No anchor in" in told


@pytest.mark.django_db
def test_says_who_may_not_read_a_file_of_anchors(write_acts: Count, monkeypatch: pytest.MonkeyPatch) -> None:
    """Root's tests may read everything, so the refusal of the system is played in."""
    write_acts(1)

    def refused(path: Path, *args: Any, **options: Any) -> None:
        raise PermissionError(13, "Permission denied", str(path))

    monkeypatch.setattr(Path, "open", refused)
    with pytest.raises(CommandError, match=r"saved\.eml may not be read by the user who runs this; give a copy"):
        call_command("verify_audit", "--anchors", "/root/saved.eml")


@pytest.mark.django_db
def test_names_the_first_broken_entry_on_the_command_line(
    write_acts: Count, capsys: pytest.CaptureFixture[str]
) -> None:
    write_acts(3)
    change(2, subject="unit FR-200-9999")
    with pytest.raises(CommandError) as caught:
        call_command("verify_audit")
    assert caught.value.returncode == 1
    assert "First broken entry: 2 (altered)" in capsys.readouterr().out
    with pytest.raises(CommandError):
        call_command("verify_audit", "--json")
    printed = json.loads(capsys.readouterr().out)
    assert (printed["holds"], printed["first_broken"], printed["reason"]) == (False, 2, "altered")
