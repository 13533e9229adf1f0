"""Edits of a draft. Each is one step that can be undone; none is audited, the released difference is.

An edit that would make something worse that it is responsible for is refused with the sentence; what it leaves
unfinished elsewhere (a nominal still without limits) is kept and stands among the findings.
"""

from __future__ import annotations

import zlib
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from functools import partial
from typing import TYPE_CHECKING
from uuid import UUID

from django.db import transaction

from qcapp.core.errors import Conflict, Invalid, Problems, Refused
from qcapp.gauges.queries import kind_names
from qcapp.lib.plain_text import shown
from qcapp.people.roles import Act
from qcapp.people.services import require

from .. import draft_edits
from ..cards import RevisionCard
from ..draft_rows import Paper, ReadPaper, read_paper, settled, tidy
from ..models import Draft, DraftStep
from ..plan_file import COLUMNS, MAX_ROWS, PlanFinding, cell_problem
from ..plan_rules import Numbering
from ..queries import numbers_given
from ..queries.drafts import digest_of, paper_of
from ..states import RevisionState
from .together import locked

if TYPE_CHECKING:
    from qcapp.people.models import Person

STEPS_KEPT = 20
# Codes that refuse an edit wherever they appear: two rows would claim one thing.
_CLAIMS = frozenset({"number_twice", "key_twice", "number_of_another", "key_has_number", "cycle", "self_reference"})
# A name is written beside its words: the finding may stand on the other of the two cells.
_TOGETHER = {"lower": {"lower", "limits"}, "upper": {"upper", "limits"}, "limits": {"limits", "lower", "upper"}}


@dataclass(frozen=True)
class Edited:
    """A draft after an edit: as it was read before and after, the row to go on with, and what was done in words."""

    card: RevisionCard
    before: ReadPaper
    after: ReadPaper
    version: int
    said: str
    focus: int | None = None

    @property
    def changed(self) -> list[int]:
        """Rows that are new or read differently than before, in their order."""
        old = {row.id: row for row in self.before.paper.rows}
        findings = self.before.findings
        return [
            row.id
            for row in self.after.paper.rows
            if old.get(row.id) != row or findings.get(row.id, ()) != self.after.findings.get(row.id, ())
        ]

    @property
    def reordered(self) -> bool:
        """Whether rows came, went or changed places, so that the table has to be drawn again."""
        shape = [(row.id, row.stage) for row in self.before.paper.rows]
        return shape != [(row.id, row.stage) for row in self.after.paper.rows] or _stages(self.before) != _stages(
            self.after
        )


def _stages(read: ReadPaper) -> list[object]:
    return [tuple(row.cells[name] for name in draft_edits.STAGE_COLUMNS) for row in read.paper.stages()]


@dataclass
class _Open:
    """A draft that is locked for one edit."""

    card: RevisionCard
    row: Draft
    read: ReadPaper
    given: Mapping[int, str]
    reading: Callable[[Paper], ReadPaper]
    by: Person
    at: datetime

    @property
    def paper(self) -> Paper:
        return self.read.paper

    def store(self, paper: Paper, said: str, *, focus: int | None = None, lenient: bool = False) -> Edited:
        """Keep the paper as the next step. `lenient` keeps also what makes new findings."""
        after = self.reading(tidy(paper))
        after = self.reading(settled(after))
        if len(after.paper.rows) > MAX_ROWS:
            raise Invalid("too_many_rows", f"A plan has at most {MAX_ROWS} checkpoints; split it.")
        if not lenient:
            _refuse_claims(self.read, after)
        rows = after.paper.to_json()
        if rows == self.row.rows:
            return Edited(self.card, self.read, after, self.row.version, "", focus)
        DraftStep.objects.create(
            draft=self.row, version=self.row.version + 1, before=zlib.compress(self.row.rows.encode(), 1),
            said=shown(said, 200), by_id=self.by.pk, at=self.at,
        )  # fmt: skip
        DraftStep.objects.filter(draft=self.row, version__lte=self.row.version + 1 - STEPS_KEPT).delete()
        self.write(rows)
        return Edited(self.card, self.read, after, self.row.version, said, focus)

    def write(self, rows: str) -> None:
        """Put the rows into the draft with a new version."""
        self.row.rows, self.row.digest = rows, digest_of(rows)
        self.row.version += 1
        self.row.writers = [*self.row.writers, *({self.by.pk} - set(self.row.writers))]
        self.row.changed_by_id, self.row.changed_at = self.by.pk, self.at
        self.row.save()


