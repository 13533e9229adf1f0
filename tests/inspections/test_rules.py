"""What is refused with nothing stored, and what is stored but flagged."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta
from typing import Any
from uuid import uuid4

import pytest

from qcapp.gauges.services import take_out_of_use
from qcapp.inspections.models import CurrentAnswer, Result
from qcapp.inspections.services.recording import Verdictlet
from qcapp.people.services import mark_left
from qcapp.production.services import move_unit, place_hold

from ..cast import Cast
from ..factories.inspections import PLAN, Workshop, release_plan

pytestmark = pytest.mark.django_db

Change = Callable[[Workshop], dict[str, Any]]


def refused(workshop: Workshop, body: object, code: str, **options: Any) -> Verdictlet:
    """The answer to a refused operation, after checking that nothing was stored and everything else stands."""
    before = list(Result.objects.order_by("id").values_list("operation", "digest"))
    current = list(CurrentAnswer.objects.order_by("id").values_list("result_id", "conflict"))
    (answer,) = workshop.send(body, **options)
    assert (answer.outcome, answer.code) == ("rejected", code)
    assert answer.message.endswith((".", "…"))
    assert answer.verdict is None
    assert list(Result.objects.order_by("id").values_list("operation", "digest")) == before
    assert list(CurrentAnswer.objects.order_by("id").values_list("result_id", "conflict")) == current
    return answer


# ------------------------------------------------------------------------------------------------- malformed


@pytest.mark.parametrize("body", [None, [], "text", 7, True])
def test_refuses_what_is_no_object(workshop: Workshop, body: object) -> None:
    refused(workshop, body, "operation_malformed")


@pytest.mark.parametrize(
    ("field", "value", "code"),
    [
        ("id", "no uuid", "identifier_unreadable"),
        ("id", None, "field_missing"),
        ("id", 7, "identifier_unreadable"),
        ("id", "0C9E6A5D-7B1F-4E2A-9D3C-5F8A1B2C3D4E", "identifier_unreadable"),
        ("v", 2, "version_unknown"),
        ("v", True, "version_unknown"),
        ("kind", "photo", "kind_unknown"),
        ("revision", "D", "identifier_unreadable"),
        ("purpose", "computed", "purpose_unknown"),
        ("purpose", ["reading"], "purpose_unknown"),
        ("round", 0, "field_type"),
        ("round", "1", "field_type"),
        ("round", True, "field_type"),
        ("inspection", 4, "field_type"),
        ("answer", "61.94", "field_type"),
        ("recorded_at", "yesterday", "time_unreadable"),
        ("recorded_at", "2026-03-17T09:30:00", "time_unreadable"),
        ("recorded_at", "9999-12-31T23:59:59-14:00", "time_unreadable"),
        ("recorded_at", 1773740000, "time_unreadable"),
        ("reason", "x" * 301, "text_too_long"),
        ("reason", 7, "field_type"),
        ("raw", "x" * 201, "text_too_long"),
        ("raw", "\x07", "text_not_plain"),
        ("gauge", ["AG-01"], "field_type"),
        ("base", "no uuid", "identifier_unreadable"),
        ("base", [], "field_type"),
        ("base", {"id": 1}, "identifier_unreadable"),
        ("extra", 1, "field_unknown"),
        ("reason", "\0", "nul_character"),
        ("serial", "\0", "nul_character"),
        ("reason", "\ud800", "half_character"),
        ("round", 1.0, "number_not_text"),
        ("raw", "x" * 9000, "operation_too_long"),
    ],
)
def test_refuses_a_malformed_field(workshop: Workshop, field: str, value: Any, code: str) -> None:
    refused(workshop, workshop.operation("head_angle") | {field: value}, code)


def test_refuses_an_answer_nested_too_deep(workshop: Workshop) -> None:
    nested: Any = "61.94"
    for _ in range(70):
        nested = [nested]
    refused(workshop, workshop.operation("head_angle", {"value": nested}), "nested_too_deep")


def test_refuses_an_answer_that_follows_itself(workshop: Workshop) -> None:
    body = workshop.operation("head_angle", purpose="correction", reason="typed")
    refused(workshop, body | {"base": body["id"]}, "base_is_itself")


@pytest.mark.parametrize(
    ("answer", "code"),
    [
        ({"value": "NaN"}, "value_not_a_number"),
        ({"value": "inf"}, "value_not_a_number"),
        ({"value": ""}, "value_empty"),
        ({"value": "1.2.3"}, "value_two_marks"),
        ({"value": '1/2"'}, "value_fraction"),
        ({"value": "12.5 in"}, "value_unit_unexpected"),
        ({"value": "1" * 40}, "value_too_long"),
        ({"value": "61.9400000"}, "value_too_fine"),
        ({"value": 61.94}, "number_not_text"),
        ({}, "field_missing"),
        ({"values": ["61.94", "61.95"]}, "readings_differ"),
        ({"value": "61.94", "note": "x"}, "field_unknown"),
        ({"conforms": True}, "field_unknown"),
    ],
)
def test_refuses_a_value_that_cannot_be_read(workshop: Workshop, answer: dict[str, Any], code: str) -> None:
    refused(workshop, workshop.operation("head_angle", answer), code)


# --------------------------------------------------------------------------------------------------- unknown


@pytest.mark.parametrize(
    ("field", "value", "code"),
    [
        ("serial", "FR-200-9999", "serial_unknown"),
        ("revision", "0c9e6a5d-7b1f-4e2a-9d3c-5f8a1b2c3d4e", "revision_unknown"),
        ("checkpoint", "tail_light", "checkpoint_unknown"),
        ("recorded_by", "9999", "badge_unknown"),
        ("gauge", "XX-99", "gauge_unknown"),
    ],
)
def test_refuses_what_is_not_known(workshop: Workshop, field: str, value: str, code: str) -> None:
    refused(workshop, workshop.operation("head_angle") | {field: value}, code)


def test_names_near_serials_when_one_is_not_known(workshop: Workshop) -> None:
    answer = refused(workshop, workshop.operation("head_angle") | {"serial": "FR-200-0174"}, "serial_unknown")
    assert "FR-200-0147" in answer.message


def test_refuses_a_value_for_the_plan_of_another_family(workshop: Workshop) -> None:
    from qcapp.production.services import add_family

    cast = workshop.cast
    add_family(
        by=cast.quality_manager, code="AX-200", name="Carrier", serial_pattern="AX-{number:4}",
        certificate_prefix="AX", at=workshop.at,
    )  # fmt: skip
    other = release_plan(cast, family_code="AX-200", letter="A", text=PLAN, at=workshop.at)
    refused(workshop, workshop.operation("head_angle") | {"revision": str(other)}, "plan_of_other_family")


def test_refuses_a_revision_that_was_never_released(workshop: Workshop) -> None:
    from qcapp.plans.services.beginning import import_plan

    draft = import_plan(
        by=workshop.cast.quality_manager, family_code="FR-200", letter="E", text_or_bytes=PLAN,
        filename="plan.csv", at=workshop.at, change_note="next",
    )  # fmt: skip
    body = workshop.operation("head_angle") | {"revision": str(draft.uuid)}
    refused(workshop, body, "revision_not_released")


# ----------------------------------------------------------------------------------------------- out of place


def test_refuses_a_checkpoint_that_is_not_due(workshop: Workshop) -> None:
    answer = refused(workshop, workshop.operation("sampled_gap", "2.0"), "checkpoint_not_due")
    assert "1 in 5" in answer.message


def test_takes_a_sampled_checkpoint_on_the_unit_it_is_due_on(workshop: Workshop) -> None:
    due = workshop.another_unit("FR-200-0151")  # 1, 6, 11 … 151
    (answer,) = due.send(due.operation("sampled_gap", "2.0", gauge="CA-01"))
    assert answer.outcome == "applied"


def test_refuses_a_typed_value_for_a_derived_checkpoint(workshop: Workshop) -> None:
    refused(workshop, workshop.operation("length_difference", "0.1"), "checkpoint_is_computed")


def test_refuses_a_round_that_was_not_opened(workshop: Workshop) -> None:
    refused(workshop, workshop.operation("head_angle", round=2), "round_not_open")


@pytest.mark.parametrize("move", ["release", "scrap"])
def test_refuses_results_of_a_unit_that_is_not_in_build(workshop: Workshop, move: str) -> None:
    move_unit(by=workshop.cast.quality_manager, unit_id=workshop.unit_id, move=move, reason="", at=workshop.at)
    refused(workshop, workshop.operation("head_angle"), "unit_not_in_build")


# ----------------------------------------------------------------------------------------------------- people


def test_refuses_a_person_without_the_right_to_record(workshop: Workshop) -> None:
    body = workshop.operation("head_angle", person=workshop.cast.customer_service)
    refused(workshop, body, "not_permitted")


def test_takes_what_a_person_measured_before_leaving(workshop: Workshop) -> None:
    inspector = workshop.cast.second_inspector
    before = workshop.at - timedelta(days=2)
    mark_left(by=workshop.cast.keeper, person=inspector, last_day=before.date(), at=before)
    body = workshop.operation("head_angle", person=inspector, recorded_at=before.isoformat())
    late = workshop.operation("left_length", person=inspector)
    taken, not_taken = workshop.send(body, late)
    assert (taken.outcome, not_taken.code) == ("applied", "not_permitted")


def second(workshop: Workshop, key: str = "weld_w7", **changes: Any) -> dict[str, Any]:
    return workshop.operation(key, **{"inspection": 2, "person": workshop.cast.second_inspector, **changes})


def test_takes_a_second_inspection_by_another_person(workshop: Workshop) -> None:
    workshop.send(workshop.operation("weld_w7"))
    (answer,) = workshop.send(second(workshop), by=workshop.cast.second_inspector)
    assert answer.outcome == "applied"


def test_refuses_a_second_inspection_by_the_first_inspector(workshop: Workshop) -> None:
    workshop.send(workshop.operation("weld_w7"))
    refused(workshop, second(workshop, person=workshop.cast.inspector), "second_same_person")


def test_refuses_a_first_inspection_by_whoever_gave_the_second(workshop: Workshop) -> None:
    workshop.send(second(workshop), by=workshop.cast.second_inspector)
    body = workshop.operation("weld_w7", person=workshop.cast.second_inspector)
    refused(workshop, body, "second_same_person")


def test_refuses_a_second_inspection_by_somebody_who_corrected_the_first(workshop: Workshop) -> None:
    first = workshop.operation("weld_w7")
    other = workshop.cast.second_inspector
    correction = workshop.operation("weld_w7", purpose="correction", base=first["id"], reason="typed", person=other)
    workshop.send(first)
    workshop.send(correction, by=other)
    refused(workshop, second(workshop), "second_same_person")


def test_refuses_a_second_inspection_by_the_welder_of_the_joint(workshop: Workshop) -> None:
    workshop.send(workshop.operation("weld_w7"))
    refused(workshop, second(workshop, person=workshop.cast.welder), "second_is_welder")


def test_takes_a_second_inspection_by_the_welder_of_another_joint(workshop: Workshop) -> None:
    workshop.send(workshop.operation("weld_w7"))
    body = second(workshop, person=workshop.cast.second_welder)
    (answer,) = workshop.send(body, by=workshop.cast.second_welder)
    assert answer.outcome == "applied"


def test_refuses_the_only_inspection_of_a_joint_by_its_welder(workshop: Workshop) -> None:
    refused(workshop, workshop.operation("pores", person=workshop.cast.welder), "own_weld")


def test_takes_the_first_of_two_inspections_by_the_welder(workshop: Workshop) -> None:
    (answer,) = workshop.send(workshop.operation("weld_w7", person=workshop.cast.welder), by=workshop.cast.welder)
    assert answer.outcome == "applied"


def test_refuses_a_second_inspection_where_the_plan_asks_none(workshop: Workshop) -> None:
    refused(workshop, second(workshop, "head_angle"), "second_not_asked")


def test_refuses_a_third_inspection_without_disagreement(workshop: Workshop) -> None:
    workshop.send(workshop.operation("weld_w7"))
    third = second(workshop, inspection=3, person=workshop.cast.third_inspector)
    refused(workshop, third, "no_disagreement")
    workshop.send(second(workshop), by=workshop.cast.second_inspector)
    refused(workshop, third | {"id": str(uuid4())}, "no_disagreement")


def disagreed(workshop: Workshop) -> None:
    workshop.send(workshop.operation("weld_w7"))
    workshop.send(second(workshop, answer={"conforms": False}), by=workshop.cast.second_inspector)


def test_takes_a_third_inspection_when_the_two_disagree(workshop: Workshop) -> None:
    disagreed(workshop)
    third = second(workshop, inspection=3, person=workshop.cast.third_inspector)
    (answer,) = workshop.send(third, by=workshop.cast.third_inspector)
    assert answer.outcome == "applied"


@pytest.mark.parametrize("name", ["inspector", "second_inspector"])
def test_refuses_a_third_inspection_by_one_of_the_two(workshop: Workshop, name: str) -> None:
    disagreed(workshop)
    third = second(workshop, inspection=3, person=getattr(workshop.cast, name))
    refused(workshop, third, "second_same_person")


# ------------------------------------------------------------------------------------------------ answering again


def test_refuses_a_second_reading_by_somebody_who_saw_the_first(workshop: Workshop) -> None:
    reading = workshop.operation("head_angle")
    workshop.send(reading)
    refused(workshop, workshop.operation("head_angle", base=reading["id"]), "already_answered")


@pytest.mark.parametrize("purpose", ["correction", "repeat"])
def test_refuses_answering_again_without_a_reason(workshop: Workshop, purpose: str) -> None:
    reading = workshop.operation("head_angle", "62.20")
    workshop.send(reading)
    body = workshop.operation("head_angle", purpose=purpose, base=reading["id"], gauge="AG-02")
    refused(workshop, body, "reason_missing")


def test_refuses_a_correction_that_names_nothing(workshop: Workshop) -> None:
    workshop.send(workshop.operation("head_angle"))
    refused(workshop, workshop.operation("head_angle", purpose="correction", reason="typed"), "base_missing")


def repeat(workshop: Workshop, key: str = "head_angle", **changes: Any) -> dict[str, Any]:
    return workshop.operation(key, purpose="repeat", **{"reason": "burr", "gauge": "AG-02", **changes})


def test_refuses_a_repeat_when_nothing_was_answered(workshop: Workshop) -> None:
    refused(workshop, repeat(workshop), "nothing_to_repeat")


def test_refuses_a_repeat_after_a_value_that_passes(workshop: Workshop) -> None:
    workshop.send(workshop.operation("head_angle", "61.85"))  # near limit passes
    refused(workshop, repeat(workshop), "nothing_to_repeat")


def test_refuses_a_second_repeat_in_the_same_round(workshop: Workshop) -> None:
    workshop.send(workshop.operation("head_angle", "62.20"))
    workshop.send(repeat(workshop, answer="62.30"))
    refused(workshop, repeat(workshop, answer="62.00"), "repeat_used")


def test_refuses_a_second_repeat_after_the_first_was_corrected(workshop: Workshop) -> None:
    first = repeat(workshop, answer="62.30")
    workshop.send(workshop.operation("head_angle", "62.20"), first)
    workshop.send(workshop.operation("head_angle", "62.31", purpose="correction", base=first["id"], reason="typed"))
    refused(workshop, repeat(workshop, answer="62.00"), "repeat_used")


def test_refuses_a_repeat_of_a_critical_checkpoint_by_the_same_person_and_gauge(workshop: Workshop) -> None:
    workshop.send(workshop.operation("head_angle", "62.20"))
    refused(workshop, repeat(workshop, gauge="AG-01"), "repeat_same_person_and_gauge")


# ---------------------------------------------------------------------------------------------------- flagging


def flags(workshop: Workshop, body: dict[str, Any], **options: Any) -> list[str]:
    """The flags of an operation that is stored, as answered and as stored."""
    (answer,) = workshop.send(body, **options)
    assert answer.outcome == "applied"
    row = Result.objects.get(operation=body["id"])
    assert list(answer.flags) == row.flags
    return row.flags


def test_flags_nothing_when_all_is_in_order(workshop: Workshop) -> None:
    assert flags(workshop, workshop.operation("head_angle")) == []


@pytest.mark.parametrize(
    ("key", "gauge", "flag"),
    [
        ("left_length", "CA-02", "gauge_overdue"),
        ("left_length", "CA-03", "gauge_failed"),
        ("left_length", None, "gauge_missing"),
        ("left_length", "AG-01", "gauge_kind_differs"),
    ],
)
def test_flags_a_reading_with_the_wrong_gauge(workshop: Workshop, key: str, gauge: str | None, flag: str) -> None:
    assert flags(workshop, workshop.operation(key, gauge=gauge)) == [flag]


def test_flags_a_gauge_by_the_day_of_measuring_not_by_today(workshop: Workshop) -> None:
    before = workshop.at - timedelta(days=200)  # CA-02 was in calibration then, CA-01 was not yet calibrated
    good = workshop.operation("left_length", gauge="CA-02", recorded_at=before.isoformat())
    early = workshop.operation("right_length", gauge="CA-01", recorded_at=before.isoformat())
    assert flags(workshop, good) == []
    assert flags(workshop, early) == ["gauge_never_calibrated"]


def test_flags_a_gauge_that_was_taken_out_of_use(workshop: Workshop) -> None:
    take_out_of_use(by=workshop.cast.metrology, number="CA-01", reason="dropped", at=workshop.at)
    assert flags(workshop, workshop.operation("left_length")) == ["gauge_out_of_use"]


def test_flags_a_stage_that_was_begun_before_the_one_before_was_signed(workshop: Workshop) -> None:
    assert flags(workshop, workshop.operation("twist")) == ["stage_not_open"]


def test_flags_nothing_once_the_earlier_stages_are_signed(workshop: Workshop) -> None:
    workshop.finish(upto=2)
    assert flags(workshop, workshop.operation("twist")) == []


def test_flags_a_stage_when_an_earlier_one_changed_since_it_was_signed(workshop: Workshop) -> None:
    workshop.finish(upto=2)
    base = Result.objects.get(checkpoint=workshop.card("head_angle").id).operation
    correction = workshop.operation("head_angle", "61.95", purpose="correction", base=str(base), reason="typed")
    workshop.send(correction)
    assert flags(workshop, workshop.operation("twist")) == ["stage_not_open"]


@pytest.mark.parametrize(("from_stage", "expected"), [(1, ["stage_not_open"]), (None, ["stage_not_open"]), (2, [])])
def test_flags_the_stages_after_a_hold(workshop: Workshop, from_stage: int | None, expected: list[str]) -> None:
    workshop.finish(upto=1)
    place_hold(
        by=workshop.cast.inspector, item_id=workshop.item_id, from_stage=from_stage, source="NCR-2026-0001",
        reason="out of band", at=workshop.at,
    )  # fmt: skip
    assert flags(workshop, workshop.operation("heat")) == expected


def test_flags_an_answer_to_an_older_revision(workshop: Workshop) -> None:
    newer = release_plan(workshop.cast, family_code="FR-200", letter="E", text=PLAN, at=workshop.at)
    on_newer = replace(workshop.another_unit("FR-200-0148"), revision=newer)
    assert flags(on_newer, on_newer.operation("head_angle")) == []
    older = on_newer.operation("left_length") | {"revision": str(workshop.revision)}
    assert flags(on_newer, older) == ["old_revision"]


def test_flags_a_clock_more_than_fifteen_minutes_ahead(workshop: Workshop) -> None:
    at = workshop.at
    edge = workshop.operation("left_length", recorded_at=(at + timedelta(minutes=15)).isoformat())
    ahead = workshop.operation("right_length", recorded_at=(at + timedelta(minutes=15, seconds=1)).isoformat())
    assert flags(workshop, edge) == []
    assert flags(workshop, ahead) == ["clock_off"]


def test_flags_a_tablet_whose_clock_was_ahead_when_it_sent(workshop: Workshop) -> None:
    earlier = workshop.operation("left_length", recorded_at=(workshop.at - timedelta(hours=1)).isoformat())
    assert flags(workshop, earlier, sent_at=workshop.at + timedelta(hours=1)) == ["clock_off"]


@pytest.mark.parametrize(("minutes", "expected"), [(15, []), (16, ["clock_off"]), (24 * 60, ["clock_off"])])
def test_flags_a_tablet_whose_clock_was_behind_when_it_sent(
    workshop: Workshop, minutes: int, expected: list[str]
) -> None:
    """Else a gauge that is overdue today would measure by a clock that says yesterday."""
    then = workshop.at - timedelta(minutes=minutes)
    body = workshop.operation("left_length", recorded_at=then.isoformat())
    assert flags(workshop, body, sent_at=then) == expected


def test_flags_no_entry_that_waited_on_a_tablet_whose_clock_is_right(workshop: Workshop) -> None:
    earlier = workshop.operation("left_length", recorded_at=(workshop.at - timedelta(days=2)).isoformat())
    assert flags(workshop, earlier, sent_at=workshop.at - timedelta(seconds=8)) == []


def test_flags_what_was_sent_under_another_login(workshop: Workshop) -> None:
    body = workshop.operation("head_angle", person=workshop.cast.second_inspector)
    assert flags(workshop, body) == ["sent_by_other"]
    assert Result.objects.get().sent_by == workshop.cast.inspector


def test_flags_another_serial_than_the_units_read_on_it(cast: Cast) -> None:
    plan = "\n".join(
        row.replace("record,,,,,,,major", "record,,,,,,serial FR-200-{number:4},major") if ",205," in row else row
        for row in PLAN.split("\n")
    )
    workshop = Workshop.opened(cast, plan=plan)
    assert "serial_differs" in flags(workshop, workshop.operation("serial_read", {"text": "FR-200-0174"}))
    second = {"person": workshop.cast.second_inspector, "inspection": 2}
    right = workshop.operation("serial_read", {"text": "FR-200-0147"}, **second)
    assert "serial_differs" not in flags(workshop, right)


def test_flags_everything_that_applies(workshop: Workshop) -> None:
    body = workshop.operation("twist", gauge=None, person=workshop.cast.second_inspector)
    assert flags(workshop, body) == ["gauge_missing", "stage_not_open", "sent_by_other"]
