"""The only writers of inspections. `record_operations` is the only way in for results.

Around it: `operations` reads a body, `circumstances` loads what it is held against, `rules` refuse and flag, `drafts`
judge and store, `computing` follows with derived checkpoints, `recording` does them in order.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from datetime import datetime
from itertools import groupby
from typing import TYPE_CHECKING, Any, BinaryIO
from uuid import UUID

from django.db import transaction

from qcapp.audit import services as audit
from qcapp.audit.verbs import Verb
from qcapp.core.errors import Conflict, Invalid, NotAllowed, NotFound, Refused
from qcapp.core.sealing import canonical, digest
from qcapp.lib.fields import uuid7
from qcapp.lib.plain_text import plain_text
from qcapp.lib.site_days import site_day
from qcapp.people.queries import may
from qcapp.people.roles import Act
from qcapp.people.services import require, write_signature
from qcapp.plans.queries import released_revision
from qcapp.plans.queries.effective import effective_revision
from qcapp.production.queries import UnitCard, unit_by_id, unit_by_serial, unit_of_item
from qcapp.production.queries.authorising import lacking, method_of
from qcapp.production.services import create_unit, lock_unit

from ..models import Adoption, Reinspection, Result, ResultDecision, StageSignOff
from ..queries import InspectionView, adopted, inspection_of_unit, standing_of
from ..queries.beside import without_photo
from ..queries.first_articles import waits_for
from ..queries.loading import rounds_of
from ..queries.shapes import StageStanding, StageView
from ..queries.standing import inputs_of, stage_operations
from ..states import DECIDABLE, NEAR_LIMIT, CheckpointState, Flag, StageState
from . import recording
from .adopting import carry_accepted
from .operations import MAX_OPERATIONS
from .recording import Sender, Verdictlet
from .tablet_signing import TabletSignOff, check_covers_what_stands, is_sign_off, signed_on_tablet, told
from .witnessing import refuse_unwitnessed

if TYPE_CHECKING:
    from qcapp.people.models import Person
    from qcapp.people.services import Proof

MEANING = "I recorded stage {number} “{name}” of {serial} truly and completely."


# ------------------------------------------------------------------------------------------------- opening


def open_unit(
    *, by: Person, family_code: str, serial: str, at: datetime, order_number: str = "", variant: str = ""
) -> UnitCard:
    """A new unit, inspected to the family's released plan from now on.

    Raises NotFound `family_unknown`, `no_released_plan`; Invalid `serial_does_not_fit`; Conflict `serial_taken`.
    """
    require(by, Act.OPEN_UNIT, at)
    with transaction.atomic():
        released_revision(family_code)  # refuses first where there is none
        unit = create_unit(
            by=by, family_code=family_code, serial=serial, order_number=order_number, variant=variant, at=at
        )
        revision = effective_revision(family_code, unit.number, at)
        Adoption.objects.create(item_id=unit.item_id, revision_id=revision.id, by=by, at=at)
        payload = {
            "family": unit.family_code,
            "plan": revision.letter,
            "revision": str(revision.uuid),
            "order_number": unit.order_number,
            "variant": unit.variant,
        }
        audit.record(verb=Verb.UNIT_OPENED, actor=by.uuid, subject=f"unit {unit.serial}", at=at, payload=payload)
    return unit


# ------------------------------------------------------------------------------------------------ recording


def record_operations(
    *,
    sent_by: Person,
    device: str,
    operations: Sequence[object],
    at: datetime,
    sent_at: datetime | None = None,
    from_file: bool = False,
    from_paper: bool = False,
    proven: frozenset[str] = frozenset(),
) -> list[Verdictlet]:
    """What became of each operation, in the order sent: applied, duplicate or rejected with code and sentence.

    `proven` are those operations that their owner's key on a tablet signed: they count as sent by the owner.

    One bad operation never stops the others. `from_file` is for files of several people's results: it needs the
    right to import, and the sender answers for who measured. `from_paper` is for what `keying` takes from a sheet of
    paper: it counts when somebody else has held it against the sheet. Raises NotAllowed `not_permitted`; Invalid
    `operations_unreadable`, `too_many_operations`, `time_without_zone`, and of `plain_text` for the device.
    """
    act = Act.IMPORT_RESULTS if from_file else Act.RECORD_RESULT
    if sent_by.password_is_temporary or not may(sent_by, act, at):
        require(sent_by, act, at)  # says who may; asking `may` first spares the floor the longer query
    if not isinstance(operations, list | tuple):
        raise Invalid("operations_unreadable", "Send the operations as a list.")
    if len(operations) > MAX_OPERATIONS:
        message = f"{len(operations)} operations are too many at once; send at most {MAX_OPERATIONS}."
        raise Invalid("too_many_operations", message, most=MAX_OPERATIONS)
    if any(map(is_sign_off, operations)):
        return _in_turn(operations, proven, sent_by=sent_by, device=device, sent_at=sent_at, at=at)
    if sent_at is not None and sent_at.tzinfo is None:
        raise Invalid("time_without_zone", "“sent_at” must name its zone.", field="sent_at")
    device = plain_text("The name of the tablet", device, longest=60)
    sender = Sender(sent_by, device, sent_at, at, from_file, from_paper, proven)
    submission = recording.read_all(operations, sender)
    if not submission.operations:
        return [answer for answer in submission.answers if answer]
    with transaction.atomic():
        return recording.record(submission)


def _in_turn(operations: Sequence[object], proven: frozenset[str], **sender: Any) -> list[Verdictlet]:
    """Results and signatures in the order in which a tablet made them: a later stage's results follow the signature."""
    answers: list[Verdictlet] = []
    for signed, group in groupby(operations, is_sign_off):
        if signed:
            device, at = sender["device"], sender["at"]
            answers += [signed_on_tablet(one, device=device, at=at, proven=proven) for one in group]
        else:
            answers += record_operations(operations=list(group), proven=proven, **sender)
    return answers


