"""Results keyed in from paper: by whom, from which sheet, and held against it by another person.

They go in through `record_operations` like any other result, as those of who measured, and count as proof only when
somebody else has held what was keyed against the sheet.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any
from uuid import UUID

from django.db import transaction

from qcapp.audit import services as audit
from qcapp.audit.verbs import Verb
from qcapp.core.errors import Conflict, Invalid, NotAllowed, NotFound, Problems, QcError, Refused
from qcapp.core.sealing import canonical, digest
from qcapp.evidence.services.keeping import keep_paper
from qcapp.lib.fields import uuid7
from qcapp.lib.plain_text import plain_text
from qcapp.people.queries import person_by_badge
from qcapp.people.roles import Act
from qcapp.people.services import require, write_signature
from qcapp.plans.queries import CheckpointCard
from qcapp.production.queries import unit_by_serial, unit_of_item
from qcapp.production.services import lock_unit

from ..models import PaperCheck, PaperSheet, Result, ResultDecision
from ..queries import Adopted, adopted, inspection_of_unit, rounds_of
from ..queries.paper import PaperCard, paper_card
from ..queries.shapes import InspectionView
from ..states import Flag
from . import record_operations
from .results_file import answer_of

if TYPE_CHECKING:
    from qcapp.people.models import Person
    from qcapp.people.services import Proof

DEVICE = "paper"


@dataclass(frozen=True)
class Keyed:
    """One answer as it stands on the sheet; several readings are separated by “|”. `gauge` is a number or empty.

    `temperature` is the part's in °C where the plan asks for it.
    """

    checkpoint: str
    value: str
    gauge: str = ""
    temperature: str = ""


def key_in(
    *, by: Person, serial: str, stage_number: int, measured_by: str, measured_at: datetime, answers: Sequence[Keyed],
    scan: bytes, scan_name: str, at: datetime, inspection: int = 1,
) -> PaperCard:  # fmt: skip
    """A stage's sheet, keyed in: all of its answers or none. `measured_by` is a badge, `scan` a PDF or a picture.

    Raises NotFound `serial_unknown`, `badge_unknown`, `stage_unknown`; Invalid `nothing_keyed`, `measured_later`; the
    codes of `keep_paper`; Problems `paper_not_taken` with a finding for each answer that cannot be taken.
    """
    require(by, Act.RECORD_RESULT, at)
    unit = unit_by_serial(serial)
    person = person_by_badge(measured_by)
    plan = adopted(unit.item_id)
    stage = next((one for one in plan.stages if one.number == stage_number), None)
    if stage is None:
        raise NotFound("stage_unknown", f"The plan of {unit.serial} has no stage {stage_number}.")
    _check_times(answers, measured_at, at)
    common = {"serial": unit.serial, "inspection": inspection, "recorded_by": person.badge}
    common |= {"recorded_at": measured_at.isoformat(), "revision": str(plan.revision.uuid)}
    bodies = _bodies(plan, stage_number, answers, common)
    with transaction.atomic():
        file = keep_paper(by=by, content=scan, name=scan_name, at=at)
        sheet = PaperSheet.objects.create(
            item_id=unit.item_id, stage_id=stage.id, inspection=inspection, scan_id=file.id, measured_by=person,
            measured_at=measured_at, keyed_by=by, keyed_at=at, operations=[body["id"] for body in bodies],
        )  # fmt: skip
        verdicts = record_operations(sent_by=by, device=DEVICE, operations=bodies, at=at, from_paper=True)
        _refuse_any(bodies, [(one.rejected, one.message) for one in verdicts])
        payload = {
            "sheet": str(sheet.uuid), "scan": file.digest, "stage": stage_number, "inspection": inspection,
            "measured_by": str(person.uuid), "measured_at": measured_at.isoformat(), "operations": sheet.operations,
        }  # fmt: skip
        audit.record(verb=Verb.PAPER_KEYED, actor=by.uuid, subject=f"unit {unit.serial}", at=at, payload=payload)
    return paper_card(sheet.uuid)


def _check_times(answers: Sequence[Keyed], measured_at: datetime, at: datetime) -> None:
    if not answers:
        raise Invalid("nothing_keyed", "Nothing was keyed; take over at least one answer of the sheet.")
    if measured_at > at:
        raise Invalid("measured_later", "The sheet was measured before now; correct its day and time.")


def _bodies(plan: Adopted, stage_number: int, answers: Sequence[Keyed], common: dict[str, Any]) -> list[dict[str, Any]]:
    """The operations, or Problems with everything that cannot become one."""
    cards = {card.key: card for card in plan.checkpoints if card.stage_number == stage_number}
    rounds = rounds_of(unit_by_serial(common["serial"]).item_id)
    bodies, findings = [], []
    for one in answers:
        card = cards.get(one.checkpoint)
        try:
            if card is None:
                raise NotFound("checkpoint_unknown", f"Stage {stage_number} has no checkpoint “{one.checkpoint[:60]}”.")
            bodies.append(common | _body(card, one, rounds.get(card.id, (1, ""))[0]))
        except QcError as error:
            findings.append(_finding(one.checkpoint, error.message))
    if findings:
        raise _not_taken(findings)
    return bodies


def _body(card: CheckpointCard, one: Keyed, turn: int) -> dict[str, Any]:
    return {
        "id": str(uuid7()), "v": 1, "kind": "result", "checkpoint": card.key, "round": turn, "purpose": "reading",
        "answer": answer_of(one.value, card, one.temperature), "raw": one.value.strip()[:200],
        "gauge": one.gauge.strip() or None, "base": None, "reason": "",
    }  # fmt: skip


def _refuse_any(bodies: Sequence[dict[str, Any]], verdicts: Sequence[tuple[bool, str]]) -> None:
    findings = [
        _finding(body["checkpoint"], message)
        for body, (rejected, message) in zip(bodies, verdicts, strict=True)
        if rejected
    ]
    if findings:
        raise _not_taken(findings)


def _finding(checkpoint: str, message: str) -> dict[str, object]:
    return {"checkpoint": checkpoint, "message": message}


def _not_taken(findings: list[dict[str, object]]) -> Problems:
    count = len(findings)
    message = f"{count} answer{'' if count == 1 else 's'} cannot be taken; nothing was recorded."
    return Problems("paper_not_taken", message, findings)


# -------------------------------------------------------------------------------------------------- checking


def check_keying(
    *, proof: Proof, sheet_uuid: UUID, at: datetime, differing: Sequence[UUID] = (), reason: str = ""
) -> PaperCard:
    """What was keyed, held against the sheet by another person and signed; `differing` are not what the sheet says.

    An answer that differs is not accepted and waits for its correction. Raises NotFound `paper_unknown`; Conflict
    `keying_checked_already`; NotAllowed `keyed_it_yourself`; Refused `second_comes_first`; Invalid
    `operation_unknown`, `text_missing`.
    """
    person = proof.person
    require(person, Act.CHECK_KEYING, at)
    reason = plain_text("What differs", reason, longest=300, needed=bool(differing))
    wrong = {str(one) for one in differing}
    with transaction.atomic():
        sheet = PaperSheet.objects.select_related("stage").filter(uuid=sheet_uuid).first()
        if sheet is None:
            raise NotFound("paper_unknown", "There is no such sheet; choose it from the unit's page.")
        unit = lock_unit(unit_of_item(sheet.item_id).id)
        _check_checkable(sheet, person, wrong, at)
        payload = {
            "sheet": str(sheet.uuid),
            "operations": sheet.operations,
            "differing": sorted(wrong),
            "reason": reason,
        }
        said = f"{len(wrong)} differ" if wrong else "all as written"
        meaning = f"I held what was keyed of stage {sheet.stage.number} of {unit.serial} against its sheet: {said}."
        signature = write_signature(
            proof=proof, act=Act.CHECK_KEYING, meaning=meaning, subject=f"unit {unit.serial}",
            covers=digest(canonical(payload)), at=at,
        )  # fmt: skip
        PaperCheck.objects.create(sheet=sheet, signature=signature, differing=sorted(wrong), reason=reason, at=at)
        ResultDecision.objects.bulk_create(
            ResultDecision(
                result=result, accepted=str(result.operation) not in wrong, about=Flag.KEYED_FROM_PAPER,
                reason=reason if str(result.operation) in wrong else "As the sheet says.", signature=signature, at=at,
            )
            for result in Result.objects.filter(operation__in=sheet.operations).order_by("id")
        )  # fmt: skip
        audit.record(verb=Verb.PAPER_CHECKED, actor=person.uuid, subject=f"unit {unit.serial}", at=at, payload=payload)
    return paper_card(sheet_uuid)


def _check_checkable(sheet: PaperSheet, person: Person, wrong: set[str], at: datetime) -> None:
    if PaperCheck.objects.filter(sheet=sheet).exists():
        raise Conflict("keying_checked_already", "This sheet was checked before; a check stands.")
    if sheet.keyed_by_id == person.pk:
        raise NotAllowed("keyed_it_yourself", "You keyed this sheet; somebody else holds it against the paper.")
    if wrong - set(sheet.operations):
        raise Invalid("operation_unknown", "One of the answers named is not of this sheet.", field="differing")
    view = inspection_of_unit(unit_of_item(sheet.item_id), viewer=person, at=at)
    if numbers := hidden_in(view, sheet.operations):
        message = f"The second inspection of {', '.join(map(str, numbers[:8]))} comes first: you could still give it."
        raise Refused("second_comes_first", message)


def hidden_in(view: InspectionView, operations: Collection[str]) -> list[int]:
    """Numbers of the checkpoints whose keyed answer the view's person must not see yet."""
    keyed = set(Result.objects.filter(operation__in=operations).values_list("checkpoint_id", flat=True))
    return [one.card.number for one in view.checkpoints if one.hidden and one.card.id in keyed]
