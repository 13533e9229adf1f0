"""The signed end of a report, in whichever way it ends well."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING

from qcapp.audit import services as audit
from qcapp.audit.verbs import Verb
from qcapp.core.sealing import canonical, digest
from qcapp.people.roles import Act
from qcapp.people.services import write_signature
from qcapp.production.services import lift_hold_of_source, move_unit

from ..models import Report
from ..states import GOES_NO_FURTHER, Disposition
from .steps import enter, serial_of, step

if TYPE_CHECKING:
    from qcapp.people.models import Person
    from qcapp.people.services import Proof


def close(report: Report, move: str, *, proof: Proof, corrective_action: str, at: datetime) -> None:
    """Sign the report closed and lift its hold under the same signature; a part that goes no further keeps its hold.

    The last statement of the caller's transaction. Raises TransitionNotAllowed.
    """
    decided = report.status.decided
    stays_held = decided is not None and decided.disposition in GOES_NO_FURTHER
    content = {"report": report.number, "move": move, "corrective_action": corrective_action}
    hold = "The part goes no further and stays on hold." if stays_held else "Its hold is lifted."
    signature = write_signature(
        proof=proof,
        act=Act.CLOSE_REPORT,
        meaning=f"I close {report.number} on {serial_of(report)}: what it asked for is proven. {hold}",
        subject=f"report {report.number}",
        covers=digest(canonical(content)),
        at=at,
    )
    step(report, move, by=proof.person, at=at, note=corrective_action, signature=signature)
    if not stays_held:
        reason = f"{report.number} is closed."
        lift_hold_of_source(signature=signature, item_id=report.item_id, source=report.number, reason=reason, at=at)
    enter(report, Verb.REPORT_CLOSED, by=proof.person, at=at, signature=str(signature.uuid), **content)
    if decided is not None and decided.disposition == Disposition.SCRAP:
        _enter_scrapped(report, proof.person, at)
    audit.anchor_on_commit(at=at)


def scrap(report: Report, *, by: Person, at: datetime) -> None:
    """Take the serial out for good; nothing happens when another report has done so. Raises TransitionNotAllowed."""
    unit = getattr(report.item, "unit", None)
    if unit is not None and unit.state != "scrapped":
        reason = f"{report.number}: {report.title}"[:300]
        move_unit(by=by, unit_id=unit.pk, move="scrap", reason=reason, at=at)


def _enter_scrapped(report: Report, by: Person, at: datetime) -> None:
    """The unit's own entry beside the report's, so that its acts are complete."""
    subject = f"unit {serial_of(report)}"
    audit.record(verb=Verb.UNIT_SCRAPPED, actor=by.uuid, subject=subject, at=at, payload={"report": report.number})
