"""`record_operations`: what is applied, what follows from it, and what is answered."""

from __future__ import annotations

import json
from typing import Any
from uuid import UUID, uuid4

import pytest
from django.db import DatabaseError
from pytest_django.fixtures import DjangoAssertNumQueries

from qcapp.audit.queries import entries_about
from qcapp.core.errors import Invalid, NotAllowed
from qcapp.inspections.models import CurrentAnswer, Result
from qcapp.inspections.queries import answers_to, inspection_of
from qcapp.inspections.services import drafts, record_operations
from qcapp.inspections.services.recording import Verdictlet
from qcapp.inspections.signals import judged
from qcapp.inspections.states import CheckpointState

from ..factories.inspections import STAGES, Workshop

pytestmark = pytest.mark.django_db


def state_of(workshop: Workshop, key: str) -> CheckpointState:
    views = {view.card.key: view for view in inspection_of(workshop.serial).checkpoints}
    return views[key].state


def stored(workshop: Workshop, key: str) -> list[str]:
    """The values stored for a checkpoint, in the order they came."""
    return [answer.answer["value"] for answer in answers_to(workshop.item_id, workshop.card(key).id)]


def counting(workshop: Workshop, key: str) -> tuple[str, bool]:
    row = CurrentAnswer.objects.select_related("result").get(
        item=workshop.item_id, checkpoint=workshop.card(key).id, inspection=1
    )
    return json.loads(row.result.answer)["value"], row.conflict


# ------------------------------------------------------------------------------------------------- applying


def test_applies_a_reading_with_its_verdict(workshop: Workshop) -> None:
    (answer,) = workshop.send(workshop.operation("head_angle", "61.94", raw="61,94"))
    assert answer.to_json() | {"id": ""} == {
        "id": "",
        "outcome": "applied",
        "code": "",
        "message": "61.94 ° is in band.",
        "verdict": "in_band",
        "excess": None,
        "nearest_limit": "lower",
        "limits": "61.85 to 62.15 °",
        "report": None,
        "flags": [],
        "conflict": False,
        "computed": [],
    }
    row = Result.objects.get()
    assert (row.raw, row.answer, row.gauge.number, row.expanded_uncertainty) == (
        "61,94",
        '{"value":"61.94"}',
        "AG-01",
        "0.01",
    )


@pytest.mark.parametrize(
    ("value", "verdict", "excess", "nearest"),
    [
        ("61.85", "near_limit", None, "lower"),  # on the limit is inside; the gauge's uncertainty is the guard zone
        ("61.86", "in_band", None, "lower"),
        ("61.84", "out_of_band", "0.01", "lower"),
        ("62.20", "out_of_band", "0.05", "upper"),
        ("62,20", "out_of_band", "0.05", "upper"),
        ("62.20 °", "out_of_band", "0.05", "upper"),
    ],
)
def test_says_by_how_much_a_value_is_out(
    workshop: Workshop, value: str, verdict: str, excess: str | None, nearest: str
) -> None:
    (answer,) = workshop.send(workshop.operation("head_angle", value))
    assert (answer.verdict, answer.excess, answer.nearest_limit) == (verdict, excess, nearest)


@pytest.mark.parametrize(
    ("key", "answer", "verdict"),
    [
        ("tack_look", {"conforms": True}, "conforms"),
        ("tack_look", {"conforms": False, "note": "crack at W2"}, "does_not_conform"),
        ("pores", {"count": 2}, "in_band"),
        ("pores", {"count": 3}, "out_of_band"),
        ("heat", {"text": "H4711"}, "recorded"),
    ],
)
def test_takes_every_kind_of_answer(workshop: Workshop, key: str, answer: dict[str, Any], verdict: str) -> None:
    (given,) = workshop.send(workshop.operation(key, answer, gauge=None))
    assert (given.outcome, given.verdict) == ("applied", verdict)


def test_keeps_the_zeros_that_were_typed(workshop: Workshop) -> None:
    workshop.send(workshop.operation("left_length", "250.00"))
    assert stored(workshop, "left_length") == ["250.00"]


