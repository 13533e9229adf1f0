"""Where a unit stands: second inspections and their secrecy, sign-offs, decisions, reopened rounds, history."""

from __future__ import annotations

from datetime import timedelta
from typing import Any
from uuid import UUID, uuid4

import pytest
from pytest_django.fixtures import DjangoAssertNumQueries

from qcapp.audit.queries import entries_about
from qcapp.core.errors import Conflict, Invalid, NotAllowed, NotFound, QcError, Refused
from qcapp.core.sealing import digest
from qcapp.inspections.models import Reinspection, Result, ResultDecision, StageSignOff
from qcapp.inspections.queries import (
    answer_of_operation,
    counting_answer,
    failing,
    inspection_of,
    open_near_limit_critical,
    progress_of,
    stage_state,
    trace,
    units_in_build,
    unproven,
)
from qcapp.inspections.queries.shapes import CheckpointView
from qcapp.inspections.queries.timeline import happenings, results_of
from qcapp.inspections.services import decide_result, open_unit, reopen_checkpoints, sign_stage
from qcapp.inspections.states import CheckpointState, Flag, StageState
from qcapp.people.services import demonstration_proof
from qcapp.production.services import place_hold

from ..factories.inspections import SECOND, SERIAL, Workshop

pytestmark = pytest.mark.django_db


def seen(workshop: Workshop, key: str, viewer: Any = None) -> CheckpointView:
    views = inspection_of(workshop.serial, viewer=viewer, at=workshop.at).checkpoints
    return next(view for view in views if view.card.key == key)


def second(workshop: Workshop, key: str, answer: Any = None, **changes: Any) -> None:
    person = changes.pop("person", workshop.cast.second_inspector)
    workshop.send(workshop.operation(key, answer, inspection=2, person=person, **changes), by=person)


# -------------------------------------------------------------------------------------------- second inspection


def test_hides_the_first_answer_from_everybody_who_could_give_the_second(workshop: Workshop) -> None:
    workshop.send(workshop.operation("weld_w7", {"conforms": False}))
    cast = workshop.cast
    for viewer in (None, cast.second_inspector, cast.third_inspector, cast.quality_manager):
        view = seen(workshop, "weld_w7", viewer)
        assert (view.first, view.hidden, view.first_given, view.owes) == (None, True, True, (2,))
        assert (view.base, view.counts, view.may_repeat) == (None, None, False)


def test_shows_the_first_answer_to_who_gave_it_and_to_who_records_nothing(workshop: Workshop) -> None:
    workshop.send(workshop.operation("weld_w7"))
    for viewer in (workshop.cast.inspector, workshop.cast.customer_service):
        assert seen(workshop, "weld_w7", viewer).first is not None


def test_shows_both_answers_once_the_second_is_given(workshop: Workshop) -> None:
    workshop.send(workshop.operation("weld_w7"))
    second(workshop, "weld_w7")
    view = seen(workshop, "weld_w7", workshop.cast.third_inspector)
    assert None not in (view.first, view.second)
    assert view.state is CheckpointState.ANSWERED


def test_leaves_the_secret_out_of_the_history_as_well(workshop: Workshop) -> None:
    workshop.send(workshop.operation("weld_w7", {"conforms": False, "note": "undercut"}))
    other = workshop.cast.second_inspector
    assert results_of(workshop.item_id, viewer=other, at=workshop.at) == []
    assert "undercut" not in str(happenings(workshop.item_id, viewer=other))
    assert "undercut" in str(happenings(workshop.item_id, viewer=workshop.cast.inspector))


def test_asks_a_third_when_the_two_disagree_and_takes_the_answer_as_deciding(workshop: Workshop) -> None:
    workshop.send(workshop.operation("weld_w7"))
    second(workshop, "weld_w7", {"conforms": False})
    view = seen(workshop, "weld_w7")
    assert (view.disagree, view.owes, view.state) == (True, (3,), CheckpointState.OPEN)
    third = workshop.cast.third_inspector
    workshop.send(workshop.operation("weld_w7", {"conforms": False}, inspection=3, person=third), by=third)
    view = seen(workshop, "weld_w7")
    assert view.state is CheckpointState.ANSWERED
    assert [answer.passes for answer in [view.counts] if answer] == [False]


