"""The correction on the floor, and what has to be proven before its report closes."""

from __future__ import annotations

from decimal import Decimal

import pytest

from qcapp.audit.queries import entries_about
from qcapp.inspections.models import Adoption
from qcapp.inspections.queries import counting_answer
from qcapp.inspections.services import decide_result
from qcapp.nonconformance.services.correcting import finish_correction, start_correction
from qcapp.people.models import Signature
from qcapp.people.services import demonstration_proof
from qcapp.plans.models import PlanRevision
from qcapp.production.queries import holds_of, open_holds

from ..factories.inspections import PLAN, Workshop, release_plan
from ..factories.nonconformance import ACTION, LATER, Case
from ..unchanged import refused

pytestmark = pytest.mark.django_db
ROOMS = ("nonconformance", "inspections", "production", "people")


def test_opens_a_new_round_when_the_correction_is_finished(case: Case) -> None:
    case.decide(reinspect=["left_length"]).start()
    assert counting_answer(case.workshop.item_id, "head_angle").round == 1
    case.finish()
    for key in ("head_angle", "left_length"):
        checkpoint = counting_answer(case.workshop.item_id, key)
        assert (checkpoint.round, checkpoint.reopened_by, checkpoint.state) == (2, case.number, "open")
    assert counting_answer(case.workshop.item_id, "head_angle").earlier[0].described == "62.40 °"
    assert case.view.moves[-1].data["opened"] == {"head_angle": 2, "left_length": 2, "length_difference": 2}


def test_counts_nothing_that_was_measured_before_the_correction_was_finished(case: Case) -> None:
    case.decide().start()
    (answer,) = case.workshop.send(case.workshop.operation("head_angle", "62.00", round=2))
    assert (answer.outcome, answer.code) == ("rejected", "round_not_open")


def test_closes_when_the_new_round_is_in_band_and_lifts_the_hold(case: Case) -> None:
    case.decide().start().finish().inspect_again()
    assert open_holds(case.workshop.item_id)
    case.close()
    assert case.state == "closed"
    (hold,) = holds_of(case.workshop.item_id)
    assert (hold.is_open, hold.lifted_by_name, hold.lift_reason) == (False, "Isolde Brandt", "NCR-2026-0001 is closed.")
    (entry, *_) = entries_about(f"report {case.number}")
    assert (entry.verb, entry.payload["corrective_action"]) == ("report.closed", ACTION)
    meaning = Signature.objects.order_by("-id").values_list("meaning", flat=True)[0]
    assert meaning.startswith("I close NCR-2026-0001 on FR-200-0147")


def test_refuses_to_close_before_the_new_round_is_inspected(case: Case) -> None:
    case.decide(reinspect=["left_length"]).start().finish().inspect_again()
    with refused("not_proven", *ROOMS) as caught:
        case.close()
    assert caught.value.details["missing"] == [
        "102 Left length: not inspected in round 2 yet.",
        "104 Left minus right: not inspected in round 2 yet.",
    ]


def test_refuses_a_closing_by_who_carried_out_the_correction(case: Case) -> None:
    manager = case.cast.quality_manager
    case.decide().start(by=manager).finish().inspect_again()
    with refused("own_correction", *ROOMS):
        case.close(by=manager)
    case.close(by=case.cast.second_quality_manager)


def test_refuses_a_closing_on_an_answer_of_who_carried_out_the_correction(case: Case) -> None:
    corrector = case.cast.second_inspector
    case.decide().start(by=corrector).finish(by=case.cast.welder).inspect_again(person=corrector)
    with refused("not_proven", *ROOMS) as caught:
        case.close()
    assert "inspected by Barnaby Quill, who carried out the correction" in caught.value.message
    base = counting_answer(case.workshop.item_id, "head_angle").base
    told = {"purpose": "correction", "base": str(base), "reason": "measured by another person"}
    case.inspect_again("62.06", person=case.cast.inspector, **told).close()


def test_refuses_a_closing_by_somebody_who_may_not(case: Case) -> None:
    case.decide().start().finish().inspect_again()
    engineer = case.cast.engineer
    with refused("not_permitted", *ROOMS):
        case.close(by=engineer)


def test_refuses_a_closing_without_a_word_on_what_stops_it_from_coming_back(
    case: Case, monkeypatch: pytest.MonkeyPatch
) -> None:
    case.decide().start().finish().inspect_again()
    monkeypatch.setattr("tests.factories.nonconformance.ACTION", " ", raising=True)
    with refused("text_missing", *ROOMS):
        case.close()


def test_refuses_a_closing_on_an_answer_that_is_no_proof(case: Case) -> None:
    """The reading counts only once somebody has decided about the gauge that was past its date."""
    case.decide(reinspect=["left_length"]).start().finish().inspect_again()
    second = case.cast.second_inspector
    case.inspect_again("250.1", "left_length", gauge="CA-02").inspect_again("250.0", "right_length", round=1)
    with refused("not_proven", *ROOMS) as caught:
        case.close()
    assert "102 Left length: does not count as proof. The gauge was past" in caught.value.message
    assert counting_answer(case.workshop.item_id, "left_length").counts.person_id == second.pk  # type: ignore[union-attr]


def test_closes_once_the_doubt_is_decided(case: Case) -> None:
    case.decide().start().finish().inspect_again(gauge=None)
    with refused("not_proven", *ROOMS):
        case.close()
    answer = counting_answer(case.workshop.item_id, "head_angle").counts
    assert answer is not None
    decide_result(
        proof=demonstration_proof(case.cast.engineer, LATER),
        operation=answer.operation,
        about="gauge_missing",
        accepted=True,
        reason="Measured with AG-02, noted on the tag.",
        at=LATER,
    )
    case.close()


