"""Edits of a draft's rows: plain functions from a paper to the next one.

Whether the result is allowed is not said here.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace
from decimal import Decimal
from typing import Any

from django.conf import settings

from qcapp.core.errors import Invalid
from qcapp.core.metrology.quantities import as_text

from .draft_rows import STAGE_COLUMNS, DraftRow, Paper, tidy
from .plan_file import COLUMNS
from .plan_rows import COLUMNS_OF_KIND, KIND_COLUMNS

NEW_TITLE = "New checkpoint"
_NOMINAL_FIRST = re.compile(r"([-+−]?[0-9][0-9.,]*)\s+(?!to\b|%|°)(\S.*)")
_WITH_LIMITS = ("measured", "derived")


def row_of(paper: Paper, row_id: int) -> DraftRow:
    """The row. Raises Invalid `row_gone`."""
    row = paper.row(row_id)
    if row is None:
        raise Invalid("row_gone", "That checkpoint is no longer in the draft; reload the page.", row=row_id)
    return row


# ----------------------------------------------------------------------------------------------------- cells


def set_cell(paper: Paper, row_id: int, column: str, text: str, spec: Any = None) -> Paper:
    """One cell changed, with what follows from it: other limits, other columns, other rows of a stage.

    `spec` is what the row meant before, for the limits that a changed side leaves as they are.
    """
    row = row_of(paper, row_id)
    if column == "stage_number":
        return to_stage(paper, [row_id], text)
    if column in STAGE_COLUMNS:
        return _over(paper, {one.id: {column: text} for one in paper.of_stage(row.stage)})
    if column == "key":
        return _rename_key(paper, row, text)
    changes = consequences(row, column, text, spec)
    if column == "kind" and text.lower() in _WITH_LIMITS and not row.cells["unit_of_measure"]:
        changes["unit_of_measure"] = usual_unit(paper)
    return _over(paper, {row_id: changes})


def usual_unit(paper: Paper) -> str:
    """The unit of measure that most of the plan's rows have."""
    units = Counter(row.cells["unit_of_measure"] for row in paper.rows if row.cells["kind"] in _WITH_LIMITS)
    units.pop("", None)
    return units.most_common(1)[0][0] if units else settings.QCAPP_SITE_LENGTHS


def consequences(row: DraftRow, column: str, text: str, spec: Any = None) -> dict[str, str]:
    """The cells of the row that change when one of them does."""
    changes = {column: text}
    kind = row.cells["kind"]
    if column == "kind" and text.lower() in COLUMNS_OF_KIND:
        changes = dict.fromkeys(KIND_COLUMNS - COLUMNS_OF_KIND[text.lower()], "") | changes
    elif column == "limits" and kind in _WITH_LIMITS:
        changes |= {"lower": "", "upper": ""}
        first = _NOMINAL_FIRST.fullmatch(text)
        if first:
            changes |= {"nominal": first[1], "limits": first[2]}
        if changes["limits"].lower() == "reference":
            changes |= {"nominal": "", "limits": "reference"}
    elif column in ("lower", "upper") and kind in _WITH_LIMITS and row.cells["limits"]:
        changes = _typed_limits(spec) | {"limits": ""} | changes
    elif column == "limits" and kind == "count":
        changes |= {"lower": "", "upper": ""}
    return changes


def _typed_limits(spec: Any) -> dict[str, str]:
    """Both limits as numbers, taken from the notation that is given up."""
    band = getattr(spec, "band", None)
    if band is None:
        return {}
    ends = {"lower": band.lower, "upper": band.upper}
    return {name: as_text(end) for name, end in ends.items() if isinstance(end, Decimal) and name not in band.natural}


def _rename_key(paper: Paper, row: DraftRow, key: str) -> Paper:
    """The key changed, and with it the formulas and pairs that name it."""
    changes: dict[int, dict[str, str]] = {}
    name = re.compile(rf"\b{re.escape(row.key)}\b") if row.key else None
    for other in paper.rows:
        own: dict[str, str] = {}
        if name and other.cells["formula"]:
            own["formula"] = name.sub(key, other.cells["formula"])
        if row.key and other.cells["paired_with"] == row.key:
            own["paired_with"] = key
        if other.id == row.id:
            own["key"] = key
        if own:
            changes[other.id] = own
    return _over(paper, changes)