@pytest.mark.parametrize(
    ("key", "one", "other", "disagree"),
    [
        ("throat_w7", {"value": "3.4"}, {"value": "3.6"}, False),  # both in band
        ("throat_w7", {"value": "3.4"}, {"value": "2.9"}, True),
        ("throat_w7", {"value": "3.4"}, {"value": "3.0"}, True),  # in band and near limit: other sides of a verdict
        ("serial_read", {"text": "FR-200-0147"}, {"text": "fr-200-0147"}, False),
        ("serial_read", {"text": "FR-200-0147"}, {"text": "FR-200-0174"}, True),
    ],
)
def test_compares_the_two_inspections(
    workshop: Workshop, key: str, one: dict[str, Any], other: dict[str, Any], disagree: bool
) -> None:
    workshop.send(workshop.operation(key, one))
    second(workshop, key, other)
    assert seen(workshop, key).disagree is disagree


# ------------------------------------------------------------------------------------------------------- signing


def sign(workshop: Workshop, number: int) -> None:
    workshop.sign(number)


def states(workshop: Workshop) -> list[StageState]:
    return [stage.state for stage in stage_state(workshop.item_id)]


def test_signs_a_complete_stage_over_the_sorted_operations(workshop: Workshop) -> None:
    workshop.answer_stage(1)
    proof = demonstration_proof(workshop.cast.inspector, workshop.at)
    standing = sign_stage(proof=proof, serial=SERIAL, stage_number=1, at=workshop.at)
    row = StageSignOff.objects.get()
    operations = sorted(str(operation) for operation in Result.objects.values_list("operation", flat=True))
    assert row.covers == row.signature.covers == digest("\n".join(operations))
    assert row.answers == 5  # four answers and the derived one
    assert standing.state is StageState.SIGNED
    assert "truly and completely" in row.signature.meaning
    assert entries_about(f"unit {SERIAL}")[0].verb == "stage.signed"


def refused_signing(workshop: Workshop, number: int, code: str) -> QcError:
    before = list(StageSignOff.objects.values_list("uuid", flat=True))
    with pytest.raises(QcError) as refusal:
        sign(workshop, number)
    assert refusal.value.code == code
    assert list(StageSignOff.objects.values_list("uuid", flat=True)) == before
    return refusal.value


def test_refuses_to_sign_an_incomplete_stage_and_names_what_is_missing(workshop: Workshop) -> None:
    workshop.send(workshop.operation("head_angle"), workshop.operation("left_length"))
    refusal = refused_signing(workshop, 1, "stage_incomplete")
    assert refusal.details["checkpoints"] == [103, 104, 105]


def test_refuses_to_sign_a_stage_without_its_second_inspections(workshop: Workshop) -> None:
    workshop.answer_stage(1)
    sign(workshop, 1)
    workshop.send(*[workshop.operation(key) for key in ("weld_w7", "throat_w7", "pores", "heat", "serial_read")])
    refusal = refused_signing(workshop, 2, "stage_incomplete")
    assert refusal.details["checkpoints"] == [201, 202, 205]


def test_refuses_to_sign_a_stage_in_conflict(workshop: Workshop) -> None:
    workshop.answer_stage(1)
    workshop.send(workshop.operation("head_angle"), device="tablet 8")
    refused_signing(workshop, 1, "stage_incomplete")


def test_refuses_to_sign_before_the_earlier_stage(workshop: Workshop) -> None:
    workshop.answer_stage(1)
    workshop.answer_stage(2)
    refused_signing(workshop, 2, "earlier_stage_unsigned")


def test_refuses_to_sign_twice(workshop: Workshop) -> None:
    workshop.finish(upto=1)
    assert isinstance(refused_signing(workshop, 1, "stage_already_signed"), Conflict)


def test_refuses_to_sign_an_unknown_stage(workshop: Workshop) -> None:
    assert isinstance(refused_signing(workshop, 9, "stage_unknown"), NotFound)


def test_refuses_to_sign_after_a_hold_and_not_at_it(workshop: Workshop) -> None:
    workshop.answer_stage(1)
    workshop.answer_stage(2)
    place_hold(
        by=workshop.cast.inspector, item_id=workshop.item_id, from_stage=1, source="NCR-2026-0001",
        reason="out of band", at=workshop.at,
    )  # fmt: skip
    sign(workshop, 1)
    assert states(workshop)[:2] == [StageState.SIGNED, StageState.HELD]
    refusal = refused_signing(workshop, 2, "stage_on_hold")
    assert refusal.details["holds"] == ["NCR-2026-0001"]


