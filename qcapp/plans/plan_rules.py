"""What only the whole plan shows: stages, numbers and keys, documents, formulas, pairs."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from qcapp.core import formulas
from qcapp.core.checkpoints.derived import DerivedSpec
from qcapp.core.checkpoints.formula_units import check_units
from qcapp.lib.plain_text import shown

from .plan_file import PlanFinding, Row, read_table
from .plan_rows import LONGEST, PlanCheckpoint, PlanDocument, PlanStage, RowReader, read_row

ReadRow = tuple[PlanCheckpoint | None, list[PlanFinding]]


@dataclass(frozen=True)
class Numbering:
    """The numbers and keys that the family has given before; one belongs to the other for ever."""

    key_of_number: Mapping[int, str] = field(default_factory=dict)

    @property
    def number_of_key(self) -> dict[str, int]:
        return {key: number for number, key in self.key_of_number.items()}


@dataclass(frozen=True)
class ReadPlan:
    """A plan file, read: complete when `findings` is empty."""

    stages: tuple[PlanStage, ...]
    documents: tuple[PlanDocument, ...]
    checkpoints: tuple[PlanCheckpoint, ...]
    findings: tuple[PlanFinding, ...]


def read_plan(source: str | bytes, *, gauge_kinds: Collection[str], numbering: Numbering) -> ReadPlan:
    """Everything that a plan file says and everything that is wrong with it, by line; never raises.

    Codes besides those of `plan_file` and `plan_rows`: `stage_out_of_order`, `stage_differs`, `number_twice`,
    `key_twice`, `number_of_another`, `key_has_number`, `document_two_revisions`, `paired_unknown`,
    `paired_differs`, `formula_reads_later_stage`, `formula_reads_sampled`, `unit_mismatch`, and those of
    `formulas.check`.
    """
    table = read_table(source)
    return read_rows(table.rows, gauge_kinds=gauge_kinds, numbering=numbering, findings=table.findings)


def read_rows(
    rows: Sequence[Row],
    *,
    gauge_kinds: Collection[str],
    numbering: Numbering,
    findings: Iterable[PlanFinding] = (),
    reader: Callable[[Row, Collection[str]], ReadRow] = read_row,
) -> ReadPlan:
    """What `read_plan` gives, from rows that are there already; `findings` are what was wrong before."""
    found = list(findings)
    checkpoints: list[PlanCheckpoint] = []
    for row in rows:
        checkpoint, wrong = reader(row, gauge_kinds)
        found += wrong
        if checkpoint:
            checkpoints.append(checkpoint)
    stages = _stages(rows, found)
    found += _numbers(rows, numbering)
    documents = _documents(checkpoints, found)
    if len(checkpoints) == len(rows):  # else a formula would miss what only could not be read
        found += _formulas(checkpoints) + _pairs(checkpoints)
    return ReadPlan(tuple(stages), tuple(documents), tuple(checkpoints), tuple(sorted(set(found))))


def _finding(row: Row, column: str, code: str, message: str) -> PlanFinding:
    letter = row.letters.get(column, "")
    return PlanFinding(row.line, column, code, message, f"{letter}{row.line}" if letter else "")


# --------------------------------------------------------------------------------------------------- stages


def _stages(rows: Sequence[Row], findings: list[PlanFinding]) -> list[PlanStage]:
    """The stages in the file's order. A row may leave its stage's other columns empty after the first one."""
    stages: dict[int, PlanStage] = {}
    last = 0
    for row in rows:
        text = row.cells["stage_number"]
        number = int(text) if text.isascii() and text.isdigit() and len(text) <= 6 else 0
        if not number:
            continue  # read_row has said so
        if number < last:
            message = f"Stage {number} stands after stage {last}; put its rows in order."
            findings.append(_finding(row, "stage_number", "stage_out_of_order", message))
        last = max(last, number)
        if number in stages:
            findings += _differences(row, stages[number])
        else:
            stages[number] = _first_row(row, number, findings)
    return list(stages.values())


def _first_row(row: Row, number: int, findings: list[PlanFinding]) -> PlanStage:
    reader = RowReader(row, ())
    name = reader.text("stage_name", needed=True)
    stage = PlanStage(number, name[: LONGEST["stage_name"]], reader.yes("hold_point"), reader.yes("witness_point"))
    findings += reader.findings
    return stage


def _differences(row: Row, stage: PlanStage) -> list[PlanFinding]:
    first = {
        "stage_name": stage.name,
        "hold_point": "yes" if stage.hold_point else "no",
        "witness_point": "yes" if stage.witness_point else "no",
    }
    return [
        _finding(
            row,
            column,
            "stage_differs",
            f"Stage {stage.number} began with {column} “{said}”; write the same.",
        )
        for column, said in first.items()
        if row.cells[column] and row.cells[column] != said
    ]


# ------------------------------------------------------------------------------------------- numbers and keys


def _numbers(rows: Sequence[Row], numbering: Numbering) -> list[PlanFinding]:
    findings: list[PlanFinding] = []
    number_of_key = numbering.number_of_key
    firsts: dict[tuple[str, str], Row] = {}
    for row in rows:
        number, key = row.cells["number"], row.cells["key"]
        for column, text in (("number", number.lstrip("0")), ("key", key)):
            first = firsts.setdefault((column, text), row)
            if text and first is not row:
                message = f"The {column} {shown(text)} stands in {first.where} already; give this one its own."
                findings.append(_finding(row, column, f"{column}_twice", message))
        if number.isascii() and number.isdigit() and len(number) <= 6:
            findings += _kept(row, int(number), key, numbering.key_of_number, number_of_key)
    return findings


def _kept(
    row: Row, number: int, key: str, key_of_number: Mapping[int, str], number_of_key: Mapping[str, int]
) -> list[PlanFinding]:
    """A number and a key that were given together stay together in every revision of the family."""
    if key_of_number.get(number, key) != key:
        message = f"Number {number} belongs to {key_of_number[number]}; give {shown(key)} a number of its own."
        return [_finding(row, "number", "number_of_another", message)]
    if number_of_key.get(key, number) != number:
        message = f"{shown(key)} has the number {number_of_key[key]} in every revision; write that."
        return [_finding(row, "key", "key_has_number", message)]
    return []


def _documents(checkpoints: Iterable[PlanCheckpoint], findings: list[PlanFinding]) -> list[PlanDocument]:
    documents: dict[str, PlanDocument] = {}
    for checkpoint in checkpoints:
        document = checkpoint.document
        if document is None:
            continue
        first = documents.setdefault(document.number, document)
        if first != document:
            message = f"{document.number} is cited as {first.kind} revision {first.revision} before; cite one."
            findings.append(_finding(checkpoint.row, "drawing_revision", "document_two_revisions", message))
    return list(documents.values())


# ------------------------------------------------------------------------------------------- formulas, pairs


def _formulas(checkpoints: list[PlanCheckpoint]) -> list[PlanFinding]:
    derived = {c.key: c for c in checkpoints if isinstance(c.spec, DerivedSpec)}
    numbers = {c.key for c in checkpoints if c.spec.gives_number}
    expressions = {key: c.spec.formula for key, c in derived.items() if isinstance(c.spec, DerivedSpec)}
    wrong = formulas.check(expressions, numbers) + check_units(expressions, _units(checkpoints))
    findings = [_finding(derived[f.place].row, "formula", f.code, f.message) for f in wrong]
    by_key = {c.key: c for c in checkpoints}
    for checkpoint in derived.values():
        for key in formulas.references(expressions[checkpoint.key]):
            if key in by_key and key != checkpoint.key:
                findings += _input(checkpoint, by_key[key])
    return findings


def _units(checkpoints: Iterable[PlanCheckpoint]) -> dict[str, str]:
    """The unit of measure of every checkpoint that states one."""
    return {c.key: unit for c in checkpoints if (unit := getattr(c.spec, "unit_of_measure", None))}


def _input(derived: PlanCheckpoint, read: PlanCheckpoint) -> list[PlanFinding]:
    """What keeps a derived checkpoint from being computed: a value that comes later, or not on every unit."""
    findings = []
    if read.stage_number > derived.stage_number:
        message = f"It reads {read.key} of the later stage {read.stage_number}; move one of the two."
        findings.append(_finding(derived.row, "formula", "formula_reads_later_stage", message))
    if read.frequency not in ("every", derived.frequency):
        message = f"It reads {read.key}, which is due on {read.frequency} only; give both the same frequency."
        findings.append(_finding(derived.row, "formula", "formula_reads_sampled", message))
    return findings


def _pairs(checkpoints: list[PlanCheckpoint]) -> list[PlanFinding]:
    by_key = {c.key: c for c in checkpoints}
    findings = []
    for checkpoint in checkpoints:
        other = by_key.get(checkpoint.paired_with)
        if checkpoint.paired_with and (other is None or other is checkpoint):
            message = f"No other checkpoint has the key {shown(checkpoint.paired_with)}; name one of the plan."
            findings.append(_finding(checkpoint.row, "paired_with", "paired_unknown", message))
        elif other and _unit_of(other) != _unit_of(checkpoint):
            message = f"{other.key} is not measured in the same unit; pair the same dimension before and after."
            findings.append(_finding(checkpoint.row, "paired_with", "paired_differs", message))
    return findings


def _unit_of(checkpoint: PlanCheckpoint) -> object:
    return checkpoint.kind, getattr(checkpoint.spec, "unit_of_measure", None)
