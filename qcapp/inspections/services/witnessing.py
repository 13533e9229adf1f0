"""Witness points: the customer is asked to come, and who was present or the waiver is recorded before signing."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING

from django.db import transaction

from qcapp.audit import services as audit
from qcapp.audit.verbs import Verb
from qcapp.core.errors import Invalid, NotFound, Refused
from qcapp.lib.plain_text import plain_text
from qcapp.people.roles import Act
from qcapp.people.services import require
from qcapp.production.queries import unit_by_serial
from qcapp.production.services import lock_unit

from ..models import Witness
from ..queries import adopted
from ..queries.shapes import StageView

if TYPE_CHECKING:
    from qcapp.people.models import Person


def record_witness(
    *, by: Person, serial: str, stage_number: int, what: str, whom: str, at: datetime, note: str = ""
) -> None:
    """Write down that a witness was asked, was present, or that attendance was waived, with who and why.

    Raises NotFound `serial_unknown`, `stage_unknown`; Refused `no_witness_point`, `unit_not_in_build`; Invalid
    `witness_unreadable` or a code of `plain_text`, for a waiver without its reason too.
    """
    require(by, Act.RECORD_WITNESS, at)
    if what not in Witness.What.values:
        raise Invalid("witness_unreadable", "A witness was asked, was present, or attendance is waived.", field="what")
    whom = plain_text("The witness", whom, longest=120)
    note = plain_text("The reason", note, longest=300, needed=what == Witness.What.WAIVED)
    with transaction.atomic():
        unit = lock_unit(unit_by_serial(serial).id)
        stage = next((one for one in adopted(unit.item_id).stages if one.number == stage_number), None)
        if stage is None:
            raise NotFound("stage_unknown", f"The plan of {unit.serial} has no stage {stage_number}.")
        if not stage.witness_point:
            raise Refused("no_witness_point", f"Stage {stage_number} of {unit.serial} is no witness point.")
        if unit.state != "in_build":
            raise Refused("unit_not_in_build", f"{unit.serial} is {unit.state_label}; it is witnessed while in build.")
        row = Witness.objects.create(
            item_id=unit.item_id, stage_number=stage_number, what=what, whom=whom, note=note, by=by, at=at
        )
        payload = {"witness": str(row.uuid), "stage": stage_number, "what": what, "whom": whom, "note": note}
        audit.record(verb=Verb.UNIT_WITNESSED, actor=by.uuid, subject=f"unit {unit.serial}", at=at, payload=payload)


def refuse_unwitnessed(stage: StageView) -> None:
    """Raises Refused `witness_open` at a witness point where neither attendance nor its waiver is recorded."""
    if stage.card.witness_point and not (stage.witness and stage.witness.settled):
        message = (
            f"Stage {stage.card.number} is a witness point: record who was present, or the customer's waiver, before "
            "you sign it."
        )
        raise Refused("witness_open", message, stage=stage.card.number)
