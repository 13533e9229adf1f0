"""Who decides what, with whose signatures, within which limits."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest

from qcapp.audit.queries import entries_about
from qcapp.core.errors import Refused
from qcapp.nonconformance.models import Concession, DispositionProposal, Report
from qcapp.nonconformance.queries import concessions_of
from qcapp.nonconformance.states import DECIDERS
from qcapp.people.models import Signature
from qcapp.people.roles import Role

from ..factories.inspections import Workshop
from ..factories.nonconformance import Case
from ..factories.people import PersonFactory
from ..unchanged import refused

pytestmark = pytest.mark.django_db
ROOMS = ("nonconformance", "inspections", "production", "people")


def test_contains_a_report_with_what_was_done(case: Case) -> None:
    case.contain()
    (move,) = case.view.moves
    assert (move.name, move.note, move.by_name) == ("contain", "Frame set aside with a tag.", "Isolde Brandt")
    assert entries_about(f"report {case.number}")[0].verb == "report.contained"


def test_refuses_a_containment_by_somebody_who_may_not(case: Case) -> None:
    by = case.cast.welder
    with refused("not_permitted", *ROOMS):
        case.contain(by=by)


def test_is_decided_with_the_last_signature_that_it_needs(case: Case) -> None:
    case.contain().propose("rework").sign("engineer")
    assert (case.state, case.missing) == ("contained", ("quality_manager",))
    assert case.view.card.disposition == ""
    case.sign("quality_manager")
    assert (case.state, case.view.card.disposition) == ("decided", "rework")
    assert [entry.verb for entry in entries_about(f"report {case.number}")] == [
        "report.decided",
        "report.disposition_signed",
        "report.disposition_proposed",
        "report.contained",
        "report.raised",
    ]


def test_writes_down_what_each_signature_agrees_to(case: Case) -> None:
    case.decide()
    signature = Signature.objects.get(person=case.cast.engineer)
    assert signature.meaning == "I agree to rework for NCR-2026-0001 on FR-200-0147."
    assert (signature.role, signature.subject) == ("engineer", "report NCR-2026-0001")


def test_asks_the_signatures_of_the_table(workshop: Workshop) -> None:
    for (severity, disposition), roles in DECIDERS.items():
        case = Case.by_hand(workshop, severity).contain().propose(disposition, reinspect=["tack_look"])
        assert case.missing == roles, (severity, disposition)
        for role in roles:
            assert case.state == "contained"
            case.sign(role)
        assert case.state == "decided"


def test_refuses_two_signatures_of_one_person_in_two_roles(case: Case) -> None:
    both = PersonFactory(roles=[Role.QUALITY_MANAGER, Role.ENGINEER])
    case.contain().propose()
    case.sign_as(both, "engineer")
    with refused("signed_already", *ROOMS):
        case.sign_as(both, "quality_manager")


def test_refuses_a_second_signature_in_one_role(case: Case) -> None:
    case.contain().propose().sign("quality_manager")
    other = case.cast.second_quality_manager
    with refused("role_signed", *ROOMS) as caught:
        case.sign_as(other, "quality_manager")
    assert "Isolde Brandt has signed" in caught.value.message


def test_refuses_a_role_that_the_disposition_does_not_need(case: Case) -> None:
    case.contain().propose()
    coordinator = case.cast.welding_coordinator
    with refused("role_not_needed", *ROOMS) as caught:
        case.sign_as(coordinator, "welding_coordinator")
    assert "quality manager, engineer" in caught.value.message


def test_refuses_a_signature_in_a_role_that_the_person_does_not_hold(case: Case) -> None:
    case.contain().propose()
    engineer = case.cast.engineer
    with refused("not_permitted", *ROOMS):
        case.sign_as(engineer, "quality_manager")


def test_lets_a_named_deputy_sign_and_says_for_whom(case: Case) -> None:
    case.contain().propose()
    case.sign_as(case.cast.deputy, "quality_manager")
    signature = Signature.objects.get(person=case.cast.deputy)
    assert signature.deputy_for == case.cast.quality_manager
    assert case.missing == ("engineer",)


def test_refuses_the_signature_of_who_recorded_the_result(workshop: Workshop) -> None:
    manager = workshop.cast.quality_manager
    (answer,) = workshop.send(workshop.operation("head_angle", "62.40", person=manager), by=manager)
    case = Case(workshop, str(answer.report)).contain().propose(by=workshop.cast.engineer)
    with refused("own_report", *ROOMS):
        case.sign_as(manager, "quality_manager")


def test_refuses_the_signature_of_who_recorded_a_further_failing_result(case: Case) -> None:
    manager = case.cast.quality_manager
    told = {"purpose": "repeat", "reason": "dirt on the plate", "person": manager}
    case.workshop.send(case.workshop.operation("head_angle", "62.38", **told), by=manager)
    case.contain().propose()
    with refused("own_report", *ROOMS):
        case.sign_as(manager, "quality_manager")


def test_refuses_the_signature_of_who_raised_the_report_by_hand(workshop: Workshop) -> None:
    engineer = workshop.cast.engineer
    case = Case.by_hand(workshop, "critical", by=engineer).contain().propose("scrap")
    with refused("own_report", *ROOMS):
        case.sign_as(engineer, "engineer")


def test_refuses_a_signature_before_anything_is_proposed(case: Case) -> None:
    case.contain()
    with refused("no_proposal", *ROOMS):
        case.sign("quality_manager")


def test_lets_a_new_proposal_take_the_place_of_an_older_one_and_its_signatures(case: Case) -> None:
    case.contain().propose("rework").sign("engineer")
    case.propose("scrap")
    assert (case.missing, case.view.proposal.label) == (("quality_manager", "engineer"), "scrap")  # type: ignore[union-attr]
    case.sign()
    assert case.view.card.disposition == "scrap"


def test_refuses_to_sign_a_proposal_that_was_replaced_while_it_was_read(case: Case) -> None:
    case.contain().propose("rework")
    read = case.view.proposal.id  # type: ignore[union-attr]
    case.propose("scrap")
    with refused("proposal_changed", *ROOMS):
        case.sign_as(case.cast.engineer, "engineer", proposal_id=read)
    case.sign_as(case.cast.engineer, "engineer", proposal_id=case.view.proposal.id)  # type: ignore[union-attr]


def test_asks_for_a_new_proposal_after_a_correction_that_failed(case: Case) -> None:
    case.decide("repair").start().finish().fail()
    assert (case.state, case.missing) == ("contained", ())
    with refused("no_proposal", *ROOMS):
        case.sign("quality_manager")


# ---------------------------------------------------------------------------------------------- what is proposed


UNFIT: list[tuple[str, dict[str, Any]]] = [
    ("disposition_unknown", {"disposition": "hide"}),
    ("text_missing", {"instruction": " "}),
    ("text_too_long", {"instruction": "x" * 601}),
    ("text_too_long", {"procedure": "x" * 61}),
    ("cause_unknown", {"cause": "moon"}),
    ("checkpoint_unknown", {"reinspect": ["no_such_key"]}),
    ("concession_not_needed", {"concession_upper": Decimal("62.50")}),
    ("concession_without_limits", {"disposition": "use_as_is", "concession_upper": None}),
    ("concession_without_limits", {"disposition": "repair", "concession_upper": None}),
    ("concession_too_narrow", {"disposition": "use_as_is", "concession_upper": Decimal("62.39")}),
    (
        "limits_crossed",
        {"disposition": "repair", "concession_lower": Decimal(63), "concession_upper": Decimal(62)},
    ),
]


def test_refuses_a_proposal_that_does_not_fit(case: Case) -> None:
    case.contain()
    for code, change in UNFIT:
        with refused(code, "nonconformance"):
            case.propose(**({"disposition": "rework"} | change))


def test_refuses_a_proposal_by_somebody_who_may_not(case: Case) -> None:
    case.contain()
    with refused("not_permitted", *ROOMS):
        case.propose(by=case.cast.inspector)


def test_inspects_the_failed_checkpoint_again_and_those_named(case: Case) -> None:
    case.contain().propose("rework", reinspect=["tack_look", "left_length", "tack_look"])
    assert case.view.proposal.reinspect == ["head_angle", "left_length", "tack_look"]  # type: ignore[union-attr]


def test_inspects_what_a_computed_checkpoint_is_made_of(workshop: Workshop) -> None:
    said = workshop.send(workshop.operation("left_length", "250.2"), workshop.operation("right_length", "249.8"))
    case = Case(workshop, str(said[1].computed[0].report)).contain().propose("rework")
    assert case.view.card.checkpoint_number == 104
    assert case.view.proposal.reinspect == ["left_length", "right_length"]  # type: ignore[union-attr]


def test_refuses_a_correction_that_nothing_would_prove(workshop: Workshop) -> None:
    case = Case.by_hand(workshop).contain()
    with refused("nothing_to_reinspect", *ROOMS):
        case.propose("rework")


# --------------------------------------------------------------------------------------------------- concessions


def test_approves_a_concession_with_its_own_limits_and_number(case: Case) -> None:
    case.decide("use_as_is", instruction="Inside the travel of the stem bearing.")
    concession = case.view.concession
    assert concession is not None
    assert (concession.number, concession.limits) == ("CN-2026-0001", "61.85 to 62.50")
    assert concession.statement == "Inside the travel of the stem bearing."
    assert concession.covers({"value": "62.50"})
    assert not concession.covers({"value": "62.51"})


def test_keeps_the_plan_s_limit_at_the_side_that_a_concession_leaves_out(case: Case) -> None:
    """Permission to be above the upper limit is none to be below the lower one."""
    case.decide("use_as_is")
    (concession,) = concessions_of(case.workshop.item_id)
    assert (concession.lower, concession.upper) == (Decimal("61.85"), Decimal("62.50"))
    assert not concession.covers({"value": "61.84"})


def test_needs_no_lower_limit_where_zero_is_the_natural_boundary(workshop: Workshop) -> None:
    case = Case.out_of_band(workshop, "twist", "0.62").contain()
    case.propose("use_as_is", concession_upper=Decimal("0.70")).sign()
    assert case.view.concession.limits == "max 0.70"  # type: ignore[union-attr]


def test_gives_no_number_to_a_disposition_without_a_concession(case: Case) -> None:
    case.decide("rework")
    assert not Concession.objects.exists()


def test_concedes_what_has_no_number_without_limits(workshop: Workshop) -> None:
    case = Case.out_of_band(workshop, "tack_look", {"conforms": False})  # type: ignore[arg-type]
    case.contain()
    with refused("concession_without_number", *ROOMS):
        case.propose("use_as_is", concession_upper=Decimal(1))
    case.propose("use_as_is").sign()
    assert (case.view.concession.limits, case.view.concession.checkpoint_number) == ("", 105)  # type: ignore[union-attr]


def test_covers_every_reading_of_the_answer_that_counts_now(case: Case) -> None:
    """62.40 was mistyped; the corrected 62.90 fails as well, and a concession for 62.40 would not hold."""
    case.correct_the_entry("62.90").contain()
    with refused("concession_too_narrow", *ROOMS) as caught:
        case.propose("use_as_is")
    assert "62.90" in caught.value.message


def test_ends_a_concession_with_the_disposition_that_it_was_approved_with(case: Case) -> None:
    case.decide("repair").start().finish().inspect_again("62.60")
    assert case.state == "contained"
    assert concessions_of(case.workshop.item_id) == []
    case.propose("repair", concession_upper=Decimal("62.70")).sign()
    assert [one.number for one in concessions_of(case.workshop.item_id)] == ["CN-2026-0002"]
    assert Concession.objects.count() == 2


def test_ends_a_concession_with_the_withdrawal_of_its_report(case: Case) -> None:
    case.decide("use_as_is").correct_the_entry().withdraw()
    assert (case.state, concessions_of(case.workshop.item_id), case.view.concession) == ("withdrawn", [], None)


def test_changes_no_row_of_a_report_or_its_proposal(case: Case) -> None:
    """What was found and what was agreed is written once; the state lies beside it."""
    case.decide()
    for row in (Report.objects.get(), DispositionProposal.objects.get()):
        with pytest.raises(Refused, match="never changed"):
            row.save()
        with pytest.raises(Refused, match="never changed"):
            row.delete()
