"""What lists and pages read, and what they keep back."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest

from qcapp.core.errors import NotFound
from qcapp.nonconformance import queries
from qcapp.nonconformance.cards import SECRET, numbers_in, within

from ..factories.inspections import Workshop
from ..factories.nonconformance import Case

pytestmark = pytest.mark.django_db
Count = Callable[[int], Any]


def numbers(**filters: Any) -> list[str]:
    return [card.number for card in queries.reports(**filters)]


def test_lists_the_latest_report_first_by_state_and_serial(case: Case) -> None:
    other = Case.by_hand(case.workshop.another_unit("FR-200-0148"))
    case.correct_the_entry().withdraw()
    assert numbers() == [other.number, case.number]
    assert numbers(state="active") == [other.number]
    assert numbers(state="withdrawn") == [case.number]
    assert numbers(state="no such state") == []
    assert numbers(serial=" fr-200-0147 ") == [case.number]
    assert numbers(serial="FR\0") == []
    assert numbers(limit=1) == [other.number]


def test_counts_reports_in_every_state(case: Case) -> None:
    Case.by_hand(case.workshop).contain()
    counts = queries.counts_by_state()
    assert (counts["open"], counts["contained"], counts["closed"]) == (1, 1, 0)
    assert len(counts) == 7


def test_reads_a_report_whatever_its_case(case: Case) -> None:
    assert queries.report("ncr-2026-0001 ").card.number == case.number


@pytest.mark.parametrize("number", ["NCR-2026-0999", "", "NCR\0", "x" * 500])
def test_says_that_a_report_is_not_known(case: Case, number: str) -> None:
    with pytest.raises(NotFound) as caught:
        queries.report(number)
    assert caught.value.code == "report_unknown"
    assert len(caught.value.message) < 160


def test_names_the_moves_that_state_and_disposition_allow(case: Case) -> None:
    assert case.view.possible == ["contain", "withdraw"]
    case.decide("rework")
    assert case.view.possible == ["start_correction", "withdraw"]
    other = Case.by_hand(case.workshop).decide("scrap")
    assert other.view.possible == ["close_without_correction", "withdraw"]


def test_names_reports_by_result_and_by_checkpoint(case: Case) -> None:
    item = case.workshop.item_id
    assert list(queries.report_numbers_by_result(item).values()) == [case.number]
    card = case.workshop.card("head_angle")
    assert queries.active_by_checkpoint(item) == {card.id: case.number}
    case.correct_the_entry().withdraw()
    assert queries.active_by_checkpoint(item) == {}
    assert [card.number for card in queries.open_reports(item)] == []


def test_reads_a_long_list_in_few_queries(case: Case, django_assert_max_num_queries: Count) -> None:
    for _ in range(5):
        Case.by_hand(case.workshop)
    case.decide("use_as_is")
    viewer = case.cast.inspector
    with django_assert_max_num_queries(3):
        assert len(queries.reports(state="active", viewer=viewer)) == 6
    with django_assert_max_num_queries(16):
        assert queries.report(case.number, viewer=viewer).concession is not None


def test_reads_the_steps_of_several_reports_in_one_query(case: Case, django_assert_max_num_queries: Count) -> None:
    Case.by_hand(case.workshop).contain()
    case.decide()
    ids = [card.id for card in queries.reports_of(case.workshop.item_id)]
    with django_assert_max_num_queries(1):
        found = queries.moves_by_report(ids)
    assert [len(found[one]) for one in ids] == [5, 1]
    assert queries.moves_by_report([]) == {}


# ----------------------------------------------------------------- a first answer that somebody must not see yet


@pytest.fixture
def secret(workshop: Workshop) -> Case:
    """The first inspector found the weld bad; the second inspection is still to be given."""
    workshop.answer_stage(1)
    workshop.sign(1)
    return Case.out_of_band(workshop, "throat_w7", "2.2")


def test_keeps_what_was_found_from_who_may_give_the_second_inspection(secret: Case) -> None:
    for viewer in (None, secret.cast.second_inspector):
        view = queries.report(secret.number, viewer=viewer)
        assert (view.card.title, view.card.hidden, view.facts, view.proposal) == (SECRET, True, {}, None)
        (card,) = queries.reports(viewer=viewer)
        assert (card.title, card.hidden) == (SECRET, True)
        (card,) = queries.reports_of(secret.workshop.item_id, viewer=viewer)
        assert card.hidden


def test_shows_what_was_found_to_who_found_it_and_to_who_cannot_inspect(secret: Case) -> None:
    for viewer in (secret.cast.inspector, secret.cast.engineer, secret.cast.customer_service):
        view = queries.report(secret.number, viewer=viewer)
        assert (view.card.title, view.card.hidden) == ("202 Throat of W7: 2.2 mm (min 3.0 mm)", False)


def test_shows_what_was_found_once_the_second_inspection_is_given(secret: Case) -> None:
    second = secret.cast.second_inspector
    told = {"inspection": 2, "person": second}
    secret.workshop.send(secret.workshop.operation("throat_w7", "2.3", **told), by=second)
    assert not queries.report(secret.number, viewer=secret.cast.third_inspector).card.hidden


def test_keeps_the_answer_of_a_new_round_back_and_not_that_of_the_round_before(secret: Case) -> None:
    second, third = secret.cast.second_inspector, secret.cast.third_inspector
    told = {"inspection": 2, "person": second}
    secret.workshop.send(secret.workshop.operation("throat_w7", "2.3", **told), by=second)
    secret.decide().start().finish().inspect_again("2.5", "throat_w7", person=secret.cast.inspector)
    view = queries.report(secret.number, viewer=third)
    assert (view.card.hidden, view.moves[-1].name, view.moves[-1].note) == (False, "fail_verification", SECRET)
    assert "2.5 mm" in queries.report(secret.number, viewer=secret.cast.engineer).moves[-1].note


def test_keeps_what_is_computed_from_a_secret_answer_back(cast: Any) -> None:
    plan = (
        "stage_number,stage_name,hold_point,number,key,title,kind,nominal,limits,unit_of_measure,decimals,formula,form,"
        "criticality,gauge_kinds,frequency,second_inspection,joint\n"
        "1,Weld,no,101,leg,Leg of the weld,measured,,min 1,mm,1,,,major,,every,yes,\n"
        "1,Weld,no,102,throat,Throat of the weld,derived,,min 3,mm,1,leg * 0.7,,major,,every,no,\n"
    )
    workshop = Workshop.opened(cast, plan=plan)
    (answer,) = workshop.send(workshop.operation("leg", "4.0"))
    number = str(answer.computed[0].report)
    assert queries.report(number, viewer=cast.second_inspector).card.title == SECRET
    assert queries.report(number, viewer=cast.inspector).card.title == "102 Throat of the weld: 2.8 mm (min 3.0 mm)"


# ------------------------------------------------------------------------------------------------ plain numbers


def test_reads_every_number_of_an_answer() -> None:
    assert numbers_in({"value": "0.62"}) == [Decimal("0.62")]
    assert numbers_in({"values": ["1.0", "2.0"]}) == [Decimal("1.0"), Decimal("2.0")]
    assert numbers_in({"count": 3}) == [Decimal(3)]
    assert numbers_in({"conforms": False}) == numbers_in({"text": "H4711"}) == []


def test_lets_a_limit_of_a_concession_belong_to_it() -> None:
    one, two = Decimal(1), Decimal(2)
    assert within([one, two], one, two)
    assert not within([Decimal("0.9999")], one, two)
    assert not within([one, Decimal("2.0001")], None, two)
    assert not within([one], None, None)