def _over(paper: Paper, changes: Mapping[int, Mapping[str, str]]) -> Paper:
    rows = (row.with_cells(changes[row.id]) if row.id in changes else row for row in paper.rows)
    return replace(paper, rows=tuple(rows))


# ------------------------------------------------------------------------------------------------------ rows


def insert(paper: Paper, beside: int | None, *, below: bool, stage: str, taken: Collection[int]) -> tuple[Paper, int]:
    """A new attribute row beside another, or at the end of a stage; with the new row's id.

    `taken` are the numbers that the family has given before.
    """
    anchor = row_of(paper, beside) if beside is not None else None
    stage = anchor.stage if anchor else stage
    number = free_number(paper, stage, taken)
    there = paper.of_stage(stage)
    named = {name: there[0].cells[name] for name in STAGE_COLUMNS} if there else {"stage_number": stage}
    cells = dict.fromkeys(COLUMNS, "") | named | {
        "number": str(number), "key": f"checkpoint_{number}", "title": NEW_TITLE,
        "kind": "attribute", "criticality": "minor", "frequency": "every",
    }  # fmt: skip
    new = DraftRow(paper.next_id, cells)
    rows = list(paper.rows)
    rows.insert(_place(rows, anchor, below, stage), new)
    return tidy(Paper(tuple(rows), paper.next_id + 1)), new.id


def _place(rows: Sequence[DraftRow], anchor: DraftRow | None, below: bool, stage: str) -> int:
    if anchor:
        return rows.index(anchor) + below
    return sum(1 for row in rows if int(row.stage) <= int(stage))


def free_number(paper: Paper, stage: str, taken: Collection[int]) -> int:
    """The number after the highest of the stage that nothing in the family has."""
    own = [int(row.number) for row in paper.of_stage(stage) if row.number.isdigit()]
    used = {int(row.number) for row in paper.rows if row.number.isdigit()} | set(taken)
    number = max(own, default=int(stage) * 100) + 1
    while number in used:
        number += 1
    return number


def duplicate(paper: Paper, ids: Sequence[int], taken: Collection[int]) -> tuple[Paper, list[int]]:
    """Copies below the rows, in their order, each with a number and a key of its own; with the copies' ids."""
    made: list[int] = []
    for row_id in reversed(ids):
        row = row_of(paper, row_id)
        after = row_of(paper, ids[-1])
        paper, new = insert(paper, after.id, below=True, stage=row.stage, taken=taken)
        fresh = row_of(paper, new)
        own = {name: fresh.cells[name] for name in (*STAGE_COLUMNS, "number")}
        paper = _over(paper, {new: {**row.cells, **own, "key": _free_key(paper, row.key)}})
        made.insert(0, new)
    return _numbers_in_order(paper, made), made


def _numbers_in_order(paper: Paper, ids: Sequence[int]) -> Paper:
    numbers = sorted((row_of(paper, row_id).number for row_id in ids), key=int)
    return _over(paper, {row_id: {"number": number} for row_id, number in zip(ids, numbers, strict=True)})


def _free_key(paper: Paper, key: str) -> str:
    keys = {row.key for row in paper.rows}
    stem = key[:55]
    return next(name for n in range(2, len(keys) + 3) if (name := f"{stem}_{n}") not in keys)


def delete(paper: Paper, ids: Collection[int]) -> Paper:
    """The paper without these rows. Raises Invalid `plan_empty`, `row_gone`."""
    for row_id in ids:
        row_of(paper, row_id)
    rows = tuple(row for row in paper.rows if row.id not in set(ids))
    if not rows:
        raise Invalid("plan_empty", "A plan has at least one checkpoint; discard the draft instead.")
    return replace(paper, rows=rows)


