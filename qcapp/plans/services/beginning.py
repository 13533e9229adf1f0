"""How a draft begins and ends without a release: a file read in, a revision revised, a draft discarded."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING
from uuid import UUID

from django.db import IntegrityError, transaction

from qcapp.audit import services as audit
from qcapp.audit.verbs import Verb
from qcapp.core.errors import Conflict, Invalid, NotAllowed, Problems
from qcapp.gauges.queries import kind_names
from qcapp.lib.plain_text import plain_text, shown
from qcapp.people.queries import role_names
from qcapp.people.roles import Act, Role
from qcapp.people.services import require
from qcapp.production.queries import FamilyCard, family_by_code

from ..cards import RevisionCard
from ..draft_rows import Paper, cells_of_cards, settled
from ..models import Draft, DraftStep, PlanRevision, RevisionStatus
from ..plan_export import write_cells
from ..plan_file import read_table
from ..plan_rules import Numbering, read_rows
from ..queries import (
    checkpoints_of,
    content_digest,
    next_letter,
    numbers_given,
    previous_of,
    revision_by_id,
    revision_card,
    stages_of,
)
from ..queries.drafts import digest_of, draft_card, read_for
from ..states import REVISION_STATES, RevisionState
from .drawings import carry_over
from .together import add_event, locked

if TYPE_CHECKING:
    from qcapp.people.models import Person

_LETTER = re.compile(r"[A-Z]{1,2}")
IMPORT = "import"  # the events that begin a revision; every other event is a move of REVISION_STATES
REVISE = "revise"


def import_plan(
    *,
    by: Person,
    family_code: str,
    letter: str,
    text_or_bytes: str | bytes,
    filename: str,
    at: datetime,
    change_note: str = "",
) -> RevisionCard:
    """A draft revision from a plan file (docs/plan-file.md).

    Nothing is written when anything in the file is wrong.

    Raises Problems `plan_file_has_errors` with every finding, Invalid `letter_unreadable` or a code of
    `plain_text`, Conflict `letter_taken`, NotFound `family_unknown`.
    """
    require(by, Act.IMPORT_PLAN, at)
    family = family_by_code(family_code)
    if not _LETTER.fullmatch(letter):
        raise Invalid("letter_unreadable", f"A revision is one or two capitals, such as D; “{shown(letter)}” is not.")
    filename = shown(filename, 120)
    change_note = plain_text("The change note", change_note, longest=300, needed=False)
    paper = settled(read_for(family.id, Paper.of_cells(read_file(family.id, text_or_bytes).rows)))
    with transaction.atomic():
        revision = _begin(by, family, letter, change_note, paper, at)
        if previous := previous_of(revision.pk):
            carry_over(previous.id, revision.pk, paper)
        found = content_digest(revision.pk)
        add_event(revision.pk, IMPORT, RevisionState.DRAFT, by=by, at=at, content=found, reason=filename)
        payload = {
            "file": filename, "checkpoints": len(paper.rows), "change_note": change_note,
            "content": found,
        }  # fmt: skip
        subject = f"plan {family.code} {letter}"
        audit.record(verb=Verb.PLAN_IMPORTED, actor=by.uuid, subject=subject, at=at, payload=payload)
    return revision_by_id(revision.pk)


@dataclass(frozen=True)
class FileRows:
    """The rows of a plan file that is right; `formulas` cells of a workbook were taken as their values."""

    rows: list[dict[str, str]]
    formulas: int


def read_file(family_id: int, source: str | bytes) -> FileRows:
    """The rows of a plan file. Raises Problems `plan_file_has_errors` with every finding."""
    table = read_table(source)
    numbering = Numbering(numbers_given(family_id))
    plan = read_rows(table.rows, gauge_kinds=kind_names(), numbering=numbering, findings=table.findings)
    if plan.findings:
        count = len(plan.findings)
        message = f"The plan file has {count} {'error' if count == 1 else 'errors'}; nothing was imported."
        raise Problems("plan_file_has_errors", message, [finding.to_json() for finding in plan.findings])
    return FileRows([dict(checkpoint.row.cells) for checkpoint in plan.checkpoints], table.formulas)


def revise(*, by: Person, revision_uuid: UUID, at: datetime, change_note: str = "") -> RevisionCard:
    """The next draft of the family, saying what this revision says.

    Raises NotFound `revision_unknown`, Conflict `letter_taken`, Invalid with a code of `plain_text`.
    """
    require(by, Act.WRITE_PLAN, at)
    change_note = plain_text("The change note", change_note, longest=300, needed=False)
    source = revision_card(revision_uuid)
    family = family_by_code(source.family_code)
    paper = _paper_of(source)
    letter = next_letter(family.code)
    with transaction.atomic():
        revision = _begin(by, family, letter, change_note, paper, at)
        carry_over(source.id, revision.pk, paper)
        found = content_digest(revision.pk)
        reason = f"from revision {source.letter}"
        add_event(revision.pk, REVISE, RevisionState.DRAFT, by=by, at=at, content=found, reason=reason)
        payload = {"from": source.letter, "checkpoints": len(paper.rows), "change_note": change_note, "content": found}
        subject = f"plan {family.code} {letter}"
        audit.record(verb=Verb.PLAN_REVISED, actor=by.uuid, subject=subject, at=at, payload=payload)
    return revision_by_id(revision.pk)


def _paper_of(source: RevisionCard) -> Paper:
    """The rows of a revision, whatever its state. Limits that a table no longer gives stay beside their notation."""
    draft = draft_card(source.id, source.family_id)
    if draft:
        return draft.paper
    paper = Paper.of_cells(cells_of_cards(stages_of(source.id), checkpoints_of(source.id)))
    return settled(read_for(source.family_id, paper))


def _begin(by: Person, family: FamilyCard, letter: str, change_note: str, paper: Paper, at: datetime) -> PlanRevision:
    if not change_note and RevisionStatus.objects.filter(family=family.id, state=RevisionState.RELEASED).exists():
        message = f"Say what revision {letter} changes and why; whoever releases it and whoever works to it reads that."
        raise Invalid("change_note_missing", message, field="change_note")
    try:
        with transaction.atomic():
            revision = PlanRevision.objects.create(
                family_id=family.id, letter=letter, change_note=change_note, author_id=by.pk, created_at=at
            )
            RevisionStatus.objects.create(
                revision=revision, family_id=family.id, letter=letter, state=RevisionState.DRAFT
            )
    except IntegrityError:
        free = next_letter(family.code)
        message = f"{family.code} has a revision {letter} already; import this one as {free}."
        raise Conflict("letter_taken", message, letter=letter, free=free) from None
    rows = paper.to_json()
    Draft.objects.create(
        revision=revision, rows=rows, digest=digest_of(rows), writers=[by.pk], changed_by_id=by.pk, changed_at=at
    )
    return revision


def discard(*, by: Person, revision_uuid: UUID, reason: str, at: datetime) -> RevisionCard:
    """The draft, discarded: its letter and the numbers that only it gave are free again.

    Its rows stay to be read. Raises NotFound `revision_unknown`, TransitionNotAllowed, NotAllowed
    `discard_by_another`, Invalid with a code of `plain_text`.
    """
    require(by, Act.WRITE_PLAN, at)
    reason = plain_text("The reason", reason, longest=300)
    with transaction.atomic():
        card = locked(revision_uuid)
        state = REVISION_STATES.next(card.state, "discard")
        if by.pk != card.author_id and Role.QUALITY_MANAGER not in role_names(by, at):
            message = f"Revision {card.letter} is {card.author_name}'s; they or the quality manager discard it."
            raise NotAllowed("discard_by_another", message)
        found = content_digest(card.id)
        DraftStep.objects.filter(draft__revision=card.id).delete()
        add_event(card.id, "discard", state, by=by, at=at, content=found, reason=reason)
        payload = {"reason": reason, "checkpoints": card.checkpoint_count, "content": found}
        audit.record(verb=Verb.PLAN_DISCARDED, actor=by.uuid, subject=card.subject, at=at, payload=payload)
    return revision_by_id(card.id)


def export_plan(revision_id: int) -> str:
    """The revision as a plan file that reads back to the same content. Raises NotFound `revision_unknown`."""
    return write_cells(export_cells(revision_id))


def export_cells(revision_id: int) -> list[dict[str, str]]:
    """The rows of the plan file; unfinished ones of a draft as they stand."""
    card = revision_by_id(revision_id)
    written = cells_of_cards(card.stages, checkpoints_of(revision_id))
    draft = draft_card(revision_id, card.family_id)
    if draft is None:
        return written
    readable = {int(cells["number"]): cells for cells in written}
    return [
        readable[draft.read.by_id[row.id].number] if row.id in draft.read.by_id else dict(row.cells)
        for row in draft.paper.rows
    ]
