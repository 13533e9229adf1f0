"""The instruction as steps on the floor; re-welding and cold straightening with their attempts."""

from __future__ import annotations

import pytest

from qcapp.audit.queries import entries_about
from qcapp.nonconformance.queries import report_row
from qcapp.nonconformance.services.correcting import confirm_step, finish_correction
from qcapp.nonconformance.services.disturbing import disturbed

from ..factories.nonconformance import LATER, Case
from ..unchanged import refused

pytestmark = pytest.mark.django_db
ROOMS = ("nonconformance", "inspections", "production", "people")
STRAIGHTEN = {"method": "cold_straightening", "procedure": "CS-3", "max_attempts": 1}


def confirm(case: Case, position: int, by: str = "welder") -> None:
    confirm_step(by=getattr(case.cast, by), number=case.number, position=position, at=LATER)


def test_turns_the_instruction_into_one_step_where_no_steps_are_given(case: Case) -> None:
    case.decide()
    assert [step.text for step in case.view.steps] == ["Straighten in the restraint."]


def test_finishes_when_every_step_is_confirmed_by_name(case: Case) -> None:
    case.decide(steps=["Clamp it.", " ", "Press 0.4 mm over."]).start()
    confirm(case, 1)
    with refused("steps_open", *ROOMS) as caught:
        finish_correction(by=case.cast.welder, number=case.number, note="Done.", at=LATER)
    assert caught.value.details["missing"] == ["2. Press 0.4 mm over."]
    confirm(case, 2, "assembler")
    assert [(step.by_name, step.at) for step in case.view.steps] == [("Casimir Voss", LATER), ("Tobiah Renn", LATER)]
    assert case.finish().state == "to_be_verified"
    (entry, *_) = [e for e in entries_about(f"report {case.number}") if e.verb == "report.step_confirmed"]
    assert entry.payload["position"] == 2


def test_refuses_a_step_twice_an_unknown_one_and_one_before_the_start(case: Case) -> None:
    case.decide()
    with refused("not_in_correction", *ROOMS):
        confirm(case, 1)
    case.start()
    confirm(case, 1)
    with refused("step_confirmed", *ROOMS):
        confirm(case, 1, "assembler")
    with refused("step_unknown", *ROOMS):
        confirm(case, 2)


def test_counts_who_confirmed_a_step_as_corrector(case: Case) -> None:
    manager = case.cast.quality_manager
    case.decide().start()
    confirm(case, 1, "quality_manager")
    case.finish().inspect_again()
    with refused("own_correction", *ROOMS):
        case.close(by=manager)
    assert case.close(by=case.cast.second_quality_manager).state == "closed"


def test_asks_for_every_step_again_in_a_new_attempt(case: Case) -> None:
    case.decide().start().finish().fail().propose().sign().start()
    assert [step.at for step in case.view.steps] == [None]


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"method": "hammering"}, "method_unknown"),
        (STRAIGHTEN | {"procedure": ""}, "procedure_needed"),
        (STRAIGHTEN | {"max_attempts": None}, "attempts_needed"),
        (STRAIGHTEN | {"max_attempts": 0}, "attempts_needed"),
    ],
)
def test_refuses_a_method_without_what_it_needs(case: Case, changes: dict[str, object], code: str) -> None:
    case.contain()
    with refused(code, *ROOMS):
        case.propose(**changes)


def test_needs_the_welding_coordinator_for_a_method(case: Case) -> None:
    case.contain().propose(**STRAIGHTEN)
    assert case.missing == ("quality_manager", "engineer", "welding_coordinator")


def test_refuses_an_attempt_beyond_the_most(case: Case) -> None:
    case.decide(**STRAIGHTEN).start().finish().fail().propose(**STRAIGHTEN).sign()
    with refused("attempts_used_up", *ROOMS) as caught:
        case.start()
    assert "was allowed once by CS-3 and has been tried once here" in caught.value.message


def test_counts_the_attempts_of_an_earlier_report_at_the_same_place(case: Case) -> None:
    """The frame bent once under an earlier report was bent once, whatever the new report is called."""
    case.decide(**STRAIGHTEN).start().finish().inspect_again("62.05").close()
    again = Case.by_hand(case.workshop, title="Head twisted again", checkpoint_key="head_angle", severity="critical")
    again.contain().propose(**STRAIGHTEN).sign()
    with refused("attempts_used_up", *ROOMS):
        again.start()
    elsewhere = Case.by_hand(case.workshop, title="Bent", checkpoint_key="left_length", severity="critical")
    told = STRAIGHTEN | {"left_out_reason": "The head was not clamped."}
    assert elsewhere.contain().propose(**told).sign().start().state == "in_correction"


def test_counts_the_attempts_at_a_joint_whichever_checkpoint_found_it(case: Case) -> None:
    weld = {"method": "re_welding", "procedure": "WPS-07", "max_attempts": 1, "left_out_reason": "Not touched."}
    throat = Case.out_of_band(case.workshop, "throat_w7", "2.4")
    throat.decide("rework", **weld).start()
    cracked = Case.by_hand(case.workshop, title="Crack at the toe", joint="w7")
    cracked.contain().propose("rework", reinspect=["weld_w7"], **weld).sign()
    with refused("attempts_used_up", *ROOMS):
        cracked.start()
    other = Case.by_hand(case.workshop, title="Crack at the toe", joint="W8")
    assert other.contain().propose("rework", reinspect=["weld_w7"], **weld).sign().start().state == "in_correction"


def test_proposes_the_checkpoints_of_the_joint_and_what_a_method_may_have_moved(case: Case) -> None:
    throat = Case.out_of_band(case.workshop, "throat_w7", "2.4")
    assert disturbed(report_row(throat.number)) == ["weld_w7", "throat_w7", "pores"]
    assert disturbed(report_row(case.number), "cold_straightening") == ["head_angle"]


def test_asks_why_a_disturbed_checkpoint_is_left_out(case: Case) -> None:
    throat = Case.out_of_band(case.workshop, "throat_w7", "2.4").contain()
    weld = {"method": "re_welding", "procedure": "WPS-07", "max_attempts": 2, "reinspect": ["throat_w7", "pores"]}
    with refused("disturbed_left_out", *ROOMS) as caught:
        throat.propose("rework", **weld)
    assert caught.value.details["left_out"] == ["weld_w7"]
    throat.propose("rework", left_out_reason="The toe was not touched.", **weld)
    assert throat.view.proposal.left_out_reason == "The toe was not touched."  # type: ignore[union-attr]