def test_refuses_a_signature_of_somebody_without_the_right(workshop: Workshop) -> None:
    workshop.answer_stage(1)
    with pytest.raises(NotAllowed):
        workshop.sign(1, workshop.cast.customer_service)
    assert not StageSignOff.objects.exists()


def test_signs_a_stage_whose_answers_do_not_all_conform(workshop: Workshop) -> None:
    workshop.send(workshop.operation("tack_look", {"conforms": False}))
    workshop.send(*[workshop.operation(key) for key in ("head_angle", "left_length", "right_length")])
    sign(workshop, 1)
    assert states(workshop)[0] is StageState.SIGNED


def test_does_not_hold_a_signature_after_a_correction_until_it_is_signed_again(workshop: Workshop) -> None:
    workshop.finish(upto=1)
    base = counting_answer(workshop.item_id, "head_angle").base
    workshop.send(workshop.operation("head_angle", "61.95", purpose="correction", base=str(base), reason="typed"))
    assert states(workshop)[0] is StageState.CHANGED_SINCE_SIGNED
    sign(workshop, 1)
    assert states(workshop)[0] is StageState.SIGNED
    assert StageSignOff.objects.count() == 2


def test_signs_every_stage_of_a_unit(workshop: Workshop) -> None:
    workshop.finish()
    assert states(workshop) == [StageState.SIGNED] * 3
    progress = inspection_of(SERIAL).progress
    assert (progress.due, progress.answered, progress.stages_signed, progress.percent) == (11, 11, 3, 100)
    assert progress_of([workshop.item_id]) == {workshop.item_id: progress}


# ------------------------------------------------------------------------------------------------------ deciding


def decide(workshop: Workshop, operation: UUID | str, about: str, accepted: bool = True, by: Any = None) -> None:
    decide_result(
        proof=demonstration_proof(by or workshop.cast.quality_manager, workshop.at),
        operation=UUID(str(operation)),
        about=about,
        accepted=accepted,
        reason="gauge checked afterwards",
        at=workshop.at,
    )


def test_counts_a_flagged_result_as_proof_once_it_is_accepted(workshop: Workshop) -> None:
    body = workshop.operation("left_length", gauge="CA-02")
    workshop.send(body)
    (open_one,) = unproven(workshop.item_id)
    assert (open_one.about, open_one.checkpoint_number, open_one.decided) == ("gauge_overdue", 102, False)
    assert open_one.sentence == Flag.GAUGE_OVERDUE.sentence
    decide(workshop, body["id"], "gauge_overdue")
    assert unproven(workshop.item_id) == []
    decision = answer_of_operation(UUID(body["id"])).decisions[0]
    assert (decision.accepted, decision.person_name) == (True, workshop.cast.quality_manager.name)


def test_leaves_a_result_unproven_that_was_decided_against(workshop: Workshop) -> None:
    body = workshop.operation("left_length", gauge="CA-02")
    workshop.send(body)
    decide(workshop, body["id"], "gauge_overdue", accepted=False)
    assert [one.decided for one in unproven(workshop.item_id)] == [True]
    workshop.send(
        workshop.operation("left_length", purpose="correction", base=body["id"], reason="measured with CA-01")
    )
    assert unproven(workshop.item_id) == []


def test_asks_a_decision_about_near_limit_only_on_critical_checkpoints(workshop: Workshop) -> None:
    critical, major = workshop.operation("head_angle", "61.85"), workshop.operation("left_length", "249.70")
    assert [answer.verdict for answer in workshop.send(critical, major)] == ["near_limit", "near_limit"]
    (open_one,) = open_near_limit_critical(workshop.item_id)
    assert open_one.checkpoint_number == 101
    decide(workshop, critical["id"], "near_limit", by=workshop.cast.engineer)
    assert open_near_limit_critical(workshop.item_id) == []


@pytest.mark.parametrize(
    ("about", "code", "kind"),
    [
        ("gauge_failed", "nothing_to_decide", Refused),
        ("near_limit", "nothing_to_decide", Refused),
        ("the weather", "about_unknown", Invalid),
    ],
)
def test_refuses_a_decision_about_what_is_not_open(
    workshop: Workshop, about: str, code: str, kind: type[QcError]
) -> None:
    body = workshop.operation("left_length", gauge="CA-02")
    workshop.send(body)
    with pytest.raises(kind) as refusal:
        decide(workshop, body["id"], about)
    assert refusal.value.code == code
    assert not ResultDecision.objects.exists()


