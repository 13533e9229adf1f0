"""Who is told what when a report moves."""

from __future__ import annotations

import pytest

from qcapp.messages.queries import inbox
from qcapp.people.models import Person

from ..factories.nonconformance import Case

pytestmark = pytest.mark.django_db


def told(person: Person) -> list[str]:
    return [one.subject for one in inbox(person).messages]


def meet(case: Case) -> None:
    """Messages go to whoever works here at that moment."""
    cast = case.cast
    for person in (cast.quality_manager, cast.engineer, cast.welding_coordinator, cast.welder, cast.inspector):
        assert person.name


def test_tells_the_quality_manager_where_and_not_what(case: Case) -> None:
    meet(case)
    other = Case.out_of_band(case.workshop, "twist", "0.80")
    (one,) = [one for one in inbox(case.cast.quality_manager).messages if other.number in one.subject]
    assert one.subject == f"{other.number} raised on FR-200-0147"
    assert one.text == "Critical, found at checkpoint 301 Head twist. Contain it and decide."
    assert one.link == f"/nonconformances/{other.number}/"
    assert "0.80" not in one.text + one.subject


def test_says_that_no_checkpoint_asks_about_what_somebody_found_by_hand(case: Case) -> None:
    meet(case)
    other = Case.by_hand(case.workshop)
    (one,) = [one for one in inbox(case.cast.quality_manager).messages if other.number in one.subject]
    assert one.text == "Major; no checkpoint asks about it. Contain it and decide."


def test_asks_each_role_for_its_signature(case: Case) -> None:
    meet(case)
    case.contain().propose("repair")
    subject = f"{case.number}: repair waits for your signature"
    for person in (case.cast.engineer, case.cast.welding_coordinator):
        assert subject in told(person)
    assert subject not in told(case.cast.quality_manager)  # who proposed it
    assert told(case.cast.welder) == []


def test_tells_who_corrects_and_who_verifies(case: Case) -> None:
    meet(case)
    case.decide("rework")
    assert told(case.cast.welder) == [f"{case.number}: Rework to be done"]
    case.start().finish()
    assert f"{case.number}: correction to be verified" in told(case.cast.inspector)
    case.fail()
    assert told(case.cast.engineer)[0] == f"{case.number}: rework waits for your signature"
    assert not [one for one in told(case.cast.quality_manager) if "failed" in one]  # it was the manager who said so


def test_has_nothing_corrected_where_nothing_is_to_be_corrected(case: Case) -> None:
    meet(case)
    case.decide("use_as_is")
    assert told(case.cast.welder) == []


def test_asks_for_the_second_signature_of_a_withdrawal(case: Case) -> None:
    meet(case)
    case.correct_the_entry().withdraw(case.cast.quality_manager)
    assert told(case.cast.engineer) == [f"{case.number}: withdrawal waits for a second signature"]