def import_results(*, by: Person, stream: BinaryIO, at: datetime) -> Any:
    """The results in a CSV or QIF file (docs/results-file.md), recorded by `record_operations` as far as they can be.

    Gives an ImportReport: applied, duplicates, and each rejected row with its line and reason. Importing a file
    twice changes nothing. Raises NotAllowed `not_permitted`, and Invalid when the file as a whole cannot be read.
    """
    from .qif_file import looks_like_qif, read_qif
    from .results_file import MAX_BYTES, ImportReport, read_results, to_operations

    require(by, Act.IMPORT_RESULTS, at)
    report = ImportReport()
    content = stream.read(MAX_BYTES + 1)
    machine = len(content) <= MAX_BYTES and looks_like_qif(content)
    file = read_qif(content, badge=by.badge) if machine else read_results(io.BytesIO(content))
    for lines in to_operations(file, report):
        verdicts = record_operations(
            sent_by=by,
            device="file",
            operations=[line.operation for line in lines],
            at=at,
            from_file=True,
        )
        report.add(lines, verdicts)
    report.rejects.sort(key=lambda reject: reject.line)
    return report


# -------------------------------------------------------------------------------------------------- signing


def sign_stage(
    *, proof: Proof, serial: str, stage_number: int, at: datetime, on_tablet: TabletSignOff | None = None
) -> StageStanding:
    """The stage, signed as recorded truly and completely. The signature covers the answers that count now.

    `on_tablet` is what was signed without network: it raises as `check_covers_what_stands` too.

    Raises NotFound `serial_unknown`, `stage_unknown`; Conflict `stage_already_signed`; Refused `unit_not_in_build`,
    `stage_incomplete`, `earlier_stage_unsigned`, `first_article_open`, `stage_on_hold`, `photo_missing`,
    `not_authorised`, `witness_open`.
    """
    person = proof.person
    require(person, Act.SIGN_STAGE, at)
    with transaction.atomic():
        unit = lock_unit(unit_by_serial(serial).id)
        view = inspection_of_unit(unit, viewer=person, at=at)
        stage = view.stage(stage_number)
        if stage is None:
            raise NotFound("stage_unknown", f"The plan of {unit.serial} has no stage {stage_number}.")
        plan = adopted(unit.item_id)
        if on_tablet:
            check_covers_what_stands(on_tablet, unit.item_id, plan, stage.card.id)
        _check_signable(view, standing_of(stage))
        _check_photos(unit, stage)
        _check_authorised(person, stage, at)
        refuse_unwitnessed(stage)
        count = _count_answers(unit.item_id, plan.checkpoints, stage.card.id)
        _write_sign_off(proof, unit, stage, count, at, on_tablet)
    signed = inspection_of_unit(unit_by_id(unit.id), viewer=person, at=at).stage(stage_number)
    return standing_of(signed)  # type: ignore[arg-type]  # it was there a moment ago


