"""Rows copied from a spreadsheet (tab-separated) into a draft.

With a first line of column names, rows are matched by number or key and new ones added. Without it, the cells go
to the right of and below the cell that was chosen; what lies beyond a stage's last row becomes new checkpoints.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Collection, Sequence
from dataclasses import replace

from qcapp.core.errors import Invalid, Problems

from .draft_edits import consequences, free_number, usual_unit
from .draft_rows import STAGE_COLUMNS, DraftRow, Paper, tidy
from .plan_file import COLUMNS, MAX_BYTES, MAX_ROWS, cell_problem

_NOT_A_KEY = re.compile(r"[^a-z0-9]+")


def read_pasted(text: str) -> list[list[str]]:
    """The cells by row, empty rows left out. Raises Invalid `paste_empty`, `paste_too_large`, `paste_unreadable`."""
    if len(text) > MAX_BYTES or text.count("\n") > 4 * MAX_ROWS:
        raise Invalid("paste_too_large", f"This is more than {MAX_ROWS} rows; paste fewer, or import a file.")
    if "\0" in text:
        raise Invalid("paste_unreadable", "The pasted text holds a NUL character; copy the cells again.")
    try:
        lines = list(csv.reader(io.StringIO(text, newline=""), delimiter="\t"))
    except csv.Error:
        raise Invalid("paste_unreadable", "The pasted cells cannot be read; copy them again.") from None
    rows = [[" ".join(cell.split()) for cell in line] for line in lines]
    rows = [row for row in rows if any(row)]
    if not rows:
        raise Invalid("paste_empty", "There is nothing to paste; copy some cells first.")
    if len(rows) > MAX_ROWS:
        raise Invalid("paste_too_large", f"This is more than {MAX_ROWS} rows; paste fewer, or import a file.")
    return rows


def has_header(rows: Sequence[Sequence[str]]) -> bool:
    """Whether the first line names columns."""
    names = [cell for cell in rows[0] if cell]
    return len(names) > 1 and all(name in COLUMNS for name in names)


def pasted(paper: Paper, text: str, *, at: int, columns: Sequence[str], taken: Collection[int]) -> Paper:
    """The paper with the pasted cells. `at` is the row and `columns` those from the chosen cell to the right.

    Raises Problems `rows_have_errors` for cells that may not hold their text, Invalid as `read_pasted` does,
    and `row_gone`, `columns_too_many`, `paste_cannot_match`.
    """
    rows = read_pasted(text)
    if has_header(rows):
        return _by_name(paper, rows[0], rows[1:], at, taken)
    width = max(map(len, rows))
    if width > len(columns):
        message = f"{width} columns do not fit to the right of this cell; choose one further left, or paste with names."
        raise Invalid("columns_too_many", message)
    _check(rows, columns)
    return _as_grid(paper, rows, at, columns, taken)


def _check(rows: Sequence[Sequence[str]], columns: Sequence[str], first: int = 1) -> None:
    findings = [
        {"line": line, "column": column, "code": problem[0], "message": problem[1], "cell": ""}
        for line, row in enumerate(rows, start=first)
        for column, cell in zip(columns, row, strict=False)
        if column and (problem := cell_problem(column, cell))
    ]
    if findings:
        count = len(findings)
        message = f"{count} {'error' if count == 1 else 'errors'}; nothing was changed."
        raise Problems("rows_have_errors", message, findings)


def _as_grid(paper: Paper, rows: list[list[str]], at: int, columns: Sequence[str], taken: Collection[int]) -> Paper:
    start = next((index for index, row in enumerate(paper.rows) if row.id == at), None)
    if start is None:
        raise Invalid("row_gone", "That checkpoint is no longer in the draft; reload the page.", row=at)
    stage = paper.rows[start].stage
    there = [row for row in paper.rows[start:] if row.stage == stage]
    changed = {old.id: _filled(old, columns, cells) for old, cells in zip(there, rows, strict=False)}
    kept = [changed.get(row.id, row) for row in paper.rows]
    end = start + len(there)
    paper = replace(paper, rows=tuple(kept))
    for offset, cells in enumerate(rows[len(there) :]):
        paper = _with_new(paper, end + offset, stage, dict(zip(columns, cells, strict=False)), taken)
    return paper


def _filled(row: DraftRow, columns: Sequence[str], cells: Sequence[str]) -> DraftRow:
    for column, cell in zip(columns, cells, strict=False):
        if column and row.cells[column] != cell:
            row = row.with_cells(consequences(row, column, cell))
    return row


def _by_name(paper: Paper, names: Sequence[str], rows: list[list[str]], at: int, taken: Collection[int]) -> Paper:
    if "number" not in names and "key" not in names:
        raise Invalid("paste_cannot_match", "Copy the column number or key as well, so that rows can be matched.")
    _check(rows, names, first=2)
    anchor = paper.row(at)
    stage = anchor.stage if anchor else paper.rows[-1].stage
    for cells in rows:
        given = {name: cell for name, cell in zip(names, cells, strict=False) if name}
        old = _match(paper, given)
        if old:
            new = _filled(old, list(given), list(given.values()))
            paper = replace(paper, rows=tuple(new if row is old else row for row in paper.rows))
        else:
            own = given.get("stage_number") or stage
            place = sum(1 for row in paper.rows if _whole(row.stage) <= _whole(own))
            paper = _with_new(paper, place, own, given, taken)
    return tidy(_by_stage(paper))


def _match(paper: Paper, given: dict[str, str]) -> DraftRow | None:
    name = "key" if given.get("key") else "number"
    wanted = given.get(name, "")
    return next((row for row in paper.rows if wanted and row.cells[name] == wanted), None)


def _with_new(paper: Paper, place: int, stage: str, given: dict[str, str], taken: Collection[int]) -> Paper:
    named = next((row for row in paper.rows if row.stage == stage), None)
    empty = dict.fromkeys(COLUMNS, "")
    base = {name: named.cells[name] for name in STAGE_COLUMNS} if named else {"stage_number": stage}
    number = given.get("number") or str(free_number(paper, stage, taken) if _whole(stage) else "")
    start = {
        "number": number,
        "key": given.get("key") or key_from(given.get("title", ""), {row.key for row in paper.rows}, number),
        "kind": "measured" if given.get("limits") or given.get("nominal") else "attribute",
        "criticality": "minor",
        "frequency": "every",
    }
    if start["kind"] == "measured" and given.get("kind", "measured") == "measured":
        start["unit_of_measure"] = usual_unit(paper)
    cells = empty | base | start | {name: cell for name, cell in given.items() if cell}
    rows = list(paper.rows)
    rows.insert(place, DraftRow(paper.next_id, cells))
    return Paper(tuple(rows), paper.next_id + 1)


def key_from(title: str, taken: Collection[str], number: str) -> str:
    """A free key made from a title: "Pivot bore, left" gives pivot_bore_left."""
    stem = _NOT_A_KEY.sub("_", title.lower()).strip("_")[:50].rstrip("_")
    if not stem or not stem[0].isalpha():
        stem = f"checkpoint_{number}" if number else "checkpoint"
    return next(key for n in range(1, len(taken) + 3) if (key := stem if n == 1 else f"{stem}_{n}") not in taken)


def _by_stage(paper: Paper) -> Paper:
    return replace(paper, rows=tuple(sorted(paper.rows, key=lambda row: _whole(row.stage))))


def _whole(text: str) -> int:
    return int(text) if text.isascii() and text.isdigit() and len(text) <= 6 else 0
