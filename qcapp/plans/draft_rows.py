"""A draft's working paper: rows of cells as the plan file writes them, each with a number of its own.

Plain values in and out. A row may be unfinished; what is wrong with it stands beside it until it is right.
"""

from __future__ import annotations

import json
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache

from qcapp.core.checkpoints.measured import MeasuredSpec

from .cards import CheckpointCard, StageCard
from .plan_export import cells_of
from .plan_file import COLUMNS, PlanFinding, Row
from .plan_rows import PlanCheckpoint, read_row
from .plan_rules import Numbering, ReadPlan, read_rows

STAGE_COLUMNS = ("stage_number", "stage_name", "hold_point", "witness_point")
_EMPTY = dict.fromkeys(COLUMNS, "")


@dataclass(frozen=True)
class DraftRow:
    """One checkpoint of a draft. `id` stays with it through every edit; it is not its number."""

    id: int
    cells: Mapping[str, str]

    @property
    def number(self) -> str:
        return self.cells["number"]

    @property
    def key(self) -> str:
        return self.cells["key"]

    @property
    def stage(self) -> str:
        return self.cells["stage_number"]

    def with_cells(self, changes: Mapping[str, str]) -> DraftRow:
        """The row with some cells changed."""
        return replace(self, cells={**self.cells, **changes})


@dataclass(frozen=True)
class Paper:
    """All rows of a draft in the order of the floor; `next_id` is what the next new row is called."""

    rows: tuple[DraftRow, ...] = ()
    next_id: int = 1

    def row(self, row_id: int) -> DraftRow | None:
        """The row, or None when it is gone."""
        return next((row for row in self.rows if row.id == row_id), None)

    def stages(self) -> list[DraftRow]:
        """The first row of each stage."""
        firsts: dict[str, DraftRow] = {}
        for row in self.rows:
            firsts.setdefault(row.stage, row)
        return list(firsts.values())

    def of_stage(self, number: str) -> list[DraftRow]:
        """The rows of a stage."""
        return [row for row in self.rows if row.stage == number]

    def to_json(self) -> str:
        """The text that is stored; empty cells are left out."""
        rows = [[row.id, {name: text for name, text in row.cells.items() if text}] for row in self.rows]
        return json.dumps({"next": self.next_id, "rows": rows}, ensure_ascii=False, separators=(",", ":"))

    @classmethod
    def from_json(cls, text: str) -> Paper:
        """The paper that `to_json` wrote."""
        data = json.loads(text)
        return cls(tuple(DraftRow(number, {**_EMPTY, **cells}) for number, cells in data["rows"]), data["next"])

    @classmethod
    def of_cells(cls, rows: Iterable[Mapping[str, str]], kept: Paper | None = None) -> Paper:
        """A paper of these rows. Rows that `kept` has under the same key keep their id."""
        known = {row.key: row.id for row in kept.rows} if kept else {}
        next_id = kept.next_id if kept else 1
        made = []
        for cells in rows:
            row_id = known.pop(cells["key"], None)
            if row_id is None:
                row_id, next_id = next_id, next_id + 1
            made.append(DraftRow(row_id, {**_EMPTY, **cells}))
        return tidy(cls(tuple(made), next_id))


@dataclass(frozen=True)
class ReadPaper:
    """A paper with what each of its rows means and what is wrong with it."""

    paper: Paper
    plan: ReadPlan
    by_id: Mapping[int, PlanCheckpoint]
    findings: Mapping[int, tuple[PlanFinding, ...]] = field(default_factory=dict)

    @property
    def complete(self) -> bool:
        """Whether nothing is wrong, so that it can go to review."""
        return not self.plan.findings


def tidy(paper: Paper) -> Paper:
    """Every row says its stage's name and points in full, as the first row of the stage has them."""
    firsts = {row.stage: row for row in paper.stages()}
    return replace(paper, rows=tuple(_with_stage(row, firsts[row.stage]) for row in paper.rows))


def _with_stage(row: DraftRow, first: DraftRow) -> DraftRow:
    named = {"stage_name": first.cells["stage_name"]} | {
        name: "yes" if first.cells[name].lower() == "yes" else "" for name in ("hold_point", "witness_point")
    }
    return row if all(row.cells[name] == text for name, text in named.items()) else row.with_cells(named)


def read_paper(paper: Paper, *, gauge_kinds: Collection[str], numbering: Numbering) -> ReadPaper:
    """What the paper says. Rows that were read before are remembered, so that one edit reads one row."""
    rows = [Row(row.id, dict(row.cells), {}, f"checkpoint {row.number}") for row in paper.rows]
    plan = read_rows(rows, gauge_kinds=frozenset(gauge_kinds), numbering=numbering, reader=_remembered)
    findings: dict[int, list[PlanFinding]] = {}
    for finding in plan.findings:
        findings.setdefault(finding.line, []).append(finding)
    by_id = {checkpoint.row.line: checkpoint for checkpoint in plan.checkpoints}
    return ReadPaper(paper, plan, by_id, {row: tuple(found) for row, found in findings.items()})


def _remembered(row: Row, gauge_kinds: Collection[str]) -> tuple[PlanCheckpoint | None, list[PlanFinding]]:
    checkpoint, findings = _read_once(tuple(row.cells[name] for name in COLUMNS), frozenset(gauge_kinds))
    own = replace(checkpoint, row=row) if checkpoint else None
    return own, [replace(finding, line=row.line) for finding in findings]


@lru_cache(maxsize=8192)
def _read_once(
    cells: tuple[str, ...], gauge_kinds: frozenset[str]
) -> tuple[PlanCheckpoint | None, tuple[PlanFinding, ...]]:
    checkpoint, findings = read_row(Row(0, dict(zip(COLUMNS, cells, strict=True)), {}), gauge_kinds)
    return checkpoint, tuple(findings)


def settled(read: ReadPaper) -> Paper:
    """The paper with words and units as they were understood, and no limits beside the notation they come from."""
    rows = [_settled(row, read.by_id.get(row.id)) for row in read.paper.rows]
    return replace(read.paper, rows=tuple(rows))


def _settled(row: DraftRow, checkpoint: PlanCheckpoint | None) -> DraftRow:
    if checkpoint is None:
        return row
    understood = {
        "number": str(checkpoint.number),
        "stage_number": str(checkpoint.stage_number),
        "kind": checkpoint.kind,
        "criticality": checkpoint.criticality,
        "setup": checkpoint.setup,
        "gauge_kinds": ";".join(checkpoint.gauge_kinds),
        "frequency": checkpoint.frequency,
        "second_inspection": "yes" if checkpoint.second_inspection else "",
        "photo": "yes" if checkpoint.photo else "",
        "variants": checkpoint.variants,
    }
    if checkpoint.kind in ("measured", "derived"):
        understood["unit_of_measure"] = getattr(checkpoint.spec, "unit_of_measure", "")
        if row.cells["limits"]:
            understood |= {"lower": "", "upper": ""}
    if isinstance(checkpoint.spec, MeasuredSpec):
        understood["mean"] = "yes" if checkpoint.spec.mean else ""
        understood["temperature"] = str(checkpoint.spec.temperature or "")
    if checkpoint.kind == "attribute":
        understood["limits"] = ""
    return row.with_cells(understood)


def cells_of_cards(stages: Sequence[StageCard], cards: Sequence[CheckpointCard]) -> list[dict[str, str]]:
    """The rows that say what a revision's checkpoints say."""
    by_number = {stage.number: stage for stage in stages}
    return [{name: str(v) for name, v in cells_of(by_number[card.stage_number], card).items()} for card in cards]