@contextmanager
def opened(by: Person, revision_uuid: UUID, at: datetime, version: int | None = None) -> Iterator[_Open]:
    """The draft, locked in one transaction. Raises Refused `not_a_draft`, Conflict `changed_meanwhile`."""
    require(by, Act.WRITE_PLAN, at)
    with transaction.atomic():
        card = locked(revision_uuid)
        if card.state != RevisionState.DRAFT:
            message = f"Revision {card.letter} is {card.state_label}; only a draft is edited. Revise it instead."
            raise Refused("not_a_draft", message)
        row = Draft.objects.select_for_update().get(revision=card.id)
        if version is not None and version != row.version:
            raise _changed_meanwhile(row, by)
        given = numbers_given(card.family_id)
        reading = partial(read_paper, gauge_kinds=kind_names(), numbering=Numbering(given))
        yield _Open(card, row, reading(paper_of(row)), given, reading, by, at)


def _changed_meanwhile(row: Draft, by: Person) -> Conflict:
    who = "You" if row.changed_by_id == by.pk else row.changed_by.name
    where = " in another window" if row.changed_by_id == by.pk else ""
    message = f"{who} changed this draft{where} meanwhile; nothing was overwritten. Look again, then repeat it."
    return Conflict("changed_meanwhile", message, version=row.version)


def _refuse_claims(before: ReadPaper, after: ReadPaper) -> None:
    known = {(finding.line, finding.code) for finding in before.plan.findings}
    for finding in after.plan.findings:
        if finding.code in _CLAIMS and (finding.line, finding.code) not in known:
            raise Invalid(finding.code, finding.message, field=finding.column, row=finding.line)


def _own(read: ReadPaper, row_id: int, column: str) -> list[PlanFinding]:
    columns = _TOGETHER.get(column, {column})
    return [finding for finding in read.findings.get(row_id, ()) if finding.column in columns]


def _refuse_own(before: ReadPaper, after: ReadPaper, row_id: int, column: str) -> None:
    """Refuse when the cell that was typed is what cannot be read. A cleared or missing value may be unfinished."""
    known = {(finding.code, finding.message) for finding in _own(before, row_id, column)}
    for finding in _own(after, row_id, column):
        if finding.code in ("field_missing", "limits_missing", "cell_missing") and column != "title":
            continue
        if (finding.code, finding.message) not in known:
            raise Invalid(finding.code, finding.message, field=column, row=row_id)


def set_cell(*, by: Person, revision_uuid: UUID, row_id: int, column: str, text: str, was: str, at: datetime) -> Edited:
    """One cell changed. `was` is what the cell held when it was opened.

    Raises Conflict `changed_meanwhile` when another wrote there, Invalid with the sentence for the cell,
    Refused `not_a_draft`.
    """
    with opened(by, revision_uuid, at) as draft:
        row = draft_edits.row_of(draft.paper, row_id)
        _check_column(column)
        if row.cells[column] != was:
            raise _cell_changed(draft, row.cells[column])
        paper = _with_cell(draft, row_id, column, text)
        after = draft.reading(paper)
        _refuse_own(draft.read, after, row_id, column)
        return draft.store(
            paper, f"{row.number} {_words(column)}: {was or 'empty'} → {text.strip() or 'empty'}", focus=row_id
        )


def try_cell(*, by: Person, revision_uuid: UUID, row_id: int, column: str, text: str, at: datetime) -> ReadPaper:
    """The draft as it would read with this cell, nothing kept. Raises as `set_cell` does."""
    with opened(by, revision_uuid, at) as draft:
        _check_column(column)
        after = draft.reading(tidy(_with_cell(draft, row_id, column, text)))
        _refuse_own(draft.read, after, row_id, column)
        return after


def _with_cell(draft: _Open, row_id: int, column: str, text: str) -> Paper:
    text = text.strip()
    if problem := cell_problem(column, text):
        raise Invalid(problem[0], problem[1], field=column, row=row_id)
    known = draft.read.by_id.get(row_id)
    return draft_edits.set_cell(draft.paper, row_id, column, text, known.spec if known else None)


def _check_column(column: str) -> None:
    if column not in COLUMNS:
        raise Invalid("column_unknown", f"There is no column “{shown(column)}”.")


