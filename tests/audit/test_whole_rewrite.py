"""Whoever owns the database and writes the whole chain anew is found by the last anchor outside; so is everything less.

The intruder alters, removes, inserts or reorders entries anywhere up to the last anchor. Either nothing else is
touched, or all numbers, headers, digests and the head are made to fit.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import Any

import pytest
from django.db import transaction
from django.db.models import QuerySet
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from qcapp.audit import anchors
from qcapp.audit.models import ChainHead, Entry, Payload
from qcapp.audit.queries import check_chain
from qcapp.audit.services import anchor, record
from qcapp.audit.verbs import Verb
from qcapp.core.sealing import START, canonical, chain
from tests.cast import FIXED_NOW

from .conftest import ACTOR
from .test_chain import behind_the_guards, undone

KINDS = ("altered", "missing", "inserted", "reordered")
COLUMNS = ("at", "verb", "actor", "subject", "header", "payload_digest", "previous_digest", "digest")


@dataclass(frozen=True)
class Row:
    """An entry as the intruder has it in hand."""

    columns: dict[str, Any]
    body: str

    def about(self, subject: str) -> Row:
        return replace(self, columns=self.columns | {"subject": subject})


def different_acts(first: int, count: int) -> None:
    """So many acts, no two alike: of two that are, nobody could say which one is missing."""
    for place in range(first, first + count):
        with transaction.atomic():
            told = {"family": "FR-200", "place": place}
            record(verb=Verb.UNIT_OPENED, actor=ACTOR, subject=f"unit FR-200-{place:04}", at=FIXED_NOW, payload=told)


def chain_in_hand() -> list[Row]:
    found = Entry.objects.order_by("number").values(*COLUMNS, "payload__body")
    return [Row({name: row[name] for name in COLUMNS}, row["payload__body"]) for row in found]


def tampered(rows: list[Row], kind: str, at: int, other: int) -> list[Row]:
    """The rows with one thing done at place `at`, from 0; `other` is the place it changes with."""
    rows = list(rows)
    if kind == "altered":
        rows[at] = rows[at].about("unit FR-200-9999")
    elif kind == "missing":
        del rows[at]
    elif kind == "inserted":
        made_up = rows[at].about("unit FR-200-9999")  # with another seal, since no two may be alike
        rows.insert(at, replace(made_up, columns=made_up.columns | {"digest": "e" * 64}))
    else:
        rows[at], rows[other] = rows[other], rows[at]
    return rows


def fitted(rows: list[Row]) -> list[Row]:
    """Every header, link and digest made anew, so that the chain by itself holds."""
    previous, made = START, []
    for number, row in enumerate(rows, start=1):
        told = {name: row.columns[name] for name in ("actor", "subject", "verb")}
        at: datetime = row.columns["at"]
        told |= {"at": at.astimezone(UTC).isoformat(timespec="microseconds"), "payload": row.columns["payload_digest"]}
        header = canonical(told | {"number": number})
        seal = chain(previous, number, header)
        made.append(replace(row, columns=row.columns | {"header": header, "previous_digest": previous, "digest": seal}))
        previous = seal
    return made


def put_back(rows: list[Row], *, with_head: bool) -> None:
    with behind_the_guards():
        QuerySet(Payload).all().delete()
        QuerySet(Entry).all().delete()
    for number, row in enumerate(rows, start=1):
        entry = Entry(number=number, **row.columns)
        entry.save()
        Payload(entry=entry, body=row.body).save()
    if with_head:
        ChainHead.objects.update(number=len(rows), digest=rows[-1].columns["digest"] if rows else START)


@pytest.mark.django_db
@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(count=st.integers(2, 6), kind=st.sampled_from(KINDS), fits=st.booleans(), data=st.data())
def test_finds_whatever_was_done_up_to_the_last_anchor(count: int, kind: str, fits: bool, data: st.DataObject) -> None:
    anchored = data.draw(st.integers(1 if kind != "reordered" else 2, count))
    place = data.draw(st.integers(0, anchored - 1))
    other = data.draw(st.integers(0, anchored - 1).filter(lambda n: n != place)) if kind == "reordered" else place
    with undone():
        anchors.anchor_file().unlink(missing_ok=True)
        different_acts(0, anchored)
        assert anchor(at=FIXED_NOW)
        different_acts(anchored, count - anchored)
        assert check_chain().holds
        rows = tampered(chain_in_hand(), kind, place, other)
        put_back(fitted(rows) if fits else rows, with_head=fits)
        report = check_chain()
        assert not report.holds
        assert report.anchor_problem if fits else report.broken


@pytest.mark.django_db
@settings(max_examples=30, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(count=st.integers(2, 6), kind=st.sampled_from(KINDS), data=st.data())
def test_finds_what_was_done_even_without_an_anchor_unless_all_behind_it_is_made_to_fit(
    count: int, kind: str, data: st.DataObject
) -> None:
    place = data.draw(st.integers(0, count - 1))
    other = data.draw(st.integers(0, count - 1).filter(lambda n: n != place)) if kind == "reordered" else place
    with undone():
        anchors.anchor_file().unlink(missing_ok=True)
        different_acts(0, count)
        rows = tampered(chain_in_hand(), kind, place, other)
        put_back(rows, with_head=False)
        assert check_chain().broken
        put_back(fitted(rows), with_head=True)
        assert check_chain().holds  # that is what anchors elsewhere are for


@pytest.mark.django_db
def test_says_behind_which_entry_the_chain_was_written_anew() -> None:
    """The keeper asks since when: the last anchor that still fits says it."""
    with undone():
        anchors.anchor_file().unlink(missing_ok=True)
        for first in (0, 2, 4):
            different_acts(first, 2)
            assert anchor(at=FIXED_NOW)
        put_back(fitted(tampered(chain_in_hand(), "altered", 3, 3)), with_head=True)
        problem = check_chain().anchor_problem
        assert "(line 2) knows another entry 4: the chain was rewritten." in problem
        assert problem.endswith("still fits: what was done lies after entry 2.")
        put_back(fitted(tampered(chain_in_hand(), "altered", 0, 0)), with_head=True)
        assert "still fits" not in check_chain().anchor_problem
