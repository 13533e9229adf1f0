"""A checkpoint that does not apply to one unit: decided by quality or engineer, with a reason, signed, printed."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING

from django.db import transaction

from qcapp.audit import services as audit
from qcapp.audit.verbs import Verb
from qcapp.core.errors import Conflict, Refused
from qcapp.core.sealing import canonical, digest
from qcapp.lib.plain_text import plain_text
from qcapp.people.roles import Act
from qcapp.people.services import require, write_signature
from qcapp.production.queries import UnitCard, unit_by_serial
from qcapp.production.services import lock_unit

from ..models import Applicability
from ..queries import CheckpointView, counting_answer

if TYPE_CHECKING:
    from qcapp.people.services import Proof


def decide_applicability(*, proof: Proof, serial: str, key: str, applies: bool, reason: str, at: datetime) -> None:
    """From now on the checkpoint applies to the unit, or it does not. The latest decision counts.

    What was found stands: nothing out of band, and nothing that a report opened, goes away so. Raises NotFound
    `serial_unknown`, `checkpoint_unknown`; Invalid of `plain_text`; Conflict `already_so`; Refused
    `unit_not_in_build`, `answer_out_of_band`, `opened_by_report`.
    """
    person = proof.person
    require(person, Act.DECIDE_APPLICABILITY, at)
    reason = plain_text("The reason", reason, longest=300)
    with transaction.atomic():
        unit = lock_unit(unit_by_serial(serial).id)
        view = counting_answer(unit.item_id, key)
        _check(unit, view, applies)
        words = "applies" if applies else "does not apply"
        payload = {"checkpoint": view.card.number, "applies": applies, "reason": reason}
        signature = write_signature(
            proof=proof,
            act=Act.DECIDE_APPLICABILITY,
            meaning=f"{view.card.number} {view.card.title} {words} to {unit.serial}: {reason}"[:300],
            subject=f"unit {unit.serial}",
            covers=digest(canonical(payload)),
            at=at,
        )
        Applicability.objects.create(
            item_id=unit.item_id, characteristic_id=view.card.characteristic_id, applies=applies, reason=reason,
            signature=signature, at=at,
        )  # fmt: skip
        audit.record(
            verb=Verb.UNIT_CHECKPOINT_APPLICABILITY,
            actor=person.uuid,
            subject=f"unit {unit.serial}",
            at=at,
            payload=payload,
        )


def _check(unit: UnitCard, view: CheckpointView, applies: bool) -> None:
    card = view.card
    if unit.state != "in_build":
        raise Refused(
            "unit_not_in_build", f"{unit.serial} is {unit.state_label}; this is decided while it is in build."
        )
    if applies is (view.excluded is None):
        words = "applies" if applies else "does not apply"
        raise Conflict("already_so", f"{card.number} {words} to {unit.serial} already.")
    if applies:
        return
    failing = [one for one in (*view.given, *view.conflicting, *view.earlier[-1:]) if not one.passes]
    if failing and not (view.counts and view.counts.passes):
        message = f"{card.number} was found out of band on {unit.serial}; that takes a disposition."
        raise Refused("answer_out_of_band", message)
    if view.reopened_by and view.owes:
        message = f"{view.reopened_by} asks for {card.number} to be inspected again; do that, or withdraw the report."
        raise Refused("opened_by_report", message)