def _cell_changed(draft: _Open, now: str) -> Conflict:
    conflict = _changed_meanwhile(draft.row, draft.by)
    message = f"{conflict.message} The cell now says “{now}”."
    return Conflict("changed_meanwhile", message, now=now, version=draft.row.version)


def _words(column: str) -> str:
    return column.replace("_", " ")


def set_field(*, by: Person, revision_uuid: UUID, ids: Sequence[int], column: str, text: str, at: datetime) -> Edited:
    """One field of many rows set to one text, all of them or none. Raises as `set_cell` does, naming the row."""
    if column in ("number", "key", "title", "formula"):
        raise Invalid("field_not_for_many", f"Each checkpoint has a {column} of its own; change it in its row.")
    with opened(by, revision_uuid, at) as draft:
        _check_column(column)
        before = draft.read
        for row_id in ids:
            number = draft_edits.row_of(draft.paper, row_id).number
            try:
                draft.read = draft.reading(_with_cell(draft, row_id, column, text))
                _refuse_own(before, draft.read, row_id, column)
            except Invalid as refusal:
                message = f"{number}: {refusal.message} Nothing was changed."
                raise Invalid(refusal.code, message, field=column, row=row_id) from None
        paper, draft.read = draft.paper, before
        said = f"{len(ids)} checkpoints, {_words(column)}: {text.strip() or 'empty'}"
        return draft.store(paper, said, focus=ids[0] if ids else None)


def insert_row(*, by: Person, revision_uuid: UUID, beside: int | None, below: bool, stage: str, at: datetime) -> Edited:
    """A new checkpoint above or below another, or at the end of a stage; `focus` is its row."""
    with opened(by, revision_uuid, at) as draft:
        if beside is None and not draft.paper.of_stage(stage):
            raise Invalid("stage_unknown", "There is no such stage; reload the page.")
        paper, new = draft_edits.insert(draft.paper, beside, below=below, stage=stage, taken=draft.given)
        return draft.store(paper, f"{draft_edits.row_of(paper, new).number} inserted", focus=new)


def duplicate_rows(*, by: Person, revision_uuid: UUID, ids: Sequence[int], at: datetime) -> Edited:
    """Copies below the last of the rows, with numbers and keys of their own."""
    with opened(by, revision_uuid, at) as draft:
        ordered = _in_order(draft.paper, ids)
        paper, made = draft_edits.duplicate(draft.paper, ordered, draft.given)
        return draft.store(paper, f"{_numbers(draft.paper, ordered)} duplicated", focus=made[0])


def delete_rows(*, by: Person, revision_uuid: UUID, ids: Sequence[int], at: datetime) -> Edited:
    """The draft without these checkpoints; what read them is named among the findings."""
    with opened(by, revision_uuid, at) as draft:
        ordered = _in_order(draft.paper, ids)
        return draft.store(
            draft_edits.delete(draft.paper, ordered),
            f"{_numbers(draft.paper, ordered)} deleted",
            focus=_next_to(draft.paper, ordered),
        )


def move_rows(*, by: Person, revision_uuid: UUID, ids: Sequence[int], step: int, at: datetime) -> Edited:
    """The rows one place up (`step` -1) or down (1)."""
    with opened(by, revision_uuid, at) as draft:
        ordered = _in_order(draft.paper, ids)
        paper = draft_edits.move(draft.paper, ordered, -1 if step < 0 else 1)
        before, after = (draft_edits.row_of(one, ordered[0]).stage for one in (draft.paper, paper))
        said = _moved(_numbers(draft.paper, ordered), step, "" if before == after else after)
        return draft.store(paper, said, focus=ordered[0])


def _moved(what: str, step: int, into: str) -> str:
    if into:
        return f"{what} moved up into stage {into}" if step < 0 else f"{what} moved down into stage {into}"
    return f"{what} moved up" if step < 0 else f"{what} moved down"


def place_rows(
    *, by: Person, revision_uuid: UUID, ids: Sequence[int], beside: int, below: bool, at: datetime
) -> Edited:
    """The rows above or below another one, in its stage."""
    with opened(by, revision_uuid, at) as draft:
        ordered = _in_order(draft.paper, ids)
        paper = draft_edits.place(draft.paper, ordered, beside, below=below)
        moved, other = _numbers(draft.paper, ordered), draft_edits.row_of(paper, beside).number
        said = f"{moved} moved below {other}" if below else f"{moved} moved above {other}"
        return draft.store(paper, said, focus=ordered[0])


