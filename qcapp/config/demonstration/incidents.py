"""How a nonconformance of the demonstration is handled, as far as its story has come."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

from qcapp.inspections.queries import inspection_of
from qcapp.nonconformance.queries import report as read_report
from qcapp.nonconformance.services import by_hand, correcting, deciding, ending, leaving
from qcapp.people.roles import Role
from qcapp.people.services import demonstration_proof

from .stories import SCRAPPED, Incident

if TYPE_CHECKING:
    from qcapp.plans.queries import CheckpointCard

    from .player import UnitPlayer

STEPS = ("open", "contained", "proposed", "decided", "in_correction", "to_be_verified", "closed")


class Handling:
    """One report, step by step, until its story ends."""

    def __init__(self, unit: UnitPlayer, incident: Incident, card: CheckpointCard | None, number: str) -> None:
        self.unit = unit
        self.incident = incident
        self.card = card
        self.number = number
        self.cast = unit.cast

    def play(self) -> bool:
        """True when the report has ended, so that the unit may go on."""
        if self.incident.until == "withdrawn":
            self._withdraw()
            return True
        last = STEPS.index(self.incident.until)
        steps = (self._contain, self._propose, self._sign, self._start, self._finish, self._close)
        for step in steps[:last]:
            step()
        return self.incident.until == "closed"

    def _contain(self) -> None:
        at = self.unit.shift.after(25)
        deciding.contain(by=self.unit.inspector, number=self.number, note=self.incident.contained, at=at)

    def _propose(self) -> None:
        upper = Decimal(self.incident.concession_upper) if self.incident.concession_upper else None
        rework = self.incident.disposition in {"rework", "repair"}
        deciding.propose_disposition(
            by=self.cast.with_role(Role.QUALITY_MANAGER), number=self.number, disposition=self.incident.disposition,
            instruction=self.incident.instruction, procedure=self.incident.procedure,
            reinspect=list(self.incident.also) if rework else [], concession_upper=upper, cause="method",
            at=self.unit.shift.after(70),
        )  # fmt: skip

    def _sign(self) -> None:
        proposal = read_report(self.number).proposal
        for role in () if proposal is None else proposal.missing:
            at = self.unit.shift.after(45)
            person = self.cast.with_role(Role(role))
            deciding.sign_disposition(proof=demonstration_proof(person, at), number=self.number, role=role, at=at)

    def _start(self) -> None:
        if self.incident.disposition in {"rework", "repair"}:
            by = self.cast.with_role(Role.WELDER)
            correcting.start_correction(by=by, number=self.number, at=self.unit.shift.after(60))

    def _finish(self) -> None:
        if self.incident.disposition in {"rework", "repair"}:
            by = self.cast.with_role(Role.WELDER)
            for step in read_report(self.number).steps_open:
                at = self.unit.shift.after(20)
                correcting.confirm_step(by=by, number=self.number, position=step.position, at=at)
            note = f"Done by {self.incident.procedure}, one attempt."
            correcting.finish_correction(by=by, number=self.number, note=note, at=self.unit.shift.after(90))

    def _close(self) -> None:
        quality = self.cast.with_role(Role.QUALITY_MANAGER)
        if self.incident.disposition in {"rework", "repair"}:
            self.unit.shift.next_day()
            self._inspect_again()
            at = self.unit.shift.after(30)
            correcting.verify_and_close(
                proof=demonstration_proof(quality, at),
                number=self.number,
                corrective_action=self.incident.action,
                at=at,
            )
            return
        self._leave()
        at = self.unit.shift.after(30)
        ending.close_without_correction(
            proof=demonstration_proof(quality, at),
            number=self.number,
            corrective_action=self.incident.action,
            at=at,
        )

    def _leave(self) -> None:
        """What scrap and a return need before they close."""
        if self.incident.disposition == "scrap":
            for role in (Role.WELDER, Role.ASSEMBLER):
                at = self.unit.shift.after(15)
                proof = demonstration_proof(self.cast.with_role(role), at)
                how = "Stamped number ground off, part sawn through at the number."
                leaving.sign_destruction(proof=proof, number=self.number, how=how, at=at)
        if self.incident.disposition == "return_to_supplier":
            by, at = self.cast.with_role(Role.QUALITY_MANAGER), self.unit.shift.after(15)
            supplier, text = "Tidewell Tube Works (invented)", self.incident.action
            leaving.write_return_note(by=by, number=self.number, supplier=supplier, text=text, at=at)

    def _inspect_again(self) -> None:
        """The new round, by the third inspector, with the second inspection where the plan asks for it."""
        views = [one for one in inspection_of(self.unit.story.serial).checkpoints if one.reopened_by == self.number]
        cards = [one.card for one in views if one.card.kind != "derived"]
        answers = {self.incident.key: self.incident.repaired} if self.incident.repaired else {}
        turn = max(one.round for one in views)
        self.unit.record(self.unit.third, cards, inspection=1, answers=answers, round_number=turn)
        seconds = [card for card in cards if card.second_inspection]
        self.unit.record(self.unit.second, seconds, inspection=2, answers=answers, round_number=turn)

    def _withdraw(self) -> None:
        for role in (Role.QUALITY_MANAGER, Role.ENGINEER):
            at = self.unit.shift.after(40)
            person = self.cast.with_role(role)
            ending.sign_withdrawal(
                proof=demonstration_proof(person, at),
                number=self.number,
                reason=self.incident.instruction,
                at=at,
            )


def scrap_by_hand(unit: UnitPlayer) -> None:
    """A part that is torn at the machine: a report by hand, and the serial goes out for good."""
    number = by_hand.raise_by_hand(
        by=unit.inspector, serial=unit.story.serial, title="Bore torn at the last pass, wall too thin",
        description="Seen by eye, wall 1.1 mm where 2.0 is asked for.", severity="major", at=unit.shift.after(20),
    )  # fmt: skip
    Handling(unit, SCRAPPED, None, number).play()