def move(paper: Paper, ids: Sequence[int], step: int) -> Paper:
    """The rows one place up (-1) or down (1) as a block; over a stage's edge they go into the next stage."""
    block = [row for row in paper.rows if row.id in set(ids)]
    if len(block) != len(set(ids)):
        raise Invalid("row_gone", "One of these checkpoints is no longer in the draft; reload the page.")
    rest = [row for row in paper.rows if row.id not in set(ids)]
    edge = paper.rows.index(block[0] if step < 0 else block[-1]) + step
    if not 0 <= edge < len(paper.rows):
        raise Invalid("at_the_edge", "There is nothing beyond; the checkpoint stays where it is.")
    neighbour = paper.rows[edge]
    if neighbour.stage != block[0].stage:
        return to_stage(paper, ids, neighbour.stage, first=step > 0)
    at = rest.index(neighbour) + (step > 0)
    return replace(paper, rows=tuple(rest[:at] + block + rest[at:]))


def place(paper: Paper, ids: Collection[int], beside: int, *, below: bool) -> Paper:
    """The rows as a block above or below another, in that one's stage. Raises Invalid `row_gone`, `at_the_edge`."""
    anchor = row_of(paper, beside)
    if beside in ids:
        raise Invalid("at_the_edge", "The checkpoint is there already; it stays where it is.")
    named = {name: anchor.cells[name] for name in STAGE_COLUMNS}
    block = [row_of(paper, row.id).with_cells(named) for row in paper.rows if row.id in set(ids)]
    rest = [row for row in paper.rows if row.id not in set(ids)]
    at = rest.index(anchor) + below
    return replace(paper, rows=tuple(rest[:at] + block + rest[at:]))


def to_stage(paper: Paper, ids: Collection[int], stage: str, *, first: bool = False) -> Paper:
    """The rows at the end, or the beginning, of a stage that is there. Raises Invalid `stage_unknown`."""
    target = next((row for row in paper.stages() if row.stage == stage.strip()), None)
    if target is None:
        raise Invalid("stage_unknown", f"There is no stage {stage or '–'}; add it first.")
    named = {name: target.cells[name] for name in STAGE_COLUMNS}
    block = [row.with_cells(named) for row in paper.rows if row.id in set(ids)]
    rest = [row for row in paper.rows if row.id not in set(ids)]
    number = int(target.stage)
    at = sum(1 for row in rest if int(row.stage) < number or (not first and int(row.stage) == number))
    return replace(paper, rows=tuple(rest[:at] + block + rest[at:]))


def renumber(paper: Paper, stage: str, given: Mapping[int, str]) -> Paper:
    """The stage's new checkpoints with numbers in their order, after those that earlier revisions gave.

    A number that was given stays with its key for ever, so only rows that are new in this draft change.
    """
    keys = set(given.values())
    new = [row for row in paper.of_stage(stage) if row.key not in keys]
    fixed = {int(r.number) for r in paper.rows if r not in new and r.number.isdigit()} | set(given)
    own = [int(row.number) for row in paper.of_stage(stage) if row not in new and row.number.isdigit()]
    number = max(own, default=int(stage) * 100)
    for row in new:
        number += 1
        while number in fixed:
            number += 1
        paper = _over(paper, {row.id: {"number": str(number)}})
    return paper


# ---------------------------------------------------------------------------------------------------- stages


def add_stage(paper: Paper, number: str, name: str, taken: Collection[int]) -> tuple[Paper, int]:
    """A stage with one new checkpoint in it; with that row's id. Raises Invalid `stage_unreadable`, `stage_twice`."""
    if not (number.isascii() and number.isdigit() and 0 < int(number) < 1000):
        raise Invalid("stage_unreadable", "A stage has a whole number from 1 to 999.")
    number = str(int(number))
    if paper.of_stage(number):
        raise Invalid("stage_twice", f"There is a stage {number} already; choose another number.")
    paper, new = insert(paper, None, below=True, stage=number, taken=taken)
    return _over(paper, {new: {"stage_name": name, "hold_point": "", "witness_point": ""}}), new


def change_stage(paper: Paper, number: str, changes: Mapping[str, str]) -> Paper:
    """The stage's name or points changed in all its rows. Raises Invalid `stage_unknown`."""
    rows = paper.of_stage(number)
    if not rows:
        raise Invalid("stage_unknown", f"There is no stage {number}; reload the page.")
    return _over(paper, {row.id: {k: v for k, v in changes.items() if k in STAGE_COLUMNS[1:]} for row in rows})