def test_converts_the_uncertainty_into_the_unit_of_the_checkpoint(workshop: Workshop) -> None:
    from qcapp.gauges.services import add_gauge, record_calibration

    by = workshop.cast.metrology
    add_gauge(by=by, number="CA-09", kind_key="caliper", unit_of_measure="in", at=workshop.at)
    record_calibration(
        by=by, number="CA-09", done_on=workshop.at.date(), outcome="passed", done_by="Gauge room", at=workshop.at,
        expanded_uncertainty=drafts.Decimal("0.001"),
    )  # fmt: skip
    workshop.send(workshop.operation("left_length", "250.0", gauge="CA-09"))
    assert Result.objects.get().expanded_uncertainty == "0.0254"  # 1 inch is 25.4 mm exactly


def test_takes_the_other_operations_when_one_is_refused(workshop: Workshop) -> None:
    answers = workshop.send(
        workshop.operation("head_angle", "NaN"), workshop.operation("left_length"), {"id": "nonsense"}
    )
    assert [answer.outcome for answer in answers] == ["rejected", "applied", "rejected"]
    assert Result.objects.count() == 1


def test_writes_one_audit_entry_for_a_submission_with_every_digest(workshop: Workshop) -> None:
    before = len(entries_about(f"unit {workshop.serial}"))
    bodies = [workshop.operation(key) for key in STAGES[1]]
    workshop.send(*bodies)
    entries = entries_about(f"unit {workshop.serial}")
    assert len(entries) == before + 1
    payload = entries[0].payload
    named = [operation for operation, _ in payload["results"]]
    assert named[:4] == [body["id"] for body in bodies]
    digests = dict(Result.objects.values_list("operation", "body_digest"))
    assert all(digests[UUID(operation)] == digest for operation, digest in payload["results"])
    assert payload["device"] == "tablet 7"


def test_writes_no_entry_when_nothing_was_stored(workshop: Workshop) -> None:
    body = workshop.operation("head_angle")
    workshop.send(body)
    before = len(entries_about(f"unit {workshop.serial}"))
    workshop.send(body, workshop.operation("nothing_here"))
    assert len(entries_about(f"unit {workshop.serial}")) == before


def test_tells_the_rooms_above_before_the_entry_and_hands_their_report_on(workshop: Workshop) -> None:
    heard: list[Any] = []
    entries = len(entries_about(f"unit {workshop.serial}"))

    def listen(sender: object, **told: Any) -> dict[UUID, str]:
        heard.append((told, len(entries_about(f"unit {workshop.serial}"))))
        return {one.operation: "NCR-2026-0009" for one in told["judgements"] if not one.passes}

    judged.connect(listen, dispatch_uid="test")
    try:
        passing, failing = workshop.send(workshop.operation("left_length"), workshop.operation("head_angle", "62.20"))
    finally:
        judged.disconnect(dispatch_uid="test")
    ((told, entries_then),) = heard
    one = next(one for one in told["judgements"] if not one.passes)
    assert (one.serial, one.checkpoint_card.number, one.excess, one.gauge_number) == (
        workshop.serial,
        101,
        "0.05",
        "AG-01",
    )
    assert told["by"] == workshop.cast.inspector
    assert entries_then == entries
    assert (passing.report, failing.report is not None) == (None, True)


def test_refuses_everything_when_a_room_above_cannot_follow(workshop: Workshop) -> None:
    def fail(sender: object, **told: Any) -> None:
        raise RuntimeError("the room above is on fire")

    judged.connect(fail, dispatch_uid="test")
    try:
        with pytest.raises(RuntimeError):
            workshop.send(workshop.operation("head_angle"))
    finally:
        judged.disconnect(dispatch_uid="test")
    assert not Result.objects.exists()


def test_takes_units_of_two_serials_in_one_submission(workshop: Workshop) -> None:
    other = workshop.another_unit("FR-200-0148")
    answers = workshop.send(workshop.operation("head_angle"), other.operation("head_angle"))
    assert [answer.outcome for answer in answers] == ["applied", "applied"]
    assert [len(entries_about(f"unit {one.serial}")) for one in (workshop, other)] == [3, 2]


# ----------------------------------------------------------------------------------------- sending it again


def test_answers_a_repeated_operation_as_a_duplicate_with_the_stored_verdict(workshop: Workshop) -> None:
    body = workshop.operation("head_angle", "62.20")
    (first,) = workshop.send(body)
    (again,) = workshop.send(body)
    assert (first.outcome, again.outcome) == ("applied", "duplicate")
    assert (again.verdict, again.excess, again.nearest_limit, again.limits) == (
        first.verdict,
        first.excess,
        first.nearest_limit,
        first.limits,
    )
    assert Result.objects.count() == 1


