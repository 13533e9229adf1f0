"""The signed act of release, what blocks it, and its withdrawal."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta
from threading import Barrier
from typing import Any

import pytest
from django.db import connections

from qcapp.audit.queries import entries_about
from qcapp.certificates.models import Release
from qcapp.certificates.queries import release_state, releases_of
from qcapp.certificates.release_checks import CHECKS
from qcapp.certificates.services.releasing import release, withdraw_release
from qcapp.core.errors import QcError, Refused
from qcapp.core.sealing import digest
from qcapp.inspections.queries import counting_answer
from qcapp.messages.queries import inbox
from qcapp.people.models import Signature
from qcapp.people.services import demonstration_proof
from qcapp.production.queries import unit_by_serial

from ..cast import Cast
from ..factories.certificates import RELEASED_AT, release_unit
from ..factories.inspections import Workshop
from ..factories.nonconformance import Case
from ..unchanged import refused

ROOMS = ("certificates", "production", "people", "inspections", "nonconformance")


def take_back(workshop: Workshop, reason: str = "Customer found a dent.", **changes: Any) -> None:
    by = changes.get("by", workshop.cast.quality_manager)
    proof = demonstration_proof(by, RELEASED_AT)
    withdraw_release(proof=proof, serial=workshop.serial, reason=reason, at=RELEASED_AT)


def correction(workshop: Workshop, value: str = "61.99") -> dict[str, Any]:
    base = str(counting_answer(workshop.item_id, "head_angle").base)
    return workshop.operation("head_angle", value, purpose="correction", base=base, reason="misread")


@pytest.mark.django_db
class TestRelease:
    def test_releases_a_unit_that_is_proven(self, ready: Workshop) -> None:
        release_unit(ready)
        state = release_state(ready.serial)
        assert (state.released, unit_by_serial(ready.serial).state) == (True, "released")
        (card,) = state.releases
        assert (card.person_name, card.function, card.given) == ("Isolde Brandt", "quality manager", True)
        assert card.meaning == (
            "I release FR-200-0147: all release checks passed. Inspected to FR-200 revision D, released."
        )
        assert entries_about("unit FR-200-0147")[0].verb == "release.given"

    def test_lets_a_named_deputy_release_and_says_for_whom(self, ready: Workshop) -> None:
        release_unit(ready, ready.cast.deputy)
        (card,) = releases_of(ready.item_id)
        assert card.function == "quality manager, deputy for Isolde Brandt"

    def test_refuses_while_something_is_unproven_and_names_all_of_it(self, workshop: Workshop) -> None:
        Case.out_of_band(workshop)
        with refused("release_blocked", *ROOMS) as caught:
            release_unit(workshop)
        findings = caught.value.details["findings"]
        assert [one["code"] for one in findings] == [  # type: ignore[attr-defined]
            "all_answered",
            "second_inspections",
            "answers_conform",
            "reports_ended",
            "holds_lifted",
            "stages_signed",
        ]
        assert "Every checkpoint that is due is answered: 10 of 11 are open" in caught.value.message
        assert findings[0]["links"][0]["url"].startswith("/units/FR-200-0147/bench/")  # type: ignore[index]

    def test_tells_the_other_quality_managers_once_a_day(self, workshop: Workshop) -> None:
        cast = workshop.cast
        by, other = cast.quality_manager, cast.second_quality_manager
        for _ in range(2):
            with refused("release_blocked", *ROOMS):
                release(proof=demonstration_proof(by, workshop.at), serial=workshop.serial, at=workshop.at)
        subject = f"Release of {workshop.serial} was refused"
        assert [one.subject for one in inbox(other).messages].count(subject) == 1
        assert subject not in [one.subject for one in inbox(by).messages]

    @pytest.mark.parametrize("part", ["inspector", "engineer", "customer_service"])
    def test_refuses_somebody_who_may_not(self, ready: Workshop, part: str) -> None:
        by = getattr(ready.cast, part)
        with refused("not_permitted", *ROOMS):
            release_unit(ready, by)

    def test_refuses_a_deputy_whose_time_is_over(self, ready: Workshop) -> None:
        by = ready.cast.deputy
        with refused("not_permitted", *ROOMS):
            release_unit(ready, by, at=RELEASED_AT + timedelta(days=30))

    def test_refuses_a_second_release(self, ready: Workshop) -> None:
        release_unit(ready)
        with refused("released_already", *ROOMS):
            release_unit(ready)

    def test_refuses_an_unknown_serial(self, ready: Workshop) -> None:
        proof = demonstration_proof(ready.cast.quality_manager, RELEASED_AT)
        with refused("serial_unknown", *ROOMS):
            release(proof=proof, serial="FR-200-9999", at=RELEASED_AT)

    def test_keeps_what_every_check_found_under_the_signature(self, ready: Workshop) -> None:
        release_unit(ready)
        row = Release.objects.get()
        assert row.checks.count('"ok":true') == len(CHECKS)
        assert row.signature.covers == digest(row.checks)
        with pytest.raises(Refused, match="never changed"):
            row.delete()

    def test_takes_no_result_and_no_signature_after_the_release(self, ready: Workshop) -> None:
        late = correction(ready)
        release_unit(ready)
        (answer,) = ready.send(late)
        assert (answer.outcome, answer.code) == ("rejected", "unit_not_in_build")
        with refused("unit_not_in_build", *ROOMS):
            ready.sign(3)

    def test_is_blocked_by_a_correction_that_came_before(self, ready: Workshop) -> None:
        ready.send(correction(ready))
        with refused("release_blocked", *ROOMS) as caught:
            release_unit(ready)
        assert [one["code"] for one in caught.value.details["findings"]] == ["stages_signed"]  # type: ignore[attr-defined]


@pytest.mark.django_db
class TestWithdrawal:
    def test_takes_a_release_back_with_a_reason(self, ready: Workshop) -> None:
        release_unit(ready)
        take_back(ready)
        assert unit_by_serial(ready.serial).state == "in_build"
        latest, first = releases_of(ready.item_id)
        assert (latest.given, latest.reason, first.given) == (False, "Customer found a dent.", True)
        assert Signature.objects.latest("id").meaning == (
            "I withdraw the release of FR-200-0147: Customer found a dent."
        )
        assert entries_about("unit FR-200-0147")[0].verb == "release.withdrawn"

    def test_lets_the_unit_be_inspected_and_released_again(self, ready: Workshop) -> None:
        release_unit(ready)
        take_back(ready)
        (answer,) = ready.send(correction(ready))
        assert answer.applied
        ready.sign(1)
        release_unit(ready)
        assert [card.given for card in releases_of(ready.item_id)] == [True, False, True]

    def test_refuses_what_was_never_released(self, ready: Workshop) -> None:
        with refused("not_released", *ROOMS):
            take_back(ready)

    def test_refuses_without_a_reason(self, ready: Workshop) -> None:
        release_unit(ready)
        with refused("text_missing", *ROOMS):
            take_back(ready, " ")

    def test_refuses_somebody_who_may_not(self, ready: Workshop) -> None:
        release_unit(ready)
        with refused("not_permitted", *ROOMS):
            take_back(ready, by=ready.cast.inspector)


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("turn", range(3))
def test_orders_a_release_and_a_late_correction_by_the_unit_s_row(cast: Cast, turn: int) -> None:
    """One of the two comes first: a released unit never has an answer that its signatures do not cover."""
    workshop = Workshop.opened(cast).finish()
    late, proof = correction(workshop, "62.40"), demonstration_proof(cast.quality_manager, RELEASED_AT)

    def correct() -> str:
        (answer,) = workshop.send(late)
        return answer.code or answer.outcome

    def give() -> str:
        try:
            release(proof=proof, serial=workshop.serial, at=RELEASED_AT)
        except QcError as refusal:
            return refusal.code
        return "released"

    assert both_at_once(correct, give) in [("applied", "release_blocked"), ("unit_not_in_build", "released")]
    state = release_state(workshop.serial)
    assert state.released is (unit_by_serial(workshop.serial).state == "released")
    assert state.released is all(finding.ok for finding in state.findings)


def both_at_once(first: Callable[[], str], second: Callable[[], str]) -> tuple[str, str]:
    """What two threads get that begin together, each with a connection of its own."""
    start = Barrier(2)

    def run(act: Callable[[], str]) -> str:
        try:
            start.wait()
            return act()
        finally:
            connections.close_all()

    with ThreadPoolExecutor(2) as pool:
        one, other = pool.map(run, (first, second))
    return one, other
