"""A nonconformance report brought to any state, through the services and by the people whose part it is."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from qcapp.inspections.queries import counting_answer
from qcapp.nonconformance.cards import ReportView
from qcapp.nonconformance.models import Report, ReportStatus
from qcapp.nonconformance.queries import proposal_of, report
from qcapp.nonconformance.services import by_hand, correcting, deciding, ending, leaving
from qcapp.people.services import demonstration_proof

from ..cast import FIXED_NOW, Cast
from .inspections import Workshop

if TYPE_CHECKING:
    from qcapp.people.models import Person
    from qcapp.people.services import Proof

LATER = FIXED_NOW + timedelta(hours=2)
ACTION = "Clamp of the fixture renewed; the next ten frames are watched."


@dataclass
class Case:
    """One report on the workshop's unit. Every step is done by somebody who may, unless told otherwise."""

    workshop: Workshop
    number: str

    @classmethod
    def out_of_band(cls, workshop: Workshop, key: str = "head_angle", value: Any = "62.40", **changes: Any) -> Case:
        """The report that a value out of band has raised by itself."""
        (answer,) = workshop.send(workshop.operation(key, value, **changes))
        assert answer.report, answer.message
        return cls(workshop, answer.report)

    @classmethod
    def by_hand(cls, workshop: Workshop, severity: str = "major", **changes: Any) -> Case:
        """A report that the assembler raises about something no checkpoint asks."""
        told = {"title": "Dent in the down tube, 3 mm deep", "description": "Left side, above the bracket."} | changes
        by = told.pop("by", workshop.cast.assembler)
        number = by_hand.raise_by_hand(by=by, serial=workshop.serial, severity=severity, at=workshop.at, **told)
        return cls(workshop, number)

    @property
    def cast(self) -> Cast:
        return self.workshop.cast

    @property
    def view(self) -> ReportView:
        """The report as somebody sees it who cannot record."""
        return report(self.number, viewer=self.cast.customer_service, at=LATER)

    @property
    def state(self) -> str:
        return str(ReportStatus.objects.values_list("state", flat=True).get(report__number=self.number))

    def proof(self, person: Person) -> Proof:
        return demonstration_proof(person, LATER)

    def contain(self, by: Person | None = None) -> Case:
        note = "Frame set aside with a tag."
        deciding.contain(by=by or self.cast.quality_manager, number=self.number, note=note, at=LATER)
        return self

    def propose(self, disposition: str = "rework", by: Person | None = None, **changes: Any) -> Case:
        """A proposal; a concession gets the limit that 62.40 ° of `head_angle` needs."""
        angle = Report.objects.filter(number=self.number, checkpoint__characteristic__number=101).exists()
        concession = disposition in {"use_as_is", "repair"} and angle
        told = {"instruction": "Straighten in the restraint.", "procedure": "CS-3", "cause": "method"}
        told |= {"concession_upper": Decimal("62.50")} if concession else {}
        told |= {"number": self.number, "disposition": disposition} | changes
        told = {"at": LATER} | told
        deciding.propose_disposition(by=by or self.cast.quality_manager, **told)
        return self

    def sign(self, *roles: str) -> Case:
        """The signatures of these roles, of every missing one when none is named."""
        for role in roles or self.missing:
            self.sign_as(getattr(self.cast, role), role)
        return self

    @property
    def missing(self) -> tuple[str, ...]:
        """The roles whose signatures the proposal still needs."""
        proposal = proposal_of(Report.objects.get(number=self.number).pk)
        return proposal.missing if proposal else ()

    def sign_as(self, person: Person, role: str, **more: Any) -> None:
        deciding.sign_disposition(proof=self.proof(person), number=self.number, role=role, at=LATER, **more)

    def decide(self, disposition: str = "rework", **changes: Any) -> Case:
        return self.contain().propose(disposition, **changes).sign()

    def start(self, by: Person | None = None) -> Case:
        correcting.start_correction(by=by or self.cast.welder, number=self.number, at=LATER)
        return self

    def finish(self, by: Person | None = None) -> Case:
        note = "Straightened once, 0.4 mm over."
        self.confirm_steps(by)
        correcting.finish_correction(by=by or self.cast.welder, number=self.number, note=note, at=LATER)
        return self

    def confirm_steps(self, by: Person | None = None) -> Case:
        """Every step that is still open, confirmed by the welder unless told otherwise."""
        for step in self.view.steps_open if self.state == "in_correction" else ():
            told = {"number": self.number, "position": step.position, "at": LATER}
            correcting.confirm_step(by=by or self.cast.welder, **told)
        return self

    def fail(self, by: Person | None = None) -> Case:
        by = by or self.cast.quality_manager
        correcting.fail_verification(by=by, number=self.number, note="Twisted back overnight.", at=LATER)
        return self

    def inspect_again(self, value: str = "62.05", key: str = "head_angle", **changes: Any) -> Case:
        """An answer in the round that the correction opened."""
        told = {"round": 2, "person": self.cast.second_inspector} | changes
        (answer,) = self.workshop.send(self.workshop.operation(key, value, **told), by=told["person"])
        assert answer.applied, answer.message
        return self

    def close(self, by: Person | None = None) -> Case:
        told = {"proof": self.proof(by or self.cast.quality_manager), "corrective_action": ACTION, "at": LATER}
        correcting.verify_and_close(number=self.number, **told)
        return self

    def destroy(self, *people: Person) -> Case:
        """The number destroyed by the assembler and seen by the welder, unless told otherwise."""
        for person in people or (self.cast.assembler, self.cast.welder):
            told = {"proof": self.proof(person), "how": "Stamped number ground off and tube sawn through."}
            leaving.sign_destruction(number=self.number, at=LATER, **told)
        return self

    def write_return_note(self, by: Person | None = None, **changes: Any) -> Case:
        told = {"supplier": "Tidewell Tube Works", "text": "Wall 1.1 mm where 2.0 is ordered. Credit or replacement."}
        told |= {"by": by or self.cast.quality_manager, "number": self.number, "at": LATER} | changes
        leaving.write_return_note(**told)
        return self

    def close_without_correction(self, by: Person | None = None) -> Case:
        told = {"proof": self.proof(by or self.cast.quality_manager), "corrective_action": ACTION, "at": LATER}
        ending.close_without_correction(number=self.number, **told)
        return self

    def withdraw(self, *people: Person) -> Case:
        """Signed by these people in turn, by a quality manager and the engineer when none is named."""
        for person in people or (self.cast.quality_manager, self.cast.engineer):
            reason = "Digits exchanged when typing."
            ending.sign_withdrawal(proof=self.proof(person), number=self.number, reason=reason, at=LATER)
        return self

    def correct_the_entry(self, value: str = "62.04", key: str = "head_angle") -> Case:
        """The mistyped value put right by who typed it."""
        base = counting_answer(self.workshop.item_id, key).base
        changes = {"purpose": "correction", "base": str(base), "reason": "Digits exchanged."}
        (answer,) = self.workshop.send(self.workshop.operation(key, value, **changes))
        assert answer.applied, answer.message
        return self