def test_refuses_to_decide_twice_or_about_the_own_result_or_an_unknown_one(workshop: Workshop) -> None:
    manager = workshop.cast.quality_manager
    body = workshop.operation("left_length", gauge="CA-02", person=manager)
    workshop.send(body, by=manager)
    with pytest.raises(NotAllowed) as own:
        decide(workshop, body["id"], "gauge_overdue")
    assert own.value.code == "own_result"
    with pytest.raises(NotFound):
        decide(workshop, uuid4(), "gauge_overdue")
    decide(workshop, body["id"], "gauge_overdue", by=workshop.cast.engineer)
    with pytest.raises(Conflict) as twice:
        decide(workshop, body["id"], "gauge_overdue", accepted=False, by=workshop.cast.engineer)
    assert twice.value.code == "already_decided"
    assert ResultDecision.objects.count() == 1


def test_refuses_a_decision_of_somebody_without_the_right(workshop: Workshop) -> None:
    body = workshop.operation("left_length", gauge="CA-02")
    workshop.send(body)
    with pytest.raises(NotAllowed):
        decide(workshop, body["id"], "gauge_overdue", by=workshop.cast.second_inspector)
    assert not ResultDecision.objects.exists()


# ----------------------------------------------------------------------------------------------------- reopening


def reopen(workshop: Workshop, *keys: str, source: str = "NCR-2026-0001") -> dict[str, int]:
    return reopen_checkpoints(
        by=workshop.cast.inspector, item_id=workshop.item_id, keys=list(keys), source=source, at=workshop.at
    )


def test_opens_a_new_round_and_what_derives_from_it(workshop: Workshop) -> None:
    workshop.finish(upto=1)
    assert reopen(workshop, "left_length") == {"left_length": 2, "length_difference": 2}
    view = seen(workshop, "left_length")
    assert (view.round, view.state, view.reopened_by) == (2, CheckpointState.OPEN, "NCR-2026-0001")
    assert [answer.described for answer in view.earlier] == ["250.1 mm"]
    assert states(workshop)[0] is StageState.CHANGED_SINCE_SIGNED
    (answer,) = workshop.send(workshop.operation("left_length", "250.0", round=2))
    assert [one.value for one in answer.computed] == ["0.0 mm"]
    assert seen(workshop, "length_difference").state is CheckpointState.ANSWERED


def test_stays_in_the_round_that_the_same_source_opened_until_it_is_answered(workshop: Workshop) -> None:
    reopen(workshop, "head_angle")
    assert reopen(workshop, "head_angle") == {"head_angle": 2}
    assert reopen(workshop, "head_angle", source="NCR-2026-0002") == {"head_angle": 3}
    view = seen(workshop, "head_angle")
    assert view.was_reopened_by("NCR-2026-0001")
    assert view.was_reopened_by("NCR-2026-0002")
    workshop.send(workshop.operation("head_angle", round=3))
    assert reopen(workshop, "head_angle", source="NCR-2026-0002") == {"head_angle": 4}


def test_keeps_a_late_answer_to_an_earlier_round_in_that_round(workshop: Workshop) -> None:
    reopen(workshop, "head_angle")
    (answer,) = workshop.send(workshop.operation("head_angle", round=1))
    assert answer.outcome == "applied"
    assert seen(workshop, "head_angle").state is CheckpointState.OPEN


def test_makes_a_sampled_checkpoint_due_when_it_is_reopened(workshop: Workshop) -> None:
    assert seen(workshop, "sampled_gap").state is CheckpointState.NOT_DUE
    reopen(workshop, "sampled_gap")
    assert seen(workshop, "sampled_gap").state is CheckpointState.OPEN
    (answer,) = workshop.send(workshop.operation("sampled_gap", "2.0", round=2, gauge="CA-01"))
    assert answer.outcome == "applied"


def test_takes_one_repeat_again_in_the_new_round(workshop: Workshop) -> None:
    first = workshop.operation("left_length", "251.0")
    workshop.send(first)
    workshop.send(workshop.operation("left_length", "251.1", purpose="repeat", base=first["id"], reason="burr"))
    reopen(workshop, "left_length")
    again = workshop.operation("left_length", "251.2", round=2)
    workshop.send(again)
    (answer,) = workshop.send(
        workshop.operation("left_length", "250.0", purpose="repeat", base=again["id"], reason="burr", round=2)
    )
    assert answer.outcome == "applied"