def _write_sign_off(
    proof: Proof, unit: UnitCard, stage: StageView, count: int, at: datetime, on_tablet: TabletSignOff | None
) -> None:
    meaning = MEANING.format(number=stage.card.number, name=stage.card.name, serial=unit.serial)
    subject, covers = f"unit {unit.serial}", stage.covers
    signature = write_signature(
        proof=proof, act=Act.SIGN_STAGE, meaning=meaning[:300], subject=subject, covers=covers, at=at
    )
    sign_off = StageSignOff.objects.create(
        uuid=on_tablet.operation if on_tablet else uuid7(),
        item_id=unit.item_id,
        stage_id=stage.card.id,
        signature=signature,
        covers=covers,
        answers=count,
        at=at,
    )
    audit.anchor_on_commit(at=at)
    payload = {
        "stage": stage.card.number,
        "covers": covers,
        "answers": count,
        "sign_off": str(sign_off.uuid),
        "meaning": meaning,
    } | (told(on_tablet) if on_tablet else {})
    audit.record(verb=Verb.STAGE_SIGNED, actor=proof.person.uuid, subject=subject, at=at, payload=payload)


def _count_answers(item_id: int, cards: Sequence[Any], stage_id: int) -> int:
    from ..queries.loading import current_slots

    return len(stage_operations(stage_id, cards, rounds_of(item_id), current_slots(item_id)))


def _check_signable(view: InspectionView, stage: StageStanding) -> None:
    if view.unit.state != "in_build":
        message = f"{view.unit.serial} is {view.unit.state_label}; stages are signed while a unit is in build."
        raise Refused("unit_not_in_build", message)
    if stage.state is StageState.SIGNED:
        by = stage.sign_off.person_name if stage.sign_off else ""
        raise Conflict("stage_already_signed", f"Stage {stage.number} is signed by {by}; nothing changed since.")
    if stage.missing:
        numbers = ", ".join(map(str, stage.missing[:12])) + (" …" if len(stage.missing) > 12 else "")
        message = f"Stage {stage.number} is not complete: {len(stage.missing)} open, {numbers}."
        raise Refused("stage_incomplete", message, checkpoints=list(stage.missing))
    earlier = [s.card.number for s in view.stages if s.card.number < stage.number and not s.signed]
    if earlier:
        message = f"Stage {earlier[0]} comes first and is not signed, or was changed since."
        raise Refused("earlier_stage_unsigned", message, stages=earlier)
    waiting = waits_for(view.unit, stage.number)
    if waiting:
        message = f"{view.unit.serial} waits at stage {waiting[0].stage_number} for first article {waiting[0].name}."
        raise Refused("first_article_open", message, articles=[one.serial for one in waiting])
    holding = [hold for hold in view.holds if hold.from_stage is None or hold.from_stage < stage.number]
    if holding:
        sources = ", ".join(hold.source for hold in holding)
        message = f"{view.unit.serial} is on hold before stage {stage.number}: {sources}."
        raise Refused("stage_on_hold", message, holds=[hold.source for hold in holding])


def _check_photos(unit: UnitCard, stage: StageView) -> None:
    lacking = [one.card.number for one in without_photo(unit.item_id, stage.checkpoints)]
    if lacking:
        numbers = ", ".join(map(str, lacking[:12]))
        message = f"The plan asks for a photo at {numbers}; take it before you sign stage {stage.card.number}."
        raise Refused("photo_missing", message, checkpoints=lacking)


def _check_authorised(person: Person, stage: StageView, at: datetime) -> None:
    """Whoever signs a stage with weld inspections, penetrant or leak tests is authorised for them today."""
    due = [one.card for one in stage.checkpoints if one.state is not CheckpointState.NOT_DUE]
    for method in sorted({method_of(card.method, card.joint) for card in due} - {""}):
        if finding := lacking(person.pk, method, site_day(at)):
            message = f"{person.name} cannot sign stage {stage.card.number}: {finding} Ask an authorised inspector."
            raise Refused("not_authorised", message, method=method)


# ------------------------------------------------------------------------------------------------- deciding


