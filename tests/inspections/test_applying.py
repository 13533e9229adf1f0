"""A checkpoint that does not apply to one unit, and checkpoints of another variant."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest

from qcapp.audit.queries import entries_about
from qcapp.inspections.queries import inspection_of, progress_of
from qcapp.inspections.services import open_unit, reopen_checkpoints
from qcapp.inspections.services.applying import decide_applicability
from qcapp.people.services import demonstration_proof

from ..factories.inspections import PLAN, Workshop
from ..unchanged import refused

pytestmark = pytest.mark.django_db


def decide(workshop: Workshop, key: str = "pores", applies: bool = False, **changes: Any) -> None:
    person = changes.pop("person", workshop.cast.engineer)
    options = {"reason": "Joint left out by order.", "at": workshop.at} | changes
    decide_applicability(
        proof=demonstration_proof(person, workshop.at), serial=workshop.serial, key=key, applies=applies, **options
    )


def state(workshop: Workshop, key: str) -> str:
    return next(one.state for one in inspection_of(workshop.serial).checkpoints if one.card.key == key)


def test_is_not_due_once_it_does_not_apply_and_due_again_when_it_does(workshop: Workshop) -> None:
    due = inspection_of(workshop.serial).progress.due
    decide(workshop)
    assert state(workshop, "pores") == "not_due"
    assert inspection_of(workshop.serial).progress.due == due - 1
    assert progress_of([workshop.item_id])[workshop.item_id].due == due - 1
    said = workshop.send_one("pores")
    assert (said.outcome, said.code) == ("rejected", "checkpoint_not_due")
    decide(workshop, applies=True)
    assert state(workshop, "pores") == "open"
    assert workshop.send_one("pores").applied


def test_names_who_decided_and_why(workshop: Workshop) -> None:
    decide(workshop)
    excluded = next(one.excluded for one in inspection_of(workshop.serial).checkpoints if one.card.key == "pores")
    assert excluded is not None
    assert (excluded.reason, excluded.person_name) == ("Joint left out by order.", workshop.cast.engineer.name)
    assert entries_about(f"unit {workshop.serial}")[0].verb == "unit.checkpoint_applicability"


def test_does_not_compute_what_reads_a_checkpoint_that_does_not_apply(workshop: Workshop) -> None:
    decide(workshop, "left_length")
    assert state(workshop, "length_difference") == "not_due"


def test_never_takes_off_what_was_found_out_of_band(workshop: Workshop) -> None:
    workshop.send_one("twist", "0.60")
    with refused("answer_out_of_band", "inspections", "people.Signature"):
        decide(workshop, "twist")


def test_never_takes_off_what_a_report_opened(workshop: Workshop) -> None:
    workshop.send_one("twist", "0.20")
    reopen_checkpoints(
        by=workshop.cast.quality_manager, item_id=workshop.item_id, keys=["twist"], source="NCR-2026-0001",
        at=workshop.at,
    )  # fmt: skip
    with refused("opened_by_report", "inspections", "people.Signature"):
        decide(workshop, "twist")


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"key": "nothing"}, "checkpoint_unknown"),
        ({"applies": True}, "already_so"),
        ({"reason": ""}, "text_missing"),
    ],
)
def test_refuses_and_changes_nothing(workshop: Workshop, changes: dict[str, Any], code: str) -> None:
    with refused(code, "inspections", "people.Signature"):
        decide(workshop, **changes)


def test_refuses_whoever_may_not_decide(workshop: Workshop) -> None:
    with refused("not_permitted", "inspections", "people.Signature"):
        decide(workshop, person=workshop.cast.inspector)


def test_asks_a_checkpoint_of_the_variant_only(cast: Any) -> None:
    plan = PLAN.replace("joint\n", "joint,variants\n", 1).replace(
        "count,,max 2,,,,,minor,,every,no,W7\n", "count,,max 2,,,,,minor,,every,no,W7,sidecar; not trailer\n"
    )
    workshop = Workshop.opened(cast, plan=plan)
    assert state(workshop, "pores") == "not_due"
    for number, variant, due in ((148, "Sidecar", True), (149, "sidecar; trailer", False)):
        serial = f"FR-200-0{number}"
        unit = open_unit(by=cast.inspector, family_code="FR-200", serial=serial, variant=variant, at=workshop.at)
        one = next(one for one in inspection_of(unit.serial).checkpoints if one.card.key == "pores")
        assert (one.state != "not_due") is due


@pytest.mark.parametrize(("hours", "flagged"), [(0, True), (47, True), (48, False)])
def test_flags_an_answer_that_comes_too_soon_after_the_weld(cast: Any, hours: int, flagged: bool) -> None:
    """Some inspections wait after welding (common practice, no source): stored, and no proof until decided."""
    plan = PLAN.replace("joint\n", "joint,after_weld_hours\n", 1).replace(
        "minor,,every,no,W7\n", "minor,,every,no,W7,48\n"
    )
    workshop = Workshop.opened(cast, plan=plan)
    workshop.answer_stage(1)
    workshop.sign(1)
    later = workshop.at + timedelta(hours=hours)
    said = workshop.send(workshop.operation("pores", recorded_at=later.isoformat()), at=later)[0]
    assert said.applied
    assert ("too_soon_after_weld" in said.flags) is flagged


def test_flags_it_where_nobody_wrote_down_when_the_joint_was_welded(cast: Any) -> None:
    plan = PLAN.replace("joint\n", "joint,after_weld_hours\n", 1).replace(
        "minor,,every,no,W7\n", "minor,,every,no,W8,1\n"
    )
    said = Workshop.opened(cast, plan=plan).send_one("pores")
    assert "too_soon_after_weld" in said.flags
