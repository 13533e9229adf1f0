"""A concession for a number of units: used by later reports, counted, and refused after its end."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.test import Client

from qcapp.certificates.release_checks import check, standing_of
from qcapp.nonconformance.models import ConcessionUse
from qcapp.nonconformance.services.conceding import concessions_left

from ..factories.inspections import Workshop
from ..factories.nonconformance import LATER, Case
from ..unchanged import refused

pytestmark = pytest.mark.django_db
ROOMS = ("nonconformance", "inspections", "production", "people")
TODAY = date(2026, 3, 17)
SERIALS = ("FR-200-0148", "FR-200-0149", "FR-200-0150")
KEY, VALUE, LIMIT = "left_length", "251.0", Decimal("251.2")
Browser = Callable[[Any], Client]


def major(workshop: Workshop) -> Case:
    """A length out of band, which is no critical checkpoint; contained."""
    case = Case.out_of_band(workshop, KEY, VALUE)
    assert case.view.card.severity == "major"
    return case.contain()


def conceded(workshop: Workshop, **changes: Any) -> Case:
    return major(workshop).propose("use_as_is", concession_upper=LIMIT, **({"units_at_most": 2} | changes)).sign()


@pytest.fixture
def others(workshop: Workshop) -> list[Workshop]:
    return [workshop.another_unit(serial) for serial in SERIALS]


def test_accepts_further_units_until_the_number_is_reached(workshop: Workshop, others: list[Workshop]) -> None:
    first = conceded(workshop)
    second = major(others[0]).propose("use_as_is", permit="cn-2026-0001")
    assert second.missing == ("quality_manager",)  # the engineer has signed the two
    second.sign()
    assert (second.view.concession.upper, second.view.concession.number) == (LIMIT, "CN-2026-0002")  # type: ignore[union-attr]
    third = major(others[1])
    with refused("concession_used_up", *ROOMS) as caught:
        third.propose("use_as_is", permit="CN-2026-0001")
    assert "was for 2 units and 2 are used" in caught.value.message
    assert concessions_left(third.number, LATER) == []
    assert "For up to 2 units." in first.view.concession.says  # type: ignore[union-attr]


def test_gives_the_last_one_once(workshop: Workshop, others: list[Workshop]) -> None:
    conceded(workshop)
    one, two = (major(other).propose("use_as_is", permit="CN-2026-0001") for other in others[:2])
    one.sign()
    with refused("concession_used_up", *ROOMS):
        two.sign()
    assert ConcessionUse.objects.count() == 1


def test_refuses_its_use_after_its_last_day(workshop: Workshop, others: list[Workshop]) -> None:
    conceded(workshop, ends_on=TODAY, units_at_most=9)
    case = major(others[0])
    assert [one.left for one in concessions_left(case.number, LATER)] == [8]
    assert concessions_left(case.number, LATER + timedelta(days=1)) == []
    with refused("concession_ended", *ROOMS):
        case.propose("use_as_is", permit="CN-2026-0001", at=LATER + timedelta(days=1))


def test_hands_its_last_day_on_to_what_is_accepted_under_it(workshop: Workshop, others: list[Workshop]) -> None:
    conceded(workshop, ends_on=TODAY)
    case = major(others[0]).propose("use_as_is", permit="CN-2026-0001").sign()
    case.close_without_correction()
    found = {one.code: one for one in check(standing_of(others[0].serial))}["answers_conform"]
    assert (found.ok, found.sentence) == (False, "CN-2026-0002 ended on 17 March 2026; decide again.")


def test_concedes_critical_units_one_by_one(case: Case) -> None:
    case.contain()
    with refused("name_each_unit", *ROOMS):
        case.propose("use_as_is", units_at_most=3)


def test_is_for_no_fewer_than_the_report_is_about(workshop: Workshop) -> None:
    case = major(workshop)
    with refused("units_too_few", *ROOMS):
        case.propose("use_as_is", concession_upper=LIMIT, units_at_most=0)
    with refused("concession_not_needed", *ROOMS):
        case.propose("rework", units_at_most=2)


@pytest.mark.parametrize("permit", ["CN-2026-0001", "CN-2026-0099", "CN-" + chr(0)])
def test_is_for_further_units_only_where_it_says_so(workshop: Workshop, others: list[Workshop], permit: str) -> None:
    conceded(workshop, units_at_most=None)
    case = major(others[0])
    with refused("permit_for_others", *ROOMS):
        case.propose("use_as_is", permit=permit)


def test_ends_with_the_decision_that_gave_it(workshop: Workshop, others: list[Workshop]) -> None:
    first = conceded(workshop, units_at_most=5)
    first.correct_the_entry("250.0", KEY).withdraw(first.cast.second_quality_manager, first.cast.engineer)
    case = major(others[0])
    with refused("permit_for_others", *ROOMS):
        case.propose("use_as_is", permit="CN-2026-0001")


def test_is_offered_on_the_page(workshop: Workshop, others: list[Workshop], client_of: Browser) -> None:
    conceded(workshop, units_at_most=3)
    case = major(others[0])
    page = client_of(case.cast.quality_manager).get(f"/nonconformances/{case.number}/").text
    assert "CN-2026-0001: " in page
    assert "2 of 3 units left" in page
