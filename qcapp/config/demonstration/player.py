"""Plays the demonstration through the services, so that its results, signatures, history and audit are real records."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from typing import TYPE_CHECKING, Any

import uuid_utils.compat as uuids

from qcapp.certificates.services.issuing import issue_certificate
from qcapp.certificates.services.releasing import release
from qcapp.gauges.queries import all_gauges
from qcapp.inspections import services as inspections
from qcapp.inspections.queries import inspection_of
from qcapp.inspections.services.beside import Spot, keep_photo
from qcapp.inspections.services.witnessing import record_witness
from qcapp.nonconformance.queries import open_reports
from qcapp.people.roles import Role
from qcapp.people.services import demonstration_proof
from qcapp.plans import services as plans
from qcapp.plans.queries import checkpoints_of, released_revision
from qcapp.production import services as production

from .calendar import Shift, workday
from .cast import FIXTURES, Cast
from .drawings import balloon_frame, mark_joints
from .drawn_photos import stand_in
from .goods import fit_components, use_tubes
from .improving import MUDGUARD
from .incidents import Handling, scrap_by_hand
from .papers import accept_article, mark_article
from .readings import Bench
from .stories import FAMILIES, FRAMES, Incident, Story
from .welding import weld_joints

if TYPE_CHECKING:
    from qcapp.gauges.queries import GaugeCard
    from qcapp.people.models import Person
    from qcapp.plans.queries import CheckpointCard

SEED = 20
DEVICE = "tablet-bench-2"
FIRST = {story.family: story.number for story in reversed(FRAMES)}


def make_plans(cast: Cast, at: datetime) -> None:
    """The families with their plans, imported by one quality person and released by the other."""
    author, releaser = cast.with_role(Role.QUALITY_MANAGER, 1), cast.with_role(Role.QUALITY_MANAGER)
    engineer = cast.with_role(Role.ENGINEER)
    for code, name, pattern, prefix, letter in (*FAMILIES, MUDGUARD):
        production.add_family(by=author, code=code, name=name, serial_pattern=pattern, certificate_prefix=prefix, at=at)
        data = (FIXTURES / "plans" / f"{code}.csv").read_bytes()
        card = plans.import_plan(
            by=author, family_code=code, letter=letter, text_or_bytes=data, filename=f"{code}.csv", at=at,
            change_note="Taken over from the drawings.",
        )  # fmt: skip
        if code == "FR-200":
            balloon_frame(author, card, at)
        plans.send_for_review(by=author, revision_uuid=card.uuid, at=at)
        if any(one.criticality == "critical" for one in checkpoints_of(card.id)):
            plans.approve(proof=demonstration_proof(engineer, at), revision_uuid=card.uuid, at=at)
        plans.release(proof=demonstration_proof(releaser, at), revision_uuid=card.uuid, at=at)
        if code == "FR-200":
            mark_joints(engineer, card, at)


def _reads(gauge: GaugeCard, card: CheckpointCard) -> bool:
    """Whether the gauge reads as far as the checkpoint's limits, as anybody sees who takes it off the shelf."""
    band = getattr(card.spec, "band", None)
    if band is None or gauge.unit_of_measure != card.unit_of_measure:
        return True
    lowest, highest = band.lower if "lower" not in band.natural else None, band.upper
    below = lowest is not None and gauge.range_lower is not None and lowest < gauge.range_lower
    above = highest is not None and gauge.range_upper is not None and highest > gauge.range_upper
    return not below and not above


