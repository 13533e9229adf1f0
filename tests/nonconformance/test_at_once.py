"""Several people at the same time: numbers without a gap, one decision, on the database of the run."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from decimal import Decimal
from threading import Barrier
from typing import Any, TypeVar

import pytest
from django.db import connections

from qcapp.core.errors import QcError, Refused
from qcapp.nonconformance.models import DispositionSignature, Report
from qcapp.nonconformance.services import by_hand, permits
from qcapp.people.services import demonstration_proof

from ..cast import FIXED_NOW, Cast
from ..factories.inspections import Workshop
from ..factories.nonconformance import Case

pytestmark = pytest.mark.django_db(transaction=True)
T = TypeVar("T")
PEOPLE = 6


def at_once(count: int, act: Callable[[int], T]) -> list[T]:
    """What `count` threads get that begin together, each with a connection of its own."""
    start = Barrier(count)

    def run(number: int) -> T:
        try:
            start.wait()
            return act(number)
        finally:
            connections.close_all()

    with ThreadPoolExecutor(count) as pool:
        return list(pool.map(run, range(count)))


def test_gives_numbers_without_a_gap_to_people_who_raise_at_the_same_time(
    cast: Cast, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each on a unit of their own, so that only the counter orders them; every third fails after it took its number."""
    first = Workshop.opened(cast)
    serials = [first.another_unit(f"FR-200-{200 + n:04}").serial for n in range(PEOPLE)]
    by, place_hold = cast.assembler, by_hand.place_hold

    def fail_sometimes(**told: Any) -> object:
        if told["reason"] == "Dent 2":
            raise Refused("no_hold", "The hold cannot be placed; try again.")
        return place_hold(**told)

    def raise_one(serial: str, turn: int) -> str:
        told = {"title": f"Dent {turn}", "description": "", "severity": "major", "serial": serial}
        try:
            return by_hand.raise_by_hand(by=by, at=FIXED_NOW, **told)
        except QcError as refusal:
            return refusal.code

    monkeypatch.setattr(by_hand, "place_hold", fail_sometimes)
    raised = at_once(PEOPLE, lambda n: [raise_one(serials[n], turn) for turn in range(4)])
    found = sorted(number for numbers in raised for number in numbers if number != "no_hold")
    assert found == [f"NCR-2026-{n:04}" for n in range(1, 3 * PEOPLE + 1)]
    assert Report.objects.count() == 3 * PEOPLE


def test_raises_one_report_for_tablets_that_send_a_failing_answer_at_the_same_time(cast: Cast) -> None:
    workshop = Workshop.opened(cast)
    people = [cast.inspector, cast.second_inspector, cast.third_inspector]
    operations = [workshop.operation("head_angle", f"62.4{n}", person=people[n]) for n in range(3)]
    said = at_once(3, lambda n: workshop.send(operations[n], by=people[n])[0])
    assert {answer.report for answer in said} == {"NCR-2026-0001"}
    assert Report.objects.count() == 1


def test_takes_one_signature_of_two_people_who_sign_in_one_role_at_the_same_time(cast: Cast) -> None:
    people = [cast.quality_manager, cast.second_quality_manager]
    case = Case.out_of_band(Workshop.opened(cast)).contain().propose()

    def sign(number: int) -> str:
        try:
            case.sign_as(people[number], "quality_manager")
        except QcError as refusal:
            return refusal.code
        return "signed"

    assert sorted(at_once(2, sign)) == ["role_signed", "signed"]
    assert DispositionSignature.objects.count() == 1


def test_gives_the_last_use_of_a_permit_to_one_of_two_who_decide_at_once(cast: Cast) -> None:
    for name in ("engineer", "quality_manager", "second_quality_manager", "inspector"):
        getattr(cast, name)
    first = Workshop.opened(cast)
    told = {"family_code": "FR-200", "checkpoint_key": "head_angle", "upper": Decimal("62.50"), "quantity": 1}
    number = permits.propose_permit(by=cast.engineer, statement="Up to 62.50°.", at=FIXED_NOW, **told)
    for role in ("engineer", "quality_manager"):
        proof = demonstration_proof(getattr(cast, role), FIXED_NOW)
        permits.sign_permit(proof=proof, number=number, role=role, at=FIXED_NOW)
    cases = [Case.out_of_band(unit).contain() for unit in (first, first.another_unit("FR-200-0148"))]
    for case in cases:
        case.propose("use_as_is", permit=number, concession_upper=None)
    people = (cast.quality_manager, cast.second_quality_manager)

    def decide(turn: int) -> str:
        try:
            cases[turn].sign_as(people[turn], "quality_manager")
        except QcError as refusal:
            return refusal.code
        return "decided"

    assert sorted(at_once(2, decide)) == ["decided", "permit_used_up"]
    assert sorted(case.state for case in cases) == ["contained", "decided"]
