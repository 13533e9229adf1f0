"""Reports that end without a correction, and those that were raised in error."""

from __future__ import annotations

from decimal import Decimal

import pytest

from qcapp.audit.queries import entries_about
from qcapp.people.models import Signature
from qcapp.production.queries import open_holds, unit_by_serial

from ..factories.inspections import Workshop
from ..factories.nonconformance import Case
from ..unchanged import refused

pytestmark = pytest.mark.django_db
ROOMS = ("nonconformance", "inspections", "production", "people")


def test_closes_use_as_is_under_its_concession(case: Case) -> None:
    case.decide("use_as_is").close_without_correction()
    assert (case.state, case.view.concession.number) == ("closed", "CN-2026-0001")  # type: ignore[union-attr]
    assert open_holds(case.workshop.item_id) == []
    assert unit_by_serial(case.workshop.serial).state == "in_build"


def test_refuses_to_close_use_as_is_when_the_concession_does_not_cover_what_counts(case: Case) -> None:
    """Decided on 62.40 °, then the entry was corrected to 62.60 °: the permission does not reach that far."""
    case.decide("use_as_is", concession_upper=Decimal("62.50")).correct_the_entry("62.60")
    with refused("not_proven", *ROOMS) as caught:
        case.close_without_correction()
    assert "101 Head angle: 62.60 ° is beyond CN-2026-0001." in caught.value.message


def test_scraps_the_unit_for_good_and_keeps_its_hold(case: Case) -> None:
    case.decide("scrap").destroy().close_without_correction()
    assert (case.state, unit_by_serial(case.workshop.serial).state) == ("closed", "scrapped")
    assert [hold.source for hold in open_holds(case.workshop.item_id)] == [case.number]
    (entry, *_) = entries_about("unit FR-200-0147")
    assert (entry.verb, entry.payload) == ("unit.scrapped", {"report": case.number})
    (answer,) = case.workshop.send(case.workshop.operation("left_length"))
    assert (answer.outcome, answer.code) == ("rejected", "unit_not_in_build")


def test_closes_a_second_report_about_a_scrapped_unit(case: Case) -> None:
    other = Case.by_hand(case.workshop).decide("scrap")
    case.decide("scrap").destroy().close_without_correction()
    assert other.close_without_correction().state == "closed"


def test_keeps_the_hold_on_what_goes_back_to_the_supplier(case: Case) -> None:
    case.decide("return_to_supplier").write_return_note().close_without_correction()
    assert [hold.source for hold in open_holds(case.workshop.item_id)] == [case.number]
    assert unit_by_serial(case.workshop.serial).state == "in_build"
    meaning = Signature.objects.order_by("-id").values_list("meaning", flat=True)[0]
    assert meaning.endswith("The part goes no further and stays on hold.")


def test_refuses_a_closing_by_somebody_who_may_not(case: Case) -> None:
    case.decide("scrap")
    with refused("not_permitted", *ROOMS):
        case.close_without_correction(by=case.cast.engineer)


# ------------------------------------------------------------------------------------------------ withdrawing


def test_is_withdrawn_by_two_persons_once_the_entry_is_corrected(case: Case) -> None:
    case.correct_the_entry()
    case.withdraw(case.cast.quality_manager)
    assert (case.state, case.view.moves[-1].name) == ("open", "withdrawal_signed")
    assert open_holds(case.workshop.item_id)
    case.withdraw(case.cast.engineer)
    assert case.state == "withdrawn"
    assert open_holds(case.workshop.item_id) == []
    verbs = [entry.verb for entry in entries_about(f"report {case.number}")]
    assert verbs == ["report.withdrawn", "report.withdrawal_signed", "report.raised"]


def test_refuses_two_signatures_of_one_person(case: Case) -> None:
    manager = case.cast.quality_manager
    case.correct_the_entry().withdraw(manager)
    with refused("second_person_needed", *ROOMS):
        case.withdraw(manager)


def test_refuses_the_withdrawal_while_the_answer_that_counts_does_not_conform(case: Case) -> None:
    with refused("still_does_not_conform", *ROOMS):
        case.withdraw(case.cast.quality_manager)


def test_refuses_the_withdrawal_on_an_answer_that_is_no_proof(case: Case) -> None:
    """The second reading is in band, but nobody knows what it was taken with."""
    repeat = {"purpose": "repeat", "reason": "dirt", "gauge": None, "person": case.cast.second_inspector}
    case.workshop.send(case.workshop.operation("head_angle", "62.00", **repeat), by=case.cast.second_inspector)
    with refused("still_does_not_conform", *ROOMS):
        case.withdraw(case.cast.quality_manager)


def test_refuses_the_withdrawal_by_who_recorded_the_result(workshop: Workshop) -> None:
    manager = workshop.cast.quality_manager
    (answer,) = workshop.send(workshop.operation("head_angle", "62.40", person=manager), by=manager)
    case = Case(workshop, str(answer.report)).correct_the_entry()
    with refused("own_report", *ROOMS):
        case.withdraw(manager)


def test_refuses_the_withdrawal_by_who_raised_the_report_by_hand(workshop: Workshop) -> None:
    case = Case.by_hand(workshop, by=workshop.cast.engineer)
    with refused("own_report", *ROOMS):
        case.withdraw(workshop.cast.engineer)
    case.withdraw(workshop.cast.quality_manager, workshop.cast.second_quality_manager)
    assert case.state == "withdrawn"


def test_refuses_the_withdrawal_by_somebody_who_may_not(case: Case) -> None:
    case.correct_the_entry()
    with refused("not_permitted", *ROOMS):
        case.withdraw(case.cast.inspector)


def test_lets_a_first_signature_lapse_when_something_more_is_found(case: Case) -> None:
    case.correct_the_entry().withdraw(case.cast.quality_manager)
    case.correct_the_entry("62.33").correct_the_entry("62.03")
    case.withdraw(case.cast.engineer)
    assert case.state == "open"
    case.withdraw(case.cast.second_quality_manager)
    assert case.state == "withdrawn"


def test_lets_a_first_signature_lapse_when_the_report_moves_on(case: Case) -> None:
    case.correct_the_entry().withdraw(case.cast.quality_manager).contain().withdraw(case.cast.engineer)
    assert case.state == "contained"


def test_withdraws_a_report_whose_second_inspection_disagreed_only_when_a_third_says_it_conforms(
    workshop: Workshop,
) -> None:
    workshop.answer_stage(1)
    workshop.sign(1)
    second, third = workshop.cast.second_inspector, workshop.cast.third_inspector
    workshop.send(workshop.operation("weld_w7"))
    bad = workshop.operation("weld_w7", {"conforms": False}, inspection=2, person=second)
    case = Case(workshop, str(workshop.send(bad, by=second)[0].report))
    with refused("still_does_not_conform", *ROOMS):
        case.withdraw(case.cast.quality_manager)
    workshop.send(workshop.operation("weld_w7", inspection=3, person=third), by=third)
    assert case.withdraw().state == "withdrawn"
