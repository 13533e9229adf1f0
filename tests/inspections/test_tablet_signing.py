"""Stages signed on a tablet without network: what the server takes, and why it refuses the others."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import Any

import pytest

from qcapp.audit.queries import entries_about
from qcapp.inspections.models import Result, StageSignOff
from qcapp.inspections.queries import stage_state
from qcapp.inspections.services.recording import Verdictlet
from qcapp.inspections.states import StageState
from qcapp.lib.fields import uuid7
from qcapp.people import services
from qcapp.people.models import Person
from qcapp.people.services.entry_proofs import proven_operations

from ..factories.inspections import SECOND, STAGES, Workshop
from ..factories.tablets import OnTablet, enrolled, put_on
from ..unchanged import rows_of

pytestmark = pytest.mark.django_db
PLACES = ("inspections", "people.Signature")


@dataclass
class Tablet:
    """An inspector's tablet: it signs, and it sends results and signatures in the order in which they were made."""

    workshop: Workshop
    person: Person
    on: OnTablet
    row: Any

    def record(self, stage: int = 1, covers: list[str] | None = None, **changes: Any) -> dict[str, Any]:
        keys = [key for key in STAGES[stage] if key != "length_difference"]
        stored = Result.objects.filter(characteristic__key__in=keys).values_list("operation", flat=True)
        return {
            "id": str(uuid7()), "v": 1, "kind": "sign_off", "serial": self.workshop.serial, "stage": stage,
            "revision": str(self.workshop.revision), "covers": covers or sorted(map(str, stored)),
            "meaning": "I sign that this stage is recorded truly and completely.",
            "recorded_at": self.workshop.at.isoformat(), "recorded_by": self.person.badge,
        } | changes  # fmt: skip

    def send(self, *bodies: dict[str, Any], proofs: dict[str, Any] | None = None, **options: Any) -> list[Verdictlet]:
        made = {one["id"]: self.on.sign(one) for one in bodies if one["kind"] == "sign_off"}
        proven = proven_operations(list(bodies), made if proofs is None else proofs)
        return self.workshop.send(*bodies, proven=proven, **options)

    def refused(self, record: dict[str, Any], code: str, **options: Any) -> str:
        """The sentence of the refusal, which changed nothing."""
        before = rows_of(*PLACES)
        (answer,) = self.send(record, **options)
        assert (answer.outcome, answer.code) == ("rejected", code)
        assert rows_of(*PLACES) == before
        assert answer.message.endswith(".")
        return answer.message


@pytest.fixture
def tablet(workshop: Workshop) -> Tablet:
    services.set_pin(by=None, person=workshop.cast.inspector, pin="271845", at=workshop.at)
    person = Person.objects.get(pk=workshop.cast.inspector.pk)
    row, _ = enrolled(workshop.cast.keeper, workshop.at)
    return Tablet(workshop, person, put_on(row, person, workshop.at), row)


def states(workshop: Workshop) -> list[StageState]:
    return [stage.state for stage in stage_state(workshop.item_id)]


def test_signs_what_was_on_the_screen_and_says_by_what_means(tablet: Tablet) -> None:
    tablet.workshop.answer_stage(1)
    record = tablet.record()
    (answer,) = tablet.send(record)
    assert answer.outcome == "applied"
    assert states(tablet.workshop)[0] is StageState.SIGNED
    row = StageSignOff.objects.get()
    assert (str(row.uuid), row.signature.method, row.signature.person) == (record["id"], "tablet", tablet.person)
    entry = entries_about(f"unit {tablet.workshop.serial}")[0]
    assert (entry.verb, entry.payload["signed_on_tablet"]) == ("stage.signed", record)


def test_is_signed_by_its_owner_whoever_sends_it(tablet: Tablet) -> None:
    tablet.workshop.answer_stage(1)
    tablet.send(tablet.record(), by=tablet.workshop.cast.second_inspector)
    assert StageSignOff.objects.get().signature.person == tablet.person


def test_counts_once_however_often_it_arrives(tablet: Tablet) -> None:
    tablet.workshop.answer_stage(1)
    record = tablet.record()
    assert [tablet.send(record)[0].outcome for _ in range(3)] == ["applied", "duplicate", "duplicate"]
    assert StageSignOff.objects.count() == 1
    tablet.refused({**record, "stage": 2}, "key_reused")


def test_comes_between_the_results_of_two_stages_in_the_order_of_the_work(tablet: Tablet) -> None:
    workshop = tablet.workshop
    first = [workshop.operation(key) for key in STAGES[1]]
    later = workshop.operation("pores")
    signature = tablet.record(covers=sorted(one["id"] for one in first))
    answers = tablet.send(*first, signature, later)
    assert [one.outcome for one in answers] == ["applied"] * len(answers)
    assert [one.id for one in answers] == [one["id"] for one in (*first, signature, later)]
    assert answers[-1].flags == ()  # before the signature it would have been marked as out of order


def test_waits_for_entries_that_have_not_arrived_and_is_taken_when_they_have(tablet: Tablet) -> None:
    workshop = tablet.workshop
    entries = [workshop.operation(key) for key in STAGES[1]]
    signature = tablet.record(covers=sorted(one["id"] for one in entries))
    tablet.send(*entries[:-1])
    assert "One of the entries" in tablet.refused(signature, "entries_missing")
    assert [one.outcome for one in tablet.send(entries[-1], signature)] == ["applied", "applied"]


