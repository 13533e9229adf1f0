"""One signed act that holds what a wrong gauge has measured, under one report instead of a flood of them."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from datetime import datetime

from django.db import transaction

from qcapp.audit.services import record
from qcapp.audit.verbs import Verb
from qcapp.core.errors import Refused
from qcapp.core.metrology.rejudging import Finding
from qcapp.core.sealing import canonical, digest
from qcapp.lib.plain_text import plain_text
from qcapp.nonconformance.services.by_hand import raise_grouped
from qcapp.people.roles import Act
from qcapp.people.services import Proof, require, write_signature
from qcapp.production.queries import state_label

from .models import Recall
from .queries import AffectedUnit, RecallView, chosen_units, recall_of

SCRAPPED = state_label("scrapped")


def hold_affected(
    *, proof: Proof, number: str, calibration_id: int, item_ids: Collection[int], reason: str, at: datetime
) -> Recall:
    """Put the chosen units on hold and raise one report over them; what was known is kept with it.

    Raises NotAllowed, NotFound and Invalid as `recall_of` and `chosen_units`, Refused `all_on_hold` when every chosen
    unit is held for this calibration already.
    """
    require(proof.person, Act.HOLD_AFFECTED, at)
    said = plain_text("The reason", reason, longest=300)
    with transaction.atomic():
        view = recall_of(number, calibration_id, at=at)
        chosen = _not_yet_held(view, chosen_units(view, item_ids))
        report = _raise(view, chosen, said, proof, at)
        return _sign(view, chosen, report, said, proof, at)


def _not_yet_held(view: RecallView, chosen: Sequence[AffectedUnit]) -> list[AffectedUnit]:
    held = {item for row in Recall.objects.filter(calibration=view.calibration.id) for item in row.held_items}
    found = [unit for unit in chosen if unit.item_id not in held and unit.state != SCRAPPED]
    if not found:
        message = "Each of these units is scrapped or on hold for this calibration already; choose others."
        raise Refused("all_on_hold", message)
    return found


def _raise(view: RecallView, chosen: Sequence[AffectedUnit], reason: str, proof: Proof, at: datetime) -> str:
    """One report over all of them, which puts each on hold, and the lots whose drawn pieces are among them."""
    found = view.calibration.done_on
    severity = "critical" if any(unit.worst == Finding.OUT_OF_BAND for unit in chosen) else "major"
    return raise_grouped(
        by=proof.person,
        serials=[unit.serial for unit in chosen],
        title=f"Measured with gauge {view.gauge.number}, found out of tolerance on {found.day} {found:%b %Y}",
        description=reason,
        severity=severity,
        source=f"gauge {view.gauge.number}",
        lots=sorted({unit.lot for unit in chosen if unit.lot}),
        at=at,
    )


def _sign(
    view: RecallView, chosen: Sequence[AffectedUnit], report: str, reason: str, proof: Proof, at: datetime
) -> Recall:
    known = canonical(_known(view, chosen))
    subject = f"gauge {view.gauge.number}"
    signature = write_signature(
        proof=proof,
        act=Act.HOLD_AFFECTED,
        meaning=f"{len(chosen)} units measured with {view.gauge.number} are on hold until they are decided.",
        subject=subject,
        covers=digest(known),
        at=at,
    )
    row = Recall.objects.create(
        gauge_id=view.gauge.id, calibration_id=view.calibration.id, report=report, reason=reason, known=known,
        signature=signature, at=at,
    )  # fmt: skip
    payload = {"report": report, "held": [unit.serial for unit in chosen], "known": digest(known), "reason": reason}
    record(verb=Verb.GAUGE_RECALLED, actor=proof.person.uuid, subject=subject, at=at, payload=payload)
    return row


def _known(view: RecallView, chosen: Sequence[AffectedUnit]) -> dict[str, object]:
    """What stood on the screen: every unit with its finding, and which of them were held."""
    return {
        "gauge": view.gauge.number,
        "calibration": view.calibration.done_on.isoformat(),
        "since": view.since.isoformat() if view.since else "",
        "uncertainty": format(view.uncertainty, "f"),
        "held": [unit.item_id for unit in chosen],
        "units": [_unit(unit) for unit in view.units],
    }


def _unit(unit: AffectedUnit) -> dict[str, object]:
    readings = [[one.number, one.value, one.corrected, one.finding.value] for one in unit.readings]
    return {
        "serial": unit.serial,
        "state": unit.state,
        "finding": unit.worst.value,
        "customer": unit.customer,
        "holder": unit.holder,
        "place": unit.place,
        "lot": unit.lot,
        "readings": readings,
    }