def renumber_stage(*, by: Person, revision_uuid: UUID, stage: str, at: datetime) -> Edited:
    """The stage's new checkpoints numbered in their order; numbers that were released stay."""
    with opened(by, revision_uuid, at) as draft:
        return draft.store(draft_edits.renumber(draft.paper, stage, draft.given), f"stage {stage} renumbered")


def _in_order(paper: Paper, ids: Collection[int]) -> list[int]:
    """The rows that are meant, in the order of the paper. Raises Invalid `nothing_chosen`, `row_gone`."""
    for row_id in ids:
        draft_edits.row_of(paper, row_id)
    ordered = [row.id for row in paper.rows if row.id in set(ids)]
    if not ordered:
        raise Invalid("nothing_chosen", "No checkpoint is chosen; go to one first.")
    return ordered


def _numbers(paper: Paper, ids: Sequence[int]) -> str:
    numbers = [draft_edits.row_of(paper, row_id).number for row_id in ids]
    return ", ".join(numbers) if len(numbers) <= 6 else f"{len(numbers)} checkpoints from {numbers[0]}"


def _next_to(paper: Paper, ids: Sequence[int]) -> int | None:
    """The row that follows those that go, or the one before them."""
    rows = [row.id for row in paper.rows]
    after = [row for row in rows[rows.index(ids[-1]) + 1 :] if row not in ids]
    before = [row for row in rows[: rows.index(ids[0])] if row not in ids]
    return after[0] if after else before[-1] if before else None


def replace_rows(
    *,
    by: Person,
    revision_uuid: UUID,
    version: int,
    make: Callable[[Paper, int, Mapping[int, str]], Paper],
    said: str,
    keep: bool,
    at: datetime,
) -> Edited:
    """The draft with the paper that `make` gives from it, its family and the numbers given; shown only unless `keep`.

    `version` is the one that was looked at. Raises Conflict `changed_meanwhile`, Problems `rows_have_errors`
    with every finding that is new, and what `make` raises.
    """
    with opened(by, revision_uuid, at, version if keep else None) as draft:
        paper = make(draft.paper, draft.card.family_id, draft.given)
        after = draft.reading(settled(draft.reading(tidy(paper))))
        known = {(finding.line, finding.code) for finding in draft.read.plan.findings}
        new = [finding for finding in after.plan.findings if (finding.line, finding.code) not in known]
        if new:
            raise Problems("rows_have_errors", _count(new), [_placed(after.paper, finding) for finding in new])
        if keep:
            return draft.store(after.paper, said, lenient=True)
        return Edited(draft.card, draft.read, after, draft.row.version, said)


def _count(findings: Sequence[PlanFinding]) -> str:
    return f"{len(findings)} {'error' if len(findings) == 1 else 'errors'}; nothing was changed."


def _placed(paper: Paper, finding: PlanFinding) -> dict[str, object]:
    row = paper.row(finding.line)
    return finding.to_json() | {
        "cell": f"checkpoint {row.number}" if row else "",
        "line": _position(paper, finding.line),
    }


def _position(paper: Paper, row_id: int) -> int:
    return next((place for place, row in enumerate(paper.rows, start=1) if row.id == row_id), 0)


def undo(*, by: Person, revision_uuid: UUID, version: int, at: datetime) -> Edited:
    """The draft as it was before its last step. Raises Conflict `changed_meanwhile`, Refused `nothing_to_undo`."""
    with opened(by, revision_uuid, at, version) as draft:
        step = DraftStep.objects.filter(draft=draft.row).order_by("-version").first()
        if step is None:
            raise Refused("nothing_to_undo", f"There is no step left to undo; the last {STEPS_KEPT} are kept.")
        draft.write(zlib.decompress(bytes(step.before)).decode())
        said, step_id = step.said, step.pk
        DraftStep.objects.filter(pk=step_id).delete()
        after = draft.reading(paper_of(draft.row))
        edited = Edited(draft.card, draft.read, after, draft.row.version, f"undone: {said}")
        return Edited(draft.card, draft.read, after, draft.row.version, edited.said, _first_difference(edited))


def _first_difference(edited: Edited) -> int | None:
    changed = edited.changed
    return changed[0] if changed else None