@pytest.mark.parametrize("covered", [0, 1])
def test_refuses_a_stage_that_changed_meanwhile(tablet: Tablet, covered: int) -> None:
    workshop = tablet.workshop
    workshop.answer_stage(1)
    signature = tablet.record()
    if covered:
        signature["covers"] = signature["covers"][1:]  # one more stands than was on the screen
    else:
        (stood,) = Result.objects.filter(characteristic__key="tack_look").values_list("operation", flat=True)
        told = {"purpose": "correction", "base": str(stood), "reason": "Looked at the wrong seam"}
        assert workshop.send_one("tack_look", {"conforms": True}, **told).applied
    assert "Sign the stage again" in tablet.refused(signature, "stage_changed")


def test_signs_a_stage_that_two_inspected_with_the_answers_of_both(tablet: Tablet) -> None:
    workshop = tablet.workshop
    workshop.answer_stage(1)
    tablet.send(tablet.record())
    workshop.answer_stage(2)
    (answer,) = tablet.send(tablet.record(2))
    assert answer.outcome == "applied"
    assert states(workshop)[1] is StageState.SIGNED
    signed = StageSignOff.objects.get(stage__number=2)
    assert signed.answers == len(STAGES[2]) + len(SECOND)


def test_refuses_a_stage_of_two_while_the_second_is_missing_or_came_unseen(tablet: Tablet) -> None:
    workshop = tablet.workshop
    workshop.answer_stage(1)
    tablet.send(tablet.record())
    workshop.send(*[workshop.operation(key) for key in STAGES[2]])
    firsts = tablet.record(2)
    assert "3 open" in tablet.refused(firsts, "stage_incomplete")
    second = workshop.cast.second_inspector
    workshop.send(*[workshop.operation(key, inspection=2, person=second) for key in SECOND], by=second)
    tablet.refused(firsts, "stage_changed")  # another tablet's second inspections were not on that screen


def test_refuses_another_plan_revision(tablet: Tablet) -> None:
    tablet.workshop.answer_stage(1)
    tablet.refused(tablet.record(revision=str(uuid7())), "stage_changed")


def test_refuses_an_incomplete_stage_and_one_whose_earlier_stage_is_unsigned(tablet: Tablet) -> None:
    workshop = tablet.workshop
    workshop.send_one("tack_look")
    tablet.refused(tablet.record(), "stage_incomplete")
    workshop.send_one("twist")
    tablet.refused(tablet.record(3), "earlier_stage_unsigned")


def test_refuses_what_was_changed_after_signing_or_signed_with_another_key(tablet: Tablet) -> None:
    tablet.workshop.answer_stage(1)
    record = tablet.record()
    for proof in (
        tablet.on.sign({**record, "stage": 2}),
        tablet.on.proof(record),  # the key for entries is no signature
        {"key": tablet.on.key, "signature": "AAAA"},
        {"key": str(uuid7()), "signature": tablet.on.sign(record)["signature"]},
        None,
    ):
        tablet.refused(record, "signature_not_proven", proofs={record["id"]: proof})


def test_refuses_a_signature_under_somebody_elses_badge(tablet: Tablet) -> None:
    tablet.workshop.answer_stage(1)
    badge = tablet.workshop.cast.second_inspector.badge
    tablet.refused(tablet.record(recorded_by=badge), "signature_not_proven")


def test_refuses_a_key_that_another_pin_or_the_keeper_has_ended(tablet: Tablet) -> None:
    workshop = tablet.workshop
    workshop.answer_stage(1)
    record = tablet.record()
    services.set_pin(by=None, person=tablet.person, pin="905513", at=workshop.at)
    tablet.refused(record, "signature_not_proven")
    services.set_pin(by=None, person=tablet.person, pin="271845", at=workshop.at)
    tablet.person = Person.objects.get(pk=tablet.person.pk)
    tablet.on = put_on(tablet.row, tablet.person, workshop.at)
    services.revoke_tablet(by=workshop.cast.keeper, tablet=tablet.row, reason="lost", at=workshop.at)
    tablet.refused(record, "signature_not_proven")


def test_refuses_whoever_has_left_and_whoever_had_no_right_then(tablet: Tablet) -> None:
    workshop = tablet.workshop
    workshop.answer_stage(1)
    before = workshop.at - timedelta(hours=71)
    services.mark_left(by=workshop.cast.keeper, person=tablet.person, at=workshop.at)
    tablet.refused(tablet.record(recorded_at=before.isoformat()), "signature_not_proven")
    dispatcher = Person.objects.get(pk=workshop.cast.dispatch.pk)
    services.set_pin(by=None, person=dispatcher, pin="271845", at=workshop.at)
    tablet.person = Person.objects.get(pk=dispatcher.pk)
    tablet.on = put_on(tablet.row, tablet.person, workshop.at)
    tablet.refused(tablet.record(), "not_permitted")


@pytest.mark.parametrize(
    ("hours", "code"), [(-72.1, "signature_too_old"), (0.3, "signature_ahead")], ids=["after 72 h", "from the future"]
)
def test_refuses_what_arrives_too_late_or_too_early(tablet: Tablet, hours: float, code: str) -> None:
    tablet.workshop.answer_stage(1)
    signed_at = tablet.workshop.at + timedelta(hours=hours)
    tablet.refused(tablet.record(recorded_at=signed_at.isoformat()), code)


@pytest.mark.parametrize(
    "change", [{"covers": "no list"}, {"stage": "1"}, {"v": 2}, {"recorded_at": "2026-03-02"}, {"more": 1}, {"id": "x"}]
)
def test_refuses_what_is_no_signature(tablet: Tablet, change: dict[str, Any]) -> None:
    tablet.workshop.answer_stage(1)
    tablet.refused(tablet.record() | change, "signature_unreadable")