class UnitPlayer:
    """Plays one unit's story."""

    def __init__(self, story: Story, cast: Cast, today: datetime, now: datetime) -> None:
        self.story = story
        self.cast = cast
        self.shift = Shift(workday(today, story.days_ago), now)
        self.bench = Bench(story.serial, story.number, FIRST.get(story.family, story.number), SEED)
        self.revision = released_revision(story.family)
        self.cards = checkpoints_of(self.revision.id)
        self.gauges = all_gauges(now)
        turn = story.number
        self.inspector = cast.with_role(Role.INSPECTOR, turn % 3)
        self.second = cast.with_role(Role.INSPECTOR, (turn + 1) % 3)
        self.third = cast.with_role(Role.INSPECTOR, (turn + 2) % 3)

    def play(self) -> None:
        """Open the unit, inspect and sign its stages, handle what went wrong, release it."""
        opened_by = self.inspector
        inspections.open_unit(
            by=opened_by, family_code=self.story.family, serial=self.story.serial, order_number=self.story.order,
            variant="", at=self.shift.at,
        )  # fmt: skip
        use_tubes(self)
        mark_article(self)
        numbers = [stage.number for stage in self.revision.stages]
        for number in numbers[: self.story.stages]:
            if not self._stage(number):
                return
        if self.story.scrapped:
            scrap_by_hand(self)
        elif self.story.partial and self.story.stages < len(numbers):
            self._partial(numbers[self.story.stages])
        elif self.story.released and self.story.stages >= len(numbers):
            self._release()

    def _stage(self, number: int) -> bool:
        """Record and sign one stage; False when a report that has not ended stands against going on."""
        if number == 3:
            self._weld()
        if number == 7:
            fit_components(self, "trial_fitted")
        due = self._due(number)
        reports = self.record(self.inspector, due, inspection=1)
        self._correct_mistyped()
        self.record(self.second, [card for card in due if card.second_inspection], inspection=2)
        ended = all(self._handle(card, report) for card, report in reports) and self._withdraw_what_followed()
        if not ended:
            return False
        self._witness(number)
        self.shift.after(6)
        inspections.sign_stage(
            proof=demonstration_proof(self.inspector, self.shift.at), serial=self.story.serial, stage_number=number,
            at=self.shift.at,
        )  # fmt: skip
        self.shift.next_day()
        return True

    def _witness(self, number: int) -> None:
        """At a witness point: the customer came, or wrote that the record is enough."""
        if not any(stage.number == number and stage.witness_point for stage in self.revision.stages):
            return
        told = {"what": "present", "whom": "The customer's inspector", "note": ""}
        if int(self.story.serial[-1]) % 3:
            told = {"what": "waived", "whom": "The customer", "note": "By letter: the record is enough."}
        record_witness(by=self.inspector, serial=self.story.serial, stage_number=number, at=self.shift.at, **told)

    def _partial(self, number: int) -> None:
        due = self._due(number)
        some = due[: max(1, round(len(due) * self.story.partial))]
        reports = self.record(self.inspector, some, inspection=1)
        # Until the second inspection is given, what was found stays hidden from everybody who could give it.
        self.record(self.second, [card for card, _ in reports if card.second_inspection], inspection=2)
        for card, report in reports:
            self._handle(card, report)

    def _weld(self) -> None:
        joints = sorted({card.joint for card in self.cards if card.joint}, key=lambda joint: int(joint[1:]))
        half = len(joints) // 2
        for index, some in enumerate((joints[:half], joints[half:])):
            if some:
                weld_joints(self.cast, index, self.story.serial, some, self.shift.after(40))

    def _due(self, number: int) -> list[CheckpointCard]:
        view = inspection_of(self.story.serial)
        stage = view.stage(number)
        if stage is None:
            return []
        return [one.card for one in stage.checkpoints if one.state != "not_due" and one.card.kind != "derived"]

    def record(
        self, person: Person, cards: list[CheckpointCard], *, inspection: int, answers: dict[str, Any] | None = None,
        round_number: int = 1,
    ) -> list[tuple[CheckpointCard, str]]:  # fmt: skip
        """Send a person's answers; gives the reports that were raised, by checkpoint."""
        if not cards:
            return []
        operations = [self._operation(card, person, inspection, answers or {}, round_number) for card in cards]
        said = inspections.record_operations(
            sent_by=person, device=DEVICE, sent_at=self.shift.at, operations=operations, at=self.shift.at
        )
        raised = []
        for card, verdict in zip(cards, said, strict=True):
            if verdict.outcome != "applied":
                raise RuntimeError(f"{self.story.serial} {card.key}: {verdict.code} {verdict.message}")
            if verdict.report:
                raised.append((card, verdict.report))
            if card.photo and inspection == 1:
                self._photograph(card)
        return raised

    def _photograph(self, card: CheckpointCard) -> None:
        """The photo that the plan asks for at a checkpoint."""
        spot = Spot(uuids.uuid7(), self.story.serial, card.key, DEVICE, self.shift.at)
        text = [card.title, self.story.serial]
        keep_photo(by=self.inspector, spot=spot, content=stand_in(text), name=f"{card.key}.jpg", at=self.shift.at)

    def _operation(
        self,
        card: CheckpointCard,
        person: Person,
        inspection: int,
        answers: dict[str, Any],
        round_number: int,
    ) -> dict[str, Any]:
        gauge = self._gauge(card)
        uncertainty = (
            gauge.expanded_uncertainty
            if gauge and gauge.unit_of_measure == card.spec_json.get("unit_of_measure")
            else None
        )
        at = self.shift.after(0.4 + self.bench.random.random() * 1.2)
        answer = answers.get(card.key) or self._planned(card, inspection, round_number)
        answer = answer or self.bench.answer(card, at.date(), uncertainty)
        return {
            "id": str(uuids.uuid7()), "v": 1, "kind": "result", "serial": self.story.serial,
            "revision": str(self.revision.uuid), "checkpoint": card.key, "round": round_number,
            "inspection": inspection,
            "purpose": "reading", "answer": answer, "raw": "", "gauge": gauge.number if gauge else None,
            "recorded_at": at.isoformat(), "recorded_by": person.badge, "base": None, "reason": "",
        }  # fmt: skip

    def _planned(self, card: CheckpointCard, inspection: int, round_number: int) -> dict[str, Any] | None:
        """What the story says this checkpoint was answered with: the second inspector finds the same."""
        incident = self._incident(card)
        if incident is None or round_number > 1:
            return None
        if inspection == 2 and incident.corrected:
            return None
        return incident.answer

    def _incident(self, card: CheckpointCard) -> Incident | None:
        return next((one for one in self.story.incidents if one.key == card.key), None)

    def _gauge(self, card: CheckpointCard) -> GaugeCard | None:
        fitting = [one for one in self.gauges if one.kind_key in card.gauge_kinds and one.usable]
        fitting = [one for one in fitting if _reads(one, card)] or fitting
        return fitting[self.story.number % len(fitting)] if fitting else None

    def _correct_mistyped(self) -> None:
        for incident in self.story.incidents:
            if incident.corrected is None:
                continue
            view = next(one for one in inspection_of(self.story.serial).checkpoints if one.card.key == incident.key)
            if view.counts is None or view.counts.passes:
                continue
            operation = self._operation(view.card, self.inspector, 1, {incident.key: incident.corrected}, 1)
            operation |= {"purpose": "correction", "base": str(view.base), "reason": incident.instruction}
            inspections.record_operations(
                sent_by=self.inspector,
                device=DEVICE,
                sent_at=self.shift.at,
                operations=[operation],
                at=self.shift.at,
            )

    def _withdraw_what_followed(self) -> bool:
        """A mistyped value also put what is computed from it out of band: those reports end with it."""
        mistyped = [one for one in self.story.incidents if one.until == "withdrawn"]
        for report in open_reports(inspection_of(self.story.serial).unit.item_id) if mistyped else []:
            Handling(self, mistyped[0], None, report.number).play()
        return True

    def _handle(self, card: CheckpointCard, report: str) -> bool:
        incident = self._incident(card)
        if incident is None:
            raise RuntimeError(f"{self.story.serial} {card.key} is out of band without a story: {report}")
        return Handling(self, incident, card, report).play()

    def _release(self) -> None:
        fit_components(self, "delivered_with")
        accept_article(self)
        releaser = self.cast.with_role(Role.QUALITY_MANAGER)
        at = self.shift.after(30)
        release(proof=demonstration_proof(releaser, at), serial=self.story.serial, at=at)
        for issue in range(1, self.story.issues + 1):
            at = self.shift.after(10)
            note = (
                "" if issue == 1 else "Order number on the cover corrected in the customer's copy; contents unchanged."
            )
            issue_certificate(by=releaser, serial=self.story.serial, at=at, change_note=note)


def play_units(
    stories: tuple[Story, ...], cast: Cast, today: datetime, now: datetime, tick: Callable[[], None]
) -> None:
    """Every story in order; `tick` is called after each."""
    for story in stories:
        UnitPlayer(story, cast, today, now).play()
        tick()
