"""Each release check, once proven and once not, with the sentence and the place to go."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from qcapp.certificates.queries import release_state
from qcapp.certificates.release_checks import CHECKS, Finding, check, standing_of
from qcapp.goods.services.outside import send_out
from qcapp.inspections.models import Adoption
from qcapp.inspections.queries import counting_answer
from qcapp.inspections.queries.adopting import preview_of
from qcapp.inspections.services import decide_result
from qcapp.inspections.services.adopting import choose_plan
from qcapp.people.services import demonstration_proof
from qcapp.plans.models import PlanRevision
from qcapp.plans.queries import revision_card
from qcapp.plans.services import withdraw
from qcapp.production.models import Consumption, Heat
from qcapp.production.queries import unit_by_serial
from qcapp.production.services import hold_unit

from ..factories.inspections import PLAN, Workshop, release_plan
from ..factories.nonconformance import Case

pytestmark = pytest.mark.django_db
CODES = [one.__name__ for one in CHECKS]


def finding(workshop: Workshop, code: str) -> Finding:
    return next(one for one in check(standing_of(workshop.serial)) if one.code == code)


PROVEN = {
    "nothing_left_behind": "Nothing was.",
    "unit_in_hand": "FR-200-0147 is in build.",
    "in_the_house": "It is not out for a process.",
    "plan_stands": "Inspected to FR-200 revision D, released.",
    "all_answered": "All 11 checkpoints that were due are answered.",
    "no_conflict": "No checkpoint was answered twice without seeing the other answer.",
    "second_inspections": "3 given by another person, or decided by a third.",
    "photos_there": "The plan asks for none.",
    "answers_are_proof": "Gauges were in calibration, stages open, clocks right.",
    "near_limits_decided": "None is waiting.",
    "answers_conform": "No answer stands out of band.",
    "parts_in_order": "Nothing that is built in stands against it.",
    "reports_ended": "None was raised.",
    "holds_lifted": "The unit is not on hold.",
    "stages_signed": "3 stages signed.",
}


@pytest.mark.parametrize("code", CODES)
def test_finds_it_proven(ready: Workshop, code: str) -> None:
    found = finding(ready, code)
    assert (found.ok, found.sentence) == (True, PROVEN[code])


def withdraw_the_plan(workshop: Workshop) -> None:
    proof = demonstration_proof(workshop.cast.second_quality_manager, workshop.at)
    withdraw(proof=proof, revision_uuid=workshop.revision, reason="Drawing withdrawn.", at=workshop.at)


def answer_one_twice(workshop: Workshop) -> None:
    workshop.send(workshop.operation("head_angle", "61.94"), by=workshop.cast.inspector)
    other = workshop.cast.second_inspector
    workshop.send(workshop.operation("head_angle", "61.96", person=other), by=other)


def send_to_be_coated(workshop: Workshop) -> None:
    told = {"kind": "coating", "supplier": "Tarn Plating", "high_strength": False}
    send_out(by=workshop.cast.goods_in, code=workshop.serial, at=workshop.at, **told)


def hold_by_hand(workshop: Workshop) -> None:
    told = {"source": "Heat 7K4412", "reason": "Mill certificate in doubt.", "from_stage": 3, "at": workshop.at}
    hold_unit(by=workshop.cast.quality_manager, serial=workshop.serial, **told)


def ask_for_a_photo(workshop: Workshop) -> None:
    """The unit is inspected to a later revision, which asks for a photo at 105."""
    head, *rows = PLAN.strip().split("\n")
    text = "\n".join([f"{head},photo", *(f"{row},{'yes' if ',tack_look,' in row else ''}" for row in rows)])
    uuid = release_plan(workshop.cast, family_code="FR-200", letter="E", text=text, at=workshop.at)
    revision = PlanRevision.objects.get(uuid=uuid)
    Adoption.objects.create(item_id=workshop.item_id, revision=revision, by=workshop.cast.inspector, at=workshop.at)


Arrange = Callable[[Workshop], Any]
# What happens on a unit with nothing answered, the sentence that tells it, and the first place to go.
BENCH = "/units/FR-200-0147/bench/"
UNIT = "/units/FR-200-0147/"
DECIDE = "/units/FR-200-0147/release/#decisions"


def adopt_a_plan_that_asks_less(workshop: Workshop) -> None:
    """What was found out of band is no longer asked."""
    workshop.send_one("twist", "0.60")
    text = "".join(line for line in PLAN.splitlines(keepends=True) if ",twist," not in line)
    revision = release_plan(workshop.cast, family_code="FR-200", letter="E", text=text, at=workshop.at)
    shown = {workshop.serial: preview_of(unit_by_serial(workshop.serial), revision_card(revision)).covers}
    proof = demonstration_proof(workshop.cast.quality_manager, workshop.at)
    choose_plan(
        proof=proof, revision_uuid=revision, shown=shown, choice="adopt", reason="Twist is not asked.", at=workshop.at
    )


def use_an_undecided_heat(workshop: Workshop) -> None:
    """Tube of a heat that goods-in has not accepted, written past the service, which would refuse it."""
    by, at = workshop.cast.goods_in, workshop.at
    heat = Heat.objects.create(
        number="H-77", lookup="H77", supplier="Mill", grade="4130", state="entered", entered_by=by, entered_at=at
    )
    Consumption.objects.create(item_id=workshop.item_id, heat=heat, use="main tubes", by=by, at=at)


NOT_PROVEN: dict[str, tuple[Arrange, str, str]] = {
    "unit_in_hand": (
        lambda w: Case.by_hand(w).decide("scrap").destroy().close_without_correction(),
        "FR-200-0147 is scrapped; it is never released.",
        UNIT,
    ),
    "plan_stands": (withdraw_the_plan, "FR-200 revision D is withdrawn; the unit needs another revision.", "/plans/"),
    "in_the_house": (
        send_to_be_coated,
        "FR-200-0147 is out for a process and was not received back with its certificate.",
        "/goods/outside/FR-200-0147/",
    ),
    "nothing_left_behind": (
        adopt_a_plan_that_asks_less,
        "No longer asked, but found: 301 Head twist: 0.60 mm. It takes a disposition with a concession.",
        UNIT,
    ),
    "parts_in_order": (use_an_undecided_heat, "heat H-77 is not decided.", UNIT),
    "all_answered": (
        lambda w: w.answer_stage(1),
        "6 of 11 are open: 201, 202, 203, 204, 205, 301.",
        f"{BENCH}?checkpoint=weld_w7",
    ),
    "no_conflict": (
        answer_one_twice,
        "Answered twice without seeing each other: 101. Correct one.",
        f"{BENCH}?checkpoint=head_angle",
    ),
    "second_inspections": (
        lambda w: w.send(w.operation("weld_w7")),
        "3 of 3 are missing: 201, 202, 205.",
        f"{BENCH}?checkpoint=weld_w7",
    ),
    "photos_there": (ask_for_a_photo, "No photo yet: 105.", f"{BENCH}?checkpoint=tack_look"),
    "answers_are_proof": (
        lambda w: w.send(w.operation("left_length", gauge="CA-02")),
        "102 wait for a decision. 102: The gauge was past its calibration date.",
        DECIDE,
    ),
    "near_limits_decided": (
        lambda w: w.send(w.operation("head_angle", "62.145")),
        "101 wait for the quality manager or the engineer.",
        DECIDE,
    ),
    "answers_conform": (
        lambda w: w.send(w.operation("head_angle", "62.40"), w.operation("tack_look", {"conforms": False})),
        "Do not conform: 101, 105.",
        f"{BENCH}?checkpoint=head_angle",
    ),
    "reports_ended": (
        lambda w: [Case.by_hand(w), Case.out_of_band(w).contain()],
        "NCR-2026-0001 is open; NCR-2026-0002 is contained.",
        "/nonconformances/NCR-2026-0001/",
    ),
    "holds_lifted": (hold_by_hand, "Heat 7K4412: Mill certificate in doubt.", UNIT),
    "stages_signed": (lambda w: w.finish(1), "Not signed: stage 2, 3.", BENCH),
}


@pytest.mark.parametrize("code", CODES)
def test_finds_it_not_proven(workshop: Workshop, code: str) -> None:
    arrange, sentence, url = NOT_PROVEN[code]
    arrange(workshop)
    found = finding(workshop, code)
    assert (found.ok, found.sentence) == (False, sentence)
    assert found.links[0].url.startswith(url)


def test_has_a_proven_and_an_unproven_case_for_every_check() -> None:
    assert set(PROVEN) == set(NOT_PROVEN) == set(CODES)


def test_asks_a_third_person_where_two_inspections_disagree(workshop: Workshop) -> None:
    second = workshop.cast.second_inspector
    workshop.send(workshop.operation("weld_w7"))
    workshop.send(workshop.operation("weld_w7", {"conforms": False}, inspection=2, person=second), by=second)
    assert finding(workshop, "second_inspections").sentence.endswith("A third person decides 201.")


def test_says_which_stage_changed_since_it_was_signed(ready: Workshop) -> None:
    base = str(counting_answer(ready.item_id, "tack_look").base)
    again = {"purpose": "correction", "base": base, "reason": "looked at the wrong side"}
    ready.send(ready.operation("tack_look", **again))
    found = finding(ready, "stages_signed")
    assert found.sentence == "Not signed: stage 1. Stage 1 changed since it was signed."


@pytest.mark.parametrize("accepted", [True, False])
def test_takes_a_flagged_answer_as_proof_once_it_is_accepted(workshop: Workshop, accepted: bool) -> None:
    workshop.send(workshop.operation("left_length", gauge="CA-02"))
    operation = counting_answer(workshop.item_id, "left_length").counts.operation  # type: ignore[union-attr]
    decide_result(
        proof=demonstration_proof(workshop.cast.engineer, workshop.at),
        operation=operation,
        about="gauge_overdue",
        accepted=accepted,
        reason="Calibrated the day after, no deviation found.",
        at=workshop.at,
    )
    assert finding(workshop, "answers_are_proof").ok is accepted


def test_accepts_a_near_limit_value_by_a_signed_decision(workshop: Workshop) -> None:
    workshop.send(workshop.operation("head_angle", "62.145"))
    operation = counting_answer(workshop.item_id, "head_angle").counts.operation  # type: ignore[union-attr]
    decide_result(
        proof=demonstration_proof(workshop.cast.engineer, workshop.at),
        operation=operation,
        about="near_limit",
        accepted=True,
        reason="Far from the bearing's travel.",
        at=workshop.at,
    )
    assert finding(workshop, "near_limits_decided").ok


def test_accepts_an_answer_under_a_concession_in_force(workshop: Workshop) -> None:
    Case.out_of_band(workshop).decide("use_as_is").close_without_correction()
    found = finding(workshop, "answers_conform")
    assert (found.ok, found.sentence) == (True, "Under a concession: 101.")


def test_keeps_a_first_answer_back_in_its_sentences(workshop: Workshop) -> None:
    """The findings are looked at by whoever may look up a unit, the second inspector among them."""
    workshop.send(workshop.operation("throat_w7", "2.2", gauge="CA-02"))
    state = release_state(workshop.serial)
    assert not any("2.2" in one.sentence for one in state.findings)
    assert finding(workshop, "answers_conform").ok  # not told, and blocked by the missing second inspection
    assert not finding(workshop, "second_inspections").ok


def test_reads_everything_in_few_queries(ready: Workshop, django_assert_max_num_queries: Any) -> None:
    standing_of(ready.serial)
    with django_assert_max_num_queries(11):
        release_state(ready.serial)