def test_does_not_mind_a_stage_out_of_turn(case: Case) -> None:
    """The report's own hold stands against the later stage that its correction disturbed."""
    case.decide(reinspect=["twist"]).start().finish().inspect_again().inspect_again("0.20", "twist", round=2)
    assert counting_answer(case.workshop.item_id, "twist").counts.flags == ("stage_not_open",)  # type: ignore[union-attr]
    assert case.close().state == "closed"


def test_closes_a_repair_whose_value_the_concession_covers(case: Case) -> None:
    """Out of the plan's band, but where the concession permits it to be: verified, not decided again."""
    case.decide("repair", concession_upper=Decimal("62.50")).start().finish().inspect_again("62.30")
    assert (case.state, case.view.moves[-1].name) == ("to_be_verified", "within_concession")
    assert case.view.moves[-1].note.endswith("62.30 ° (61.85 to 62.15 °), within concession CN-2026-0001.")
    assert case.close().state == "closed"


@pytest.mark.parametrize("value", ["62.51", "61.84"])
def test_sends_a_repair_back_whose_value_the_concession_does_not_cover(case: Case, value: str) -> None:
    case.decide("repair", concession_upper=Decimal("62.50")).start().finish().inspect_again(value)
    assert case.state == "contained"


def test_proves_a_checkpoint_that_a_later_report_opened_again(case: Case) -> None:
    """Both reports answer for it: neither closes while the last round is not inspected."""
    other = Case.by_hand(case.workshop, checkpoint_key="head_angle")
    case.decide().start().finish().inspect_again()
    other.decide().start().finish()
    assert counting_answer(case.workshop.item_id, "head_angle").round == 3
    for report in (case, other):
        with refused("not_proven", *ROOMS):
            report.close()
    other.inspect_again(round=3)
    assert (case.close().state, other.close().state) == ("closed", "closed")


# ------------------------------------------------------------------------- another revision of the plan meanwhile


def adopt(workshop: Workshop, plan: str) -> None:
    """The unit is inspected to revision E from now on, past the services: nothing offers that yet."""
    release_plan(workshop.cast, family_code="FR-200", letter="E", text=plan, at=LATER)
    revision = PlanRevision.objects.get(letter="E")
    Adoption.objects.create(item_id=workshop.item_id, revision=revision, by=workshop.cast.quality_manager, at=LATER)


def test_is_not_cleared_by_a_new_revision_of_the_plan(case: Case) -> None:
    case.decide().start().finish().inspect_again()
    adopt(case.workshop, PLAN)
    with refused("not_proven", *ROOMS) as caught:
        case.close()
    assert "101 Head angle: not inspected in round 1 yet." in caught.value.message


def test_is_not_cleared_by_a_revision_that_leaves_its_checkpoint_out(case: Case) -> None:
    case.decide().start().finish().inspect_again()
    lines = PLAN.splitlines(keepends=True)
    adopt(case.workshop, "".join(line for line in lines if ",head_angle," not in line))
    with refused("not_proven", *ROOMS) as caught:
        case.close()
    assert "101 Head angle: no longer in the plan of this unit" in caught.value.message
    case.fail()
    with refused("still_does_not_conform", *ROOMS):
        case.withdraw(case.cast.quality_manager)


def test_is_decided_again_after_a_correction_that_failed(case: Case) -> None:
    case.decide().start().finish().fail()
    assert (case.state, case.view.card.disposition) == ("contained", "")
    assert entries_about(f"report {case.number}")[0].verb == "report.correction_failed"
    case.propose("rework").sign().start().finish().inspect_again(round=2).close()


def test_opens_a_third_round_after_a_second_that_failed(case: Case) -> None:
    case.decide().start().finish().inspect_again("62.20")
    case.propose("rework").sign().start().finish()
    assert counting_answer(case.workshop.item_id, "head_angle").round == 3
    case.inspect_again("62.10", round=3).close()


@pytest.mark.parametrize("step", ["start", "finish", "fail"])
def test_refuses_a_step_of_somebody_who_may_not(case: Case, step: str) -> None:
    {"start": case.decide, "finish": lambda: case.decide().start(), "fail": lambda: case.decide().start().finish()}[
        step
    ]()
    nobody = case.cast.customer_service
    with refused("not_permitted", *ROOMS):
        getattr(case, step)(by=nobody)


def test_refuses_an_empty_word_on_what_was_done(case: Case) -> None:
    case.decide().start()
    with refused("text_missing", *ROOMS):
        finish_correction(by=case.cast.welder, number=case.number, note="", at=LATER)


def test_refuses_a_step_on_a_report_that_nobody_knows(workshop: Workshop) -> None:
    for number in ("NCR-2026-0999", "NCR\0"):
        with refused("report_unknown", *ROOMS):
            start_correction(by=workshop.cast.welder, number=number, at=LATER)


def test_opens_nothing_on_a_unit_that_another_report_scrapped(case: Case) -> None:
    other = Case.by_hand(case.workshop)
    case.decide().start()
    other.decide("scrap").destroy().close_without_correction()
    case.finish()
    assert counting_answer(case.workshop.item_id, "head_angle").round == 1
    case.fail().propose("scrap").sign().close_without_correction()
    assert case.state == "closed"