def decide_result(*, proof: Proof, operation: UUID, about: str, accepted: bool, reason: str, at: datetime) -> None:
    """A signed decision about one result: whether it counts although it is near limit, or flagged.

    A result that is not accepted needs another answer. Raises NotFound `operation_unknown`; Invalid
    `about_unknown`, `text_missing`; Refused `nothing_to_decide`; NotAllowed `own_result`; Conflict `already_decided`.
    """
    person = proof.person
    require(person, Act.DECIDE_RESULT, at)
    if about not in DECIDABLE:
        raise Invalid("about_unknown", f"Decide about one of {', '.join(sorted(DECIDABLE))}.", field="about")
    reason = plain_text("The reason", reason, longest=300)
    with transaction.atomic():
        result = Result.objects.filter(operation=operation).select_related("checkpoint__characteristic").first()
        if result is None:
            raise NotFound("operation_unknown", "No result of that identifier is stored.", operation=str(operation))
        unit = lock_unit(unit_of_item(result.item_id).id)
        _check_decidable(result, about, person)
        number = result.checkpoint.characteristic.number
        payload = {
            "operation": str(operation),
            "result": result.digest,
            "checkpoint": number,
            "about": about,
            "accepted": accepted,
            "reason": reason,
        }
        words = "I accept" if accepted else "I do not accept"
        signature = write_signature(
            proof=proof,
            act=Act.DECIDE_RESULT,
            meaning=f"{words} the result of {number} ({about.replace('_', ' ')}): {reason}"[:300],
            subject=f"unit {unit.serial}",
            covers=digest(canonical(payload)),
            at=at,
        )
        decision = ResultDecision.objects.create(
            result=result, accepted=accepted, about=about, reason=reason, signature=signature, at=at
        )
        if accepted and about == Flag.OLD_REVISION:
            carry_accepted(decision=decision, unit=unit, by=person, at=at)
        audit.record(verb=Verb.RESULT_DECIDED, actor=person.uuid, subject=f"unit {unit.serial}", at=at, payload=payload)


def _check_decidable(result: Result, about: str, person: Person) -> None:
    open_about = {*result.flags, *([NEAR_LIMIT] if result.outcome == NEAR_LIMIT else [])}
    if about not in open_about:
        raise Refused("nothing_to_decide", f"Nothing about “{about.replace('_', ' ')}” is open on this result.")
    if result.person_id == person.pk:
        raise NotAllowed("own_result", "Somebody else decides about a result that you recorded.")
    if ResultDecision.objects.filter(result=result, about=about).exists():
        raise Conflict("already_decided", "This was decided before; a decision stands.")


# ------------------------------------------------------------------------------------------------ reopening


def reopen_checkpoints(*, by: Person, item_id: int, keys: Sequence[str], source: str, at: datetime) -> dict[str, int]:
    """The new round of each checkpoint opened again, by key; derived ones that read them are opened too.

    Inside the caller's transaction, whose audit entry covers it. A checkpoint that the same source reopened and
    nobody answered since stays in its round; one that was not due becomes due. Raises Invalid
    `checkpoint_unknown`; Refused `unit_not_in_build`.
    """
    unit = lock_unit(unit_of_item(item_id).id)
    if unit.state != "in_build":
        raise Refused("unit_not_in_build", f"{unit.serial} is {unit.state_label}; nothing of it is inspected again.")
    cards = {card.key: card for card in adopted(item_id).checkpoints}
    unknown = [key for key in keys if key not in cards]
    if unknown:
        raise Invalid("checkpoint_unknown", f"The plan has no checkpoint “{unknown[0]}”.", checkpoint=unknown[0])
    wanted = set(keys)
    while following := {key for key, card in cards.items() if key not in wanted and wanted & set(inputs_of(card))}:
        wanted |= following
    rounds = rounds_of(item_id)
    answered = set(
        Result.objects.filter(item=item_id, checkpoint__in=[cards[key].id for key in wanted]).values_list(
            "checkpoint_id", "round"
        )
    )
    found = {}
    for key, card in cards.items():
        if key in wanted:
            turn, opened_by = rounds.get(card.id, (1, ""))
            if (card.id, turn) in answered or opened_by != source:
                turn += 1
                Reinspection.objects.create(
                    item_id=item_id, checkpoint_id=card.id, round=turn, source=source, by=by, at=at
                )
            found[key] = turn
    return found