def test_refuses_the_same_key_with_another_body(workshop: Workshop) -> None:
    body = workshop.operation("head_angle", "61.94")
    workshop.send(body)
    (answer,) = workshop.send(body | {"answer": {"value": "61.95"}})
    assert (answer.outcome, answer.code) == ("rejected", "key_reused")
    assert stored(workshop, "head_angle") == ["61.94"]


@pytest.mark.parametrize("elsewhere", ["another checkpoint", "another unit"])
def test_refuses_a_key_that_was_used_for_another_place(workshop: Workshop, elsewhere: str) -> None:
    body = workshop.operation("head_angle")
    workshop.send(body)
    other = workshop.another_unit("FR-200-0148") if elsewhere == "another unit" else workshop
    reused = other.operation("tack_look") | {"id": body["id"]}
    taken, refused = workshop.send(other.operation("left_length"), reused)
    assert (taken.outcome, refused.outcome, refused.code) == ("applied", "rejected", "key_reused")
    assert Result.objects.count() == 2
    assert CurrentAnswer.objects.count() == 2


def test_recognises_a_duplicate_inside_one_submission(workshop: Workshop) -> None:
    body = workshop.operation("head_angle")
    answers = workshop.send(body, body, body | {"raw": "61.9"})
    assert [(answer.outcome, answer.code) for answer in answers] == [
        ("applied", ""),
        ("duplicate", ""),
        ("rejected", "key_reused"),
    ]


def test_does_not_mind_the_order_of_the_fields_of_a_resend(workshop: Workshop) -> None:
    body = workshop.operation("head_angle")
    workshop.send(body)
    (answer,) = workshop.send(dict(reversed(body.items())))
    assert answer.outcome == "duplicate"


def test_stores_one_by_one_when_the_statement_as_a_whole_is_refused(
    workshop: Workshop, monkeypatch: pytest.MonkeyPatch
) -> None:
    whole = drafts._insert

    def only_single_rows(rows: Any, stamp: Any) -> Any:
        if len(rows) > 1 or rows[0].card.key == "tack_look":
            raise DatabaseError("no")
        return whole(rows, stamp)

    monkeypatch.setattr(drafts, "_insert", only_single_rows)
    answers = workshop.send(*[workshop.operation(key) for key in ("head_angle", "tack_look", "left_length")])
    assert [(answer.outcome, answer.code) for answer in answers] == [
        ("applied", ""),
        ("rejected", "not_stored"),
        ("applied", ""),
    ]
    assert CurrentAnswer.objects.count() == 2


# -------------------------------------------------------------------------------- corrections and conflicts


def test_takes_a_correction_after_its_reading_in_the_same_submission(workshop: Workshop) -> None:
    reading = workshop.operation("head_angle", "62.20")
    correction = workshop.operation(
        "head_angle", "62.02", purpose="correction", base=reading["id"], reason="typed wrong"
    )
    answers = workshop.send(reading, correction)
    assert [answer.verdict for answer in answers] == ["out_of_band", "in_band"]
    assert stored(workshop, "head_angle") == ["62.20", "62.02"]
    assert counting(workshop, "head_angle") == ("62.02", False)


def test_keeps_both_answers_of_two_tablets_that_did_not_see_each_other(workshop: Workshop) -> None:
    workshop.send(workshop.operation("head_angle", "61.94"))
    (answer,) = workshop.send(workshop.operation("head_angle", "61.99"), device="tablet 8")
    assert (answer.outcome, answer.conflict) == ("applied", True)
    assert stored(workshop, "head_angle") == ["61.94", "61.99"]
    assert counting(workshop, "head_angle")[1] is True
    assert state_of(workshop, "head_angle") is CheckpointState.IN_CONFLICT


def conflict(workshop: Workshop) -> UUID:
    """A checkpoint in conflict, and the base that names both answers."""
    workshop.send(workshop.operation("head_angle", "61.94"))
    workshop.send(workshop.operation("head_angle", "61.99"), device="tablet 8")
    base = inspection_of(workshop.serial).checkpoints[0].base
    assert base is not None
    return base


