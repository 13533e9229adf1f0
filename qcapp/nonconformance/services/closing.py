"""The signed end of a report, in whichever way it ends well."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import TYPE_CHECKING

from qcapp.audit import services as audit
from qcapp.audit.verbs import Verb
from qcapp.core.sealing import canonical, digest
from qcapp.people.roles import Act
from qcapp.people.services import write_signature
from qcapp.production.queries import units_of_items
from qcapp.production.services import lift_hold_of_source, move_unit

from ..models import Report
from ..queries.details import item_ids_of, serials_of
from ..states import GOES_NO_FURTHER, Disposition
from .steps import entry_of, named, remark, step

if TYPE_CHECKING:
    from qcapp.people.models import Person, Signature
    from qcapp.people.services import Proof


def close(
    report: Report,
    move: str,
    *,
    proof: Proof,
    corrective_action: str,
    at: datetime,
    action_number: str = "",
    components: Sequence[str] = (),
) -> None:
    """Sign the report closed and lift its hold under the same signature; a part that goes no further keeps its hold.

    `components` are the serials that were put on hold because what they are in is scrapped. The last statement of the
    caller's transaction. Raises TransitionNotAllowed.
    """
    decided = report.status.decided
    stays_held = decided is not None and decided.disposition in GOES_NO_FURTHER
    content = {"report": report.number, "move": move, "corrective_action": corrective_action}
    content |= {"corrective_action_number": action_number} if action_number else {}
    hold = "The part goes no further and stays on hold." if stays_held else "Its hold is lifted."
    signature = write_signature(
        proof=proof,
        act=Act.CLOSE_REPORT,
        meaning=f"I close {report.number} on {named(report)}: what it asked for is proven. {hold}",
        subject=f"report {report.number}",
        covers=digest(canonical(content)),
        at=at,
    )
    data = {"corrective_action_number": action_number} if action_number else None
    step(report, move, by=proof.person, at=at, note=corrective_action, data=data, signature=signature)
    if not stays_held:
        lift_holds(report, signature, f"{report.number} is closed.", at)
    if components:
        note = f"On hold for inspection: {', '.join(components)}"
        remark(report, "components_held", by=proof.person, at=at, note=note, data={"serials": list(components)})
    told = {"signature": str(signature.uuid), **content}
    entries = [entry_of(report, Verb.REPORT_CLOSED, by=proof.person, at=at, **told)]
    if components:
        held = {"serials": list(components)}
        entries.append(entry_of(report, Verb.COMPONENTS_HELD, by=proof.person, at=at, **held))
    if decided is not None and decided.disposition == Disposition.SCRAP:
        entries += _scrapped(report, proof.person, at)
    audit.record_all(entries)
    audit.anchor_on_commit(at=at)


def lift_holds(report: Report, signature: Signature, reason: str, at: datetime) -> None:
    """The report's hold on every unit it is about. Holds on suspect units are lifted one by one, by their own act."""
    for item_id in item_ids_of(report):
        lift_hold_of_source(signature=signature, item_id=item_id, source=report.number, reason=reason, at=at)


def scrap(report: Report, *, by: Person, at: datetime) -> None:
    """Take the serials out for good; nothing happens where another report has done so. Raises TransitionNotAllowed."""
    for unit in units_of_items(item_ids_of(report)).values():
        if unit.state != "scrapped":
            reason = f"{report.number}: {report.title}"[:300]
            move_unit(by=by, unit_id=unit.id, move="scrap", reason=reason, at=at)


def _scrapped(report: Report, by: Person, at: datetime) -> list[audit.Act]:
    """The units' own entries beside the report's, so that their acts are complete."""
    serials, told = serials_of(item_ids_of(report)), {"report": report.number}
    return [audit.Act(Verb.UNIT_SCRAPPED, by.uuid, f"unit {serial}", at, told) for serial in serials]
