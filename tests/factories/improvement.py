"""A corrective action on its way, each step done by somebody who may."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any

from qcapp.improvement.queries.actions import action
from qcapp.improvement.services import leading, opening
from qcapp.improvement.services.settings import set_improvement
from qcapp.people.services import demonstration_proof

from ..cast import FIXED_NOW, Cast
from .inspections import Workshop

LATER = FIXED_NOW + timedelta(hours=3)
WHYS = ["The head angle opens while it cools.", "The clamp gives way.", "Its bolt is worn out and nobody looks at it."]


def set_up(cast: Cast, **changes: Any) -> None:
    """A rate of 60 an hour; three similar reports within 30 days; five units before an effect is judged."""
    usual: dict[str, Any] = {"rate_per_hour": Decimal("60"), "currency": "EUR", "similar_count": 3, "similar_days": 30}
    usual |= {"units_wanted": 5} | changes
    set_improvement(by=cast.quality_manager, at=FIXED_NOW, **usual)


def frame(workshop: Workshop, number: int, value: str, at: datetime, key: str = "head_angle") -> Workshop:
    """Another frame with one reading, recorded at a time."""
    unit = workshop.another_unit(f"FR-200-{number:04}")
    unit.at = at
    unit.send(unit.operation(key, value), at=at)
    return unit


@dataclass
class Led:
    """One corrective action."""

    cast: Cast
    number: str

    @classmethod
    def opened(cls, workshop: Workshop, basis: str = "checkpoint", value: str = "", at: datetime = LATER) -> Led:
        """About the head angle, unless told otherwise."""
        value = value or str(workshop.card("head_angle").characteristic_id)
        told = {"title": "Head angle opens", "problem": "Three frames in a week.", "basis": basis, "value": value}
        number = opening.open_action(by=workshop.cast.quality_manager, family_code="FR-200", at=at, **told)
        return cls(workshop.cast, number)

    @property
    def view(self) -> Any:
        return action(self.number)

    @property
    def state(self) -> str:
        return str(self.view.card.state)

    def explain(self, at: datetime = LATER) -> Led:
        leading.explain(by=self.cast.engineer, number=self.number, whys=WHYS, cause="machine", at=at)
        return self

    def step(self, at: datetime = LATER, **changes: Any) -> int:
        told = {"text": "Renew the bolt, look at it weekly.", "owner_badge": self.cast.welder.badge} | changes
        due = told.pop("due_on", at.date() + timedelta(days=5))
        return leading.add_step(by=self.cast.quality_manager, number=self.number, due_on=due, at=at, **told)

    def move(self, step: int, name: str, by: Any, note: str = "Done so.", at: datetime = LATER) -> Led:
        leading.move_step(by=by, number=self.number, step_id=step, name=name, note=note, at=at)
        return self

    def agree(self, at: datetime = LATER) -> Led:
        leading.agree(by=self.cast.quality_manager, number=self.number, at=at)
        return self

    def acting(self, at: datetime = LATER) -> Led:
        self.explain(at)
        self.step(at)
        return self.agree(at)

    def done(self, at: datetime = LATER) -> Led:
        """Every step done by its owner and verified by the quality manager."""
        for one in self.view.steps:
            self.move(one.id, "do", self.cast.welder, at=at).move(one.id, "verify", self.cast.quality_manager, at=at)
        return self

    def watch(self, since: date | None = None, at: datetime = LATER, units: int | None = None) -> Led:
        told = {"effective_on": since or at.date(), "units_wanted": units}
        leading.watch(by=self.cast.quality_manager, number=self.number, at=at, **told)  # type: ignore[arg-type]
        return self

    def close(self, at: datetime = LATER) -> Led:
        proof = demonstration_proof(self.cast.quality_manager, at)
        leading.close(proof=proof, number=self.number, note="It holds.", at=at)
        return self

    def look_again(self, at: datetime = LATER) -> Led:
        leading.look_again(by=self.cast.engineer, number=self.number, note="The bolt was not it.", at=at)
        return self

    def drop(self, at: datetime = LATER) -> Led:
        leading.drop(by=self.cast.quality_manager, number=self.number, note="Another action covers it.", at=at)
        return self