def test_refuses_to_reopen_what_the_plan_does_not_have(workshop: Workshop) -> None:
    with pytest.raises(Invalid) as refusal:
        reopen(workshop, "head_angle", "tail_light")
    assert refusal.value.code == "checkpoint_unknown"
    assert not Reinspection.objects.exists()


# ------------------------------------------------------------------------------------------------ opening, reading


def test_opens_a_unit_with_one_audit_entry_and_the_released_plan(workshop: Workshop) -> None:
    unit = open_unit(by=workshop.cast.inspector, family_code="FR-200", serial="FR-200-0149", at=workshop.at)
    (entry,) = entries_about("unit FR-200-0149")
    assert (entry.verb, entry.payload["plan"]) == ("unit.opened", "D")
    assert inspection_of(unit.serial).revision.uuid == workshop.revision


def test_opens_no_unit_without_a_released_plan(workshop: Workshop) -> None:
    from qcapp.production.queries import find_units
    from qcapp.production.services import add_family

    add_family(
        by=workshop.cast.quality_manager, code="FK-30", name="Girder fork", serial_pattern="FK-{number:4}",
        certificate_prefix="FK", at=workshop.at,
    )  # fmt: skip
    with pytest.raises(NotFound) as refusal:
        open_unit(by=workshop.cast.inspector, family_code="FK-30", serial="FK-0001", at=workshop.at)
    assert refusal.value.code == "no_released_plan"
    assert find_units("FK-0001") == []


def test_lists_the_units_in_build_newest_first(workshop: Workshop) -> None:
    later = open_unit(
        by=workshop.cast.inspector, family_code="FR-200", serial="FR-200-0149", at=workshop.at + timedelta(hours=1)
    )
    assert [unit.serial for unit in units_in_build(limit=5)] == [later.serial, SERIAL]
    assert [unit.serial for unit in units_in_build(limit=1)] == [later.serial]


def test_traces_a_characteristic_over_the_units_before(workshop: Workshop) -> None:
    card = workshop.card("head_angle")
    for number, value in enumerate(("61.90", "61.95", "62.00"), start=200):
        workshop.another_unit(f"FR-200-0{number}").send_one("head_angle", value)
    replaced = workshop.operation("head_angle", "62.10")
    workshop.send(replaced)
    workshop.send(workshop.operation("head_angle", "62.05", purpose="correction", base=replaced["id"], reason="typed"))
    assert trace(card.characteristic_id, None) == [61.9, 61.95, 62.0, 62.05]
    assert trace(card.characteristic_id, None, n=2) == [62.0, 62.05]
    last = counting_answer(workshop.item_id, "head_angle").first
    assert last is not None
    assert trace(card.characteristic_id, last.result_id) == [61.9, 61.95, 62.0]


def test_names_the_checkpoints_whose_answer_does_not_pass(workshop: Workshop) -> None:
    workshop.send(workshop.operation("head_angle", "62.20"), workshop.operation("left_length"))
    assert [view.card.key for view in failing(workshop.item_id)] == ["head_angle"]


def test_tells_the_history_newest_first(workshop: Workshop) -> None:
    workshop.answer_stage(1)
    workshop.at += timedelta(minutes=5)
    workshop.sign(1)
    reopen(workshop, "head_angle")
    found = happenings(workshop.item_id)
    assert [one.what for one in found] == ["signed", "reopened", "recorded", "adopted"]
    assert "4 results recorded" in next(one.sentence for one in found if one.what == "recorded")


def test_reads_a_whole_inspection_in_ten_queries_at_most(
    workshop: Workshop, django_assert_max_num_queries: DjangoAssertNumQueries
) -> None:
    workshop.finish(upto=1)
    workshop.send(*[workshop.operation(key) for key in SECOND])  # secrets
    workshop.send(workshop.operation("head_angle", "61.85"), device="tablet 8")  # a conflict, near limit
    place_hold(
        by=workshop.cast.inspector, item_id=workshop.item_id, from_stage=1, source="NCR-2026-0001", reason="x",
        at=workshop.at,
    )  # fmt: skip
    with django_assert_max_num_queries(10):
        view = inspection_of(SERIAL, viewer=workshop.cast.second_inspector, at=workshop.at)
    assert any(checkpoint.hidden for checkpoint in view.checkpoints)
    assert any(checkpoint.conflicting for checkpoint in view.checkpoints)