def test_settles_a_conflict_by_a_correction_that_names_all_of_it(workshop: Workshop) -> None:
    base = conflict(workshop)
    (answer,) = workshop.send(
        workshop.operation("head_angle", "61.99", purpose="correction", base=str(base), reason="looked again")
    )
    assert (answer.outcome, answer.conflict) == ("applied", False)
    assert counting(workshop, "head_angle") == ("61.99", False)
    assert len(stored(workshop, "head_angle")) == 3


def test_settles_a_conflict_by_a_correction_that_lists_both(workshop: Workshop) -> None:
    conflict(workshop)
    both = [str(operation) for operation in Result.objects.values_list("operation", flat=True)]
    workshop.send(workshop.operation("head_angle", purpose="correction", base=both, reason="looked again"))
    assert state_of(workshop, "head_angle") is CheckpointState.ANSWERED


def test_keeps_the_conflict_when_a_correction_knew_only_one_side(workshop: Workshop) -> None:
    conflict(workshop)
    one = str(Result.objects.order_by("id").values_list("operation", flat=True)[0])
    (answer,) = workshop.send(workshop.operation("head_angle", purpose="correction", base=one, reason="typed"))
    assert answer.conflict is True
    assert state_of(workshop, "head_angle") is CheckpointState.IN_CONFLICT


def test_keeps_the_conflict_when_a_third_answer_came_before_the_settling_one(workshop: Workshop) -> None:
    base = conflict(workshop)
    workshop.send(workshop.operation("head_angle", "62.05"), device="tablet 9")
    workshop.send(workshop.operation("head_angle", purpose="correction", base=str(base), reason="looked again"))
    assert state_of(workshop, "head_angle") is CheckpointState.IN_CONFLICT


def test_takes_a_correction_of_what_is_no_longer_current_as_a_conflict(workshop: Workshop) -> None:
    reading = workshop.operation("head_angle", "61.94")
    first = workshop.operation("head_angle", "61.95", purpose="correction", base=reading["id"], reason="a")
    late = workshop.operation("head_angle", "61.96", purpose="correction", base=reading["id"], reason="b")
    workshop.send(reading, first)
    (answer,) = workshop.send(late, device="tablet 8")
    assert answer.conflict is True


def test_puts_a_correction_that_arrives_before_its_reading_right(workshop: Workshop) -> None:
    reading = workshop.operation("head_angle", "61.94")
    correction = workshop.operation("head_angle", "61.95", purpose="correction", base=reading["id"], reason="a")
    workshop.send(correction)
    workshop.send(reading)
    assert counting(workshop, "head_angle") == ("61.95", False)


# -------------------------------------------------------------------------------------------- measured again


def failed(workshop: Workshop, key: str = "head_angle", value: str = "62.20") -> str:
    body = workshop.operation(key, value)
    workshop.send(body)
    return str(body["id"])


def test_takes_one_repeat_by_another_gauge_after_a_value_out_of_band(workshop: Workshop) -> None:
    base = failed(workshop)
    (answer,) = workshop.send(
        workshop.operation("head_angle", "62.02", purpose="repeat", base=base, reason="burr", gauge="AG-02")
    )
    assert (answer.outcome, answer.verdict) == ("applied", "in_band")
    assert stored(workshop, "head_angle") == ["62.20", "62.02"]
    assert counting(workshop, "head_angle") == ("62.02", False)


def test_takes_a_repeat_of_a_major_checkpoint_by_the_same_person_and_gauge(workshop: Workshop) -> None:
    base = failed(workshop, "left_length", "251.0")
    (answer,) = workshop.send(workshop.operation("left_length", "250.1", purpose="repeat", base=base, reason="burr"))
    assert answer.outcome == "applied"


def test_takes_a_repeat_of_a_critical_checkpoint_by_another_person(workshop: Workshop) -> None:
    base = failed(workshop)
    other = workshop.cast.second_inspector
    (answer,) = workshop.send(
        workshop.operation("head_angle", "62.02", purpose="repeat", base=base, reason="burr", person=other),
        by=other,
    )
    assert answer.outcome == "applied"


# ----------------------------------------------------------------------------------------- derived checkpoints


