"""Sending again, in any order, in any pieces, at the same time: everything is stored once, and nothing else."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from threading import Barrier
from typing import Any, TypeVar

import pytest
from django.core.management import call_command
from django.db import connection, transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pytest_django.live_server_helper import LiveServer

from qcapp.core.errors import Conflict
from qcapp.inspections.models import CurrentAnswer, Result, StageSignOff
from qcapp.inspections.services.recording import Verdictlet

from ..cast import Cast
from ..config.sending import Tablet
from ..factories.inspections import STAGES, Workshop

T = TypeVar("T")

VALUES = {
    "head_angle": ["61.94", "62.20", "61.85"],
    "left_length": ["250.1", "250.2"],
    "right_length": ["250.0", "249.9"],
    "weld_w7": [{"conforms": True}, {"conforms": False}],
}
FOLLOWED_BY = {"left_length": "length_difference", "right_length": "length_difference"}


# ------------------------------------------------------------------------------------ any order, any splitting


@st.composite
def sets_of_operations(draw: st.DrawFn) -> list[tuple[str, int, int, int | None]]:
    """Operations as (checkpoint, value, inspection, index of the one corrected): a few readings and corrections."""
    found: list[tuple[str, int, int, int | None]] = []
    for _ in range(draw(st.integers(1, 6))):
        key = draw(st.sampled_from(sorted(VALUES)))
        inspection = draw(st.sampled_from([1, 2])) if key == "weld_w7" else 1
        earlier = [i for i, one in enumerate(found) if (one[0], one[2]) == (key, inspection)]
        corrected = draw(st.sampled_from([None, *earlier])) if earlier else None
        found.append((key, draw(st.integers(0, 2)), inspection, corrected))
    return found


def bodies_of(workshop: Workshop, chosen: list[tuple[str, int, int, int | None]]) -> list[dict[str, Any]]:
    bodies: list[dict[str, Any]] = []
    for key, value, inspection, corrected in chosen:
        person = workshop.cast.inspector if inspection == 1 else workshop.cast.second_inspector
        again = (
            {}
            if corrected is None
            else {"purpose": "correction", "base": bodies[corrected]["id"], "reason": "typed wrong"}
        )
        answers = VALUES[key]
        bodies.append(
            workshop.operation(key, answers[value % len(answers)], inspection=inspection, person=person, **again)
        )
    return bodies


@contextmanager
def undone() -> Iterator[None]:
    """What happens inside is rolled back."""
    with transaction.atomic():
        yield
        transaction.set_rollback(True)


def typed() -> set[tuple[Any, ...]]:
    """Every result that somebody typed, without what depends on when it came."""
    rows = Result.objects.exclude(purpose="computed").values_list(
        "operation", "body_digest", "answer", "outcome", "purpose", "person_id", "flags", "replaces"
    )
    return {(*row[:6], tuple(row[6]), tuple(sorted(row[7]))) for row in rows}


def counting() -> dict[tuple[int, int, int], Any]:
    """What counts in each slot; in a conflict only that it is one. Derived from a conflict: nothing to compare."""
    rows = CurrentAnswer.objects.values_list(
        "checkpoint_id", "round", "inspection", "conflict", "result__answer", "checkpoint__characteristic__key"
    )
    found = {row[:3]: "conflict" if row[3] else json.loads(row[4]) for row in rows}
    keys = {row[5]: row[:3] for row in rows}
    for key, follower in FOLLOWED_BY.items():
        if follower in keys and found.get(keys.get(key, (0, 0, 0))) == "conflict":
            found.pop(keys[follower], None)
    return found


@pytest.mark.django_db
@settings(
    max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow]
)
@given(chosen=sets_of_operations(), data=st.data())
def test_stores_the_same_whatever_the_order_the_splitting_and_the_repetition(
    workshop: Workshop, chosen: list[tuple[str, int, int, int | None]], data: st.DataObject
) -> None:
    bodies = bodies_of(workshop, chosen)
    with undone():
        workshop.send(*bodies)
        expected = typed(), counting()
    order = data.draw(st.permutations(bodies))
    twice = order + data.draw(st.lists(st.sampled_from(bodies), max_size=4))
    with undone():
        answers: list[Verdictlet] = []
        while twice:
            size = data.draw(st.integers(1, len(twice)))
            answers += workshop.send(*twice[:size])
            twice = twice[size:]
        assert (typed(), counting()) == expected
        assert {body["id"] for body in bodies} == {answer.id for answer in answers if answer.applied}
        assert {answer.outcome for answer in answers} <= {"applied", "duplicate"}
        call_command("rebuild_answers", "--check", verbosity=0, stdout=open_null())


def open_null() -> Any:
    import io

    return io.StringIO()


# --------------------------------------------------------------------------------------------- at the same time


def at_once(count: int, act: Callable[[int], T]) -> list[T]:
    """What `count` threads get that do the act at the same moment."""
    barrier = Barrier(count)

    def run(number: int) -> T:
        try:
            barrier.wait(timeout=30)
            return act(number)
        finally:
            connection.close()

    with ThreadPoolExecutor(count) as pool:
        return list(pool.map(run, range(count)))


@pytest.mark.django_db(transaction=True)
def test_applies_each_operation_once_when_eight_send_the_same_at_the_same_time(cast: Cast) -> None:
    workshop = Workshop.opened(cast)
    bodies = [workshop.operation(key) for key in STAGES[1]]
    sender = cast.inspector

    answered = at_once(8, lambda number: workshop.send(*bodies, by=sender, device=f"tablet {number}"))

    outcomes = [sorted(answers[place].outcome for answers in answered) for place in range(len(bodies))]
    assert outcomes == [["applied"] + ["duplicate"] * 7] * len(bodies)
    assert Result.objects.exclude(purpose="computed").count() == len(bodies)
    assert Result.objects.filter(purpose="computed").count() == 1
    assert not CurrentAnswer.objects.filter(conflict=True).exists()


@pytest.mark.django_db(transaction=True)
def test_answers_eight_tablets_that_post_the_same_batch_at_the_same_time(cast: Cast, live_server: LiveServer) -> None:
    workshop = Workshop.opened(cast)
    bodies = [workshop.operation(key) for key in STAGES[1]]
    tablets = [Tablet(live_server.url, cast.inspector, f"tablet {number}") for number in range(8)]

    answered = at_once(8, lambda number: tablets[number].send(*bodies))

    assert {one.status for one in answered} == {200}
    outcomes = [sorted(one.outcomes[place] for one in answered) for place in range(len(bodies))]
    assert outcomes == [["applied"] + ["duplicate"] * 7] * len(bodies)
    assert Result.objects.exclude(purpose="computed").count() == len(bodies)


@pytest.mark.django_db(transaction=True)
def test_keeps_every_answer_of_tablets_that_send_different_ones_at_the_same_time(cast: Cast) -> None:
    workshop = Workshop.opened(cast)
    sender = cast.inspector
    bodies = [workshop.operation("head_angle", f"61.9{number}") for number in range(4)]

    answered = at_once(4, lambda number: workshop.send(bodies[number], by=sender))

    assert [answers[0].outcome for answers in answered] == ["applied"] * 4
    assert sum(answers[0].conflict for answers in answered) == 3
    assert Result.objects.count() == 4
    assert CurrentAnswer.objects.get().conflict is True


@pytest.mark.django_db(transaction=True)
def test_lets_one_of_two_people_sign_who_do_so_at_the_same_time(cast: Cast) -> None:
    workshop = Workshop.opened(cast)
    workshop.answer_stage(1)
    people = [cast.inspector, cast.second_inspector]

    def sign(number: int) -> str:
        try:
            workshop.sign(1, people[number])
        except Conflict as refusal:
            return refusal.code
        return "signed"

    assert sorted(at_once(2, sign)) == ["signed", "stage_already_signed"]
    assert StageSignOff.objects.count() == 1


# ---------------------------------------------------------------------------------------------- the projection


@pytest.mark.django_db
def test_finds_and_puts_right_a_current_answer_that_is_not_what_the_results_say(workshop: Workshop) -> None:
    import io

    from django.core.management import CommandError

    left, right = workshop.operation("left_length"), workshop.operation("right_length")
    workshop.send(left, right)
    rows = {row.result.operation: row for row in CurrentAnswer.objects.select_related("result")}
    expected = sorted(CurrentAnswer.objects.values_list("checkpoint_id", "result_id", "conflict"))
    CurrentAnswer.objects.filter(result__operation=left["id"]).update(conflict=True)
    CurrentAnswer.objects.filter(result__operation=right["id"]).delete()
    assert len(rows) == 3

    with pytest.raises(CommandError, match="2 current answers"):
        call_command("rebuild_answers", "--check", stdout=io.StringIO())
    assert CurrentAnswer.objects.count() == 2
    told = io.StringIO()
    call_command("rebuild_answers", stdout=told)
    assert "2 put right" in told.getvalue()
    assert sorted(CurrentAnswer.objects.values_list("checkpoint_id", "result_id", "conflict")) == expected
    call_command("rebuild_answers", "--check", stdout=io.StringIO())