def test_computes_a_derived_checkpoint_when_its_last_input_is_answered(workshop: Workshop) -> None:
    workshop.send(workshop.operation("left_length", "250.1"))
    assert stored(workshop, "length_difference") == []
    (answer,) = workshop.send(workshop.operation("right_length", "250.0"))
    (computed,) = answer.computed
    assert computed.to_json() == {
        "checkpoint": "length_difference",
        "verdict": "in_band",
        "value": "0.1 mm",
        "report": None,
    }
    row = Result.objects.get(purpose="computed")
    assert json.loads(row.answer)["inputs"] == {"left_length": "250.1", "right_length": "250.0"}


def test_computes_a_derived_checkpoint_again_when_an_input_is_corrected(workshop: Workshop) -> None:
    left = workshop.operation("left_length", "250.1")
    workshop.send(left, workshop.operation("right_length", "250.0"))
    (answer,) = workshop.send(
        workshop.operation("left_length", "250.3", purpose="correction", base=left["id"], reason="typed")
    )
    assert [(one.verdict, one.value) for one in answer.computed] == [("out_of_band", "0.3 mm")]
    assert stored(workshop, "length_difference") == ["0.100", "0.300"]
    assert counting(workshop, "length_difference") == ("0.300", False)


def test_computes_nothing_new_when_the_result_stays_the_same(workshop: Workshop) -> None:
    workshop.send(workshop.operation("left_length", "250.1"), workshop.operation("right_length", "250.0"))
    workshop.send(workshop.operation("head_angle"))
    assert stored(workshop, "length_difference") == ["0.100"]


def test_computes_nothing_while_an_input_is_in_conflict(workshop: Workshop) -> None:
    workshop.send(workshop.operation("left_length", "250.1"))
    workshop.send(workshop.operation("left_length", "250.2"), device="tablet 8")
    workshop.send(workshop.operation("right_length", "250.0"))
    assert stored(workshop, "length_difference") == []


def test_judges_a_derived_value_that_is_out_of_band(workshop: Workshop) -> None:
    heard: list[Any] = []

    def listen(sender: object, **told: Any) -> None:
        heard.extend(told["judgements"])

    judged.connect(listen, dispatch_uid="test")
    try:
        workshop.send(workshop.operation("left_length", "250.3"), workshop.operation("right_length", "250.0"))
    finally:
        judged.disconnect(dispatch_uid="test")
    assert [(one.checkpoint_card.key, one.passes) for one in heard] == [
        ("left_length", True),
        ("right_length", True),
        ("length_difference", False),
    ]


# ---------------------------------------------------------------------------------------- the request as a whole


def test_refuses_more_than_two_hundred_operations(workshop: Workshop) -> None:
    with pytest.raises(Invalid) as refusal:
        workshop.send(*[workshop.operation("head_angle") for _ in range(201)])
    assert refusal.value.code == "too_many_operations"
    assert not Result.objects.exists()


def test_refuses_somebody_without_the_right_to_record(workshop: Workshop) -> None:
    with pytest.raises(NotAllowed) as refusal:
        workshop.send(workshop.operation("head_angle"), by=workshop.cast.customer_service)
    assert refusal.value.code == "not_permitted"
    assert not Result.objects.exists()


@pytest.mark.parametrize("operations", [None, {}, "text", 7])
def test_refuses_what_is_no_list_of_operations(workshop: Workshop, operations: Any) -> None:
    with pytest.raises(Invalid) as refusal:
        record_operations(sent_by=workshop.cast.inspector, device="tablet 7", operations=operations, at=workshop.at)
    assert refusal.value.code == "operations_unreadable"


def test_answers_an_empty_submission_with_nothing(workshop: Workshop) -> None:
    assert workshop.send() == []


def test_takes_a_submission_in_a_few_queries_whatever_its_size(
    workshop: Workshop, django_assert_max_num_queries: DjangoAssertNumQueries
) -> None:
    bodies = [workshop.operation(key) for key in STAGES[1]]
    with django_assert_max_num_queries(30):
        answers = workshop.send(*bodies)
    assert all(isinstance(answer, Verdictlet) and answer.applied for answer in answers)
    more = [
        workshop.operation("left_length", purpose="correction", base=str(uuid4()), reason="again") for _ in range(190)
    ]
    with django_assert_max_num_queries(30):
        workshop.send(*more)
