"""One row of a plan file into one checkpoint, with a finding for every cell that cannot be meant so."""

from __future__ import annotations

import difflib
import re
from collections.abc import Collection
from dataclasses import dataclass
from typing import Any

from qcapp.core import formulas
from qcapp.core.checkpoints.kinds import KINDS, Spec
from qcapp.core.errors import Invalid
from qcapp.core.metrology.quantities import convert, parse_value
from qcapp.core.sealing import canonical
from qcapp.core.statistics.frequency import parse_frequency
from qcapp.core.variants import read_condition
from qcapp.lib.plain_text import shown

from .plan_file import PlanFinding, Row

CRITICALITIES = ("critical", "major", "minor")
SETUPS = ("", "in_fixture", "restrained", "free")
JOINT = re.compile(r"W[1-9][0-9]{0,3}")
SPECIFICATION = "spec:"  # begins a specification's number in the column `drawing`
FOR_REFERENCE = "reference"  # in the column `limits`: a value recorded without limits
LONGEST = {
    "stage_name": 80, "title": 120, "method": 120, "drawing": 60, "drawing_revision": 12,
    "instruction": 400, "caution": 400, "variants": 120,
}  # fmt: skip

_WHOLE = re.compile(r"[0-9]{1,6}")
_LIMITS = frozenset({"nominal", "limits", "lower", "upper", "guard", "unit_of_measure", "decimals"})
COLUMNS_OF_KIND = {
    "measured": _LIMITS | {"readings", "mean", "temperature"},
    "attribute": frozenset(),
    "count": frozenset({"limits", "lower", "upper", "unit_of_measure"}),
    "record": frozenset({"form"}),
    "derived": _LIMITS | {"formula"},
}
KIND_COLUMNS = _LIMITS | {"readings", "mean", "temperature", "formula", "form"}
_NUMBERS = ("nominal", "lower", "upper", "guard")
# The column in which a kind's field stands; all others have the field's own name.
_COLUMN_OF_FIELD = {
    "notation": "limits",
    "natural": "limits",
    "reference": "limits",
    "accept": "upper",
    "at_least": "lower",
    "counted": "unit_of_measure",
    "pattern": "form",
}
_UNIT_SPELLINGS = {"Nm": "N·m", "N*m": "N·m", "deg": "°", "um": "µm", "μm": "µm"}
_USUAL_UNITS = frozenset({"", "mm", "µm", "m", "in", "°", "N·m", "kPa", "Pa", "bar", "kg", "s", "min", "h", "°C", "%"})
_COUNT_LIMIT = re.compile(r"(max|min) ([0-9]{1,7})")


@dataclass(frozen=True)
class PlanDocument:
    """A drawing or specification with its revision."""

    kind: str
    number: str
    revision: str


@dataclass(frozen=True)
class PlanStage:
    """A stage as its first row describes it."""

    number: int
    name: str
    hold_point: bool
    witness_point: bool


@dataclass(frozen=True)
class PlanCheckpoint:
    """One checkpoint as the file describes it."""

    row: Row
    stage_number: int
    number: int
    key: str
    title: str
    kind: str
    spec: Spec
    criticality: str
    method: str
    setup: str
    gauge_kinds: tuple[str, ...]
    frequency: str
    second_inspection: bool
    photo: bool
    joint: str
    document: PlanDocument | None
    instruction: str
    caution: str
    paired_with: str
    variants: str
    after_weld_hours: int | None

    @property
    def specified(self) -> str:
        """The specification as it is stored."""
        return canonical(self.spec.to_json())


class RowReader:
    """Reads the cells of one row; what is wrong goes into `findings` and reading goes on."""

    def __init__(self, row: Row, gauge_kinds: Collection[str]) -> None:
        self.row = row
        self.known_gauge_kinds = gauge_kinds
        self.findings: list[PlanFinding] = []

    def add(self, column: str, code: str, message: str) -> None:
        """Note one finding about a cell of this row."""
        letter = self.row.letters.get(column, "")
        cell = f"{letter}{self.row.line}" if letter else ""
        self.findings.append(PlanFinding(self.row.line, column, code, message, cell))

    def text(self, column: str, *, needed: bool = False) -> str:
        """The cell's text; `cell_missing` or `cell_too_long` when it is not as it has to be."""
        text = self.row.cells[column]
        if needed and not text:
            self.add(column, "cell_missing", f"{column} is empty; fill it in.")
        longest = LONGEST.get(column, 500)
        if len(text) > longest:
            self.add(column, "cell_too_long", f"{column} is longer than {longest} characters; shorten it.")
        return text

    def whole(self, column: str) -> int:
        """The whole number above zero in a cell that must hold one; 0 with `number_unreadable`."""
        text = self.row.cells[column]
        if _WHOLE.fullmatch(text) and int(text) > 0:
            return int(text)
        self.add(column, "number_unreadable", f"{column} “{shown(text)}” is no whole number above zero; write one.")
        return 0

    def choice(self, column: str, choices: Collection[str]) -> str:
        """One of the words, capitals and spaces aside; empty with `word_unknown`."""
        word = self.row.cells[column].lower().replace(" ", "_")
        if word in choices:
            return word
        # A plan file is English in every language: quoted whole, its words are found in no catalogue.
        known = ", ".join(f"“{choice.replace('_', ' ')}”" if choice else "nothing" for choice in choices)
        written = f"“{shown(self.row.cells[column])}”"
        self.add(column, "word_unknown", f"{column} {written} is not known; write {known}.")
        return ""

    def yes(self, column: str) -> bool:
        """True for yes; False for no and an empty cell; `word_unknown` for anything else."""
        word = self.row.cells[column].lower()
        if word not in ("yes", "no", ""):
            self.add(column, "word_unknown", f"{column} is yes or no, not “{shown(word)}”.")
        return word == "yes"


def read_row(row: Row, gauge_kinds: Collection[str]) -> tuple[PlanCheckpoint | None, list[PlanFinding]]:
    """The checkpoint of a row, or None beside its findings. The stage's own columns are read by `plan_rules`.

    Codes besides those of RowReader and of the kinds' specifications: `key_unreadable`,
    `column_not_for_kind`, `gauge_kind_unknown`, `frequency_not_understood`, `critical_sampled`,
    `condition_not_understood`, `joint_unreadable`, `unit_unknown`, `document_without_revision`,
    `document_without_number`.
    """
    reader = RowReader(row, gauge_kinds)
    kind = reader.choice("kind", tuple(KINDS))
    criticality = reader.choice("criticality", CRITICALITIES)
    values: dict[str, Any] = {
        "stage_number": reader.whole("stage_number"),
        "number": reader.whole("number"),
        "key": _key(reader),
        "title": reader.text("title", needed=True),
        "method": reader.text("method"),
        "setup": reader.choice("setup", SETUPS),
        "gauge_kinds": _gauge_kinds(reader),
        "frequency": _frequency(reader, criticality),
        "second_inspection": reader.yes("second_inspection"),
        "photo": reader.yes("photo"),
        "joint": _joint(reader),
        "document": _document(reader),
        "instruction": reader.text("instruction"),
        "caution": reader.text("caution"),
        "paired_with": reader.text("paired_with"),
        "variants": _variants(reader),
        "after_weld_hours": _optional_whole(reader, "after_weld_hours"),
    }
    spec = _spec(reader, kind) if kind else None
    if reader.findings or spec is None:
        return None, reader.findings
    return PlanCheckpoint(row=row, kind=kind, spec=spec, criticality=criticality, **values), []


def _key(reader: RowReader) -> str:
    key = reader.row.cells["key"]
    if not formulas.KEY.fullmatch(key) or key in formulas.FUNCTIONS:
        message = f"“{shown(key)}” is no key; use small letters, digits and _, beginning with a letter: head_angle."
        reader.add("key", "key_unreadable", message)
    return key


def _gauge_kinds(reader: RowReader) -> tuple[str, ...]:
    keys = [part.strip() for part in reader.row.cells["gauge_kinds"].split(";")]
    keys = list(dict.fromkeys(key for key in keys if key))
    for key in keys:
        if key not in reader.known_gauge_kinds:
            near = difflib.get_close_matches(key, list(reader.known_gauge_kinds), n=1)
            hint = f"did you mean {near[0]}?" if near else "add the kind under Gauges first."
            reader.add("gauge_kinds", "gauge_kind_unknown", f"There is no kind of gauge “{shown(key)}”; {hint}")
    return tuple(keys)


def _frequency(reader: RowReader, criticality: str) -> str:
    try:
        frequency = str(parse_frequency(reader.row.cells["frequency"] or "every"))
    except Invalid as refusal:
        reader.add("frequency", refusal.code, refusal.message)
        return ""
    if criticality == "critical" and frequency != "every":
        reader.add("frequency", "critical_sampled", "A critical checkpoint is done on every unit; write every.")
    return frequency


def _variants(reader: RowReader) -> str:
    try:
        return read_condition(reader.text("variants"))
    except Invalid as refusal:
        reader.add("variants", refusal.code, refusal.message)
        return ""


def _joint(reader: RowReader) -> str:
    joint = reader.row.cells["joint"]
    if joint and not JOINT.fullmatch(joint):
        reader.add("joint", "joint_unreadable", f"“{shown(joint)}” is no joint; write it as W1 or W24.")
    return joint


def _document(reader: RowReader) -> PlanDocument | None:
    written, revision = reader.text("drawing"), reader.text("drawing_revision")
    number = written.removeprefix(SPECIFICATION).strip()
    if number and not revision:
        reader.add("drawing_revision", "document_without_revision", f"{shown(number)} has no revision; write it.")
    if revision and not number:
        reader.add("drawing", "document_without_number", "The revision stands without a drawing's number; write it.")
    kind = "specification" if written.startswith(SPECIFICATION) else "drawing"
    return PlanDocument(kind, number, revision) if number and revision else None


# ------------------------------------------------------------------------------------------ what is specified


def _spec(reader: RowReader, kind: str) -> Spec | None:
    """What the kind specifies, from the columns it uses; None with findings."""
    before = len(reader.findings)
    for column in sorted(KIND_COLUMNS - COLUMNS_OF_KIND[kind]):
        ignored = kind == "attribute" and column == "limits" and reader.row.cells[column] == "conforms"
        if reader.row.cells[column] and not ignored:
            message = f"{column} means nothing for the kind {kind}; leave the cell empty."
            reader.add(column, "column_not_for_kind", message)
    data = {"count": _count_data, "record": _record_data, "attribute": _no_data}.get(kind, _limits_data)(reader, kind)
    if len(reader.findings) > before:
        return None
    try:
        return KINDS[kind].read_spec(data)
    except Invalid as refusal:
        name = str(refusal.details.get("field", "limits"))
        reader.add(_COLUMN_OF_FIELD.get(name, name), refusal.code, _for_columns(refusal.message))
        return None


def _for_columns(message: str) -> str:
    """A specification's sentence with the file's own names of columns."""
    for name, column in _COLUMN_OF_FIELD.items():
        message = message.replace(f"“{name}”", f"“{column}”")
    return message


def _limits_data(reader: RowReader, kind: str) -> dict[str, object]:
    cells = reader.row.cells
    unit_of_measure = _unit_of_measure(reader)
    data: dict[str, object] = {"unit_of_measure": unit_of_measure}
    for column in _NUMBERS:
        _check_number(reader, column, unit_of_measure)
        data[column] = cells[column]
    if cells["limits"] == FOR_REFERENCE:
        data["reference"] = True
    else:
        data["notation"] = cells["limits"]
    for column in ("decimals", "readings") if kind == "measured" else ("decimals",):
        data[column] = _optional_whole(reader, column)
    if kind == "derived":
        data["formula"] = cells["formula"]
    if kind == "measured":
        data["temperature"] = cells["temperature"]
        data["mean"] = reader.yes("mean")
    return data


def _check_number(reader: RowReader, column: str, unit_of_measure: str) -> None:
    if text := reader.row.cells[column]:
        try:
            parse_value(text, units=(unit_of_measure,) if unit_of_measure else ())
        except Invalid as refusal:
            reader.add(column, refusal.code, refusal.message)


def _optional_whole(reader: RowReader, column: str) -> int | None:
    text = reader.row.cells[column]
    if text and not _WHOLE.fullmatch(text):
        reader.add(column, "number_unreadable", f"{column} “{shown(text)}” is no whole number; write one.")
        return None
    return int(text) if text else None


def _unit_of_measure(reader: RowReader) -> str:
    written = reader.row.cells["unit_of_measure"]
    unit = _UNIT_SPELLINGS.get(written, written)
    if unit in _USUAL_UNITS:
        return unit
    try:
        convert(parse_value("1"), unit, "m")
    except Invalid as refusal:
        if refusal.code == "unit_unknown":
            reader.add("unit_of_measure", "unit_unknown", refusal.message)
    return unit


def _count_data(reader: RowReader, kind: str) -> dict[str, object]:
    cells = reader.row.cells
    data: dict[str, object] = {"counted": cells["unit_of_measure"]}
    for column, name in (("lower", "at_least"), ("upper", "accept")):
        data[name] = _optional_whole(reader, column)
    match = _COUNT_LIMIT.fullmatch(cells["limits"])
    if cells["limits"] and not match:
        reader.add("limits", "count_limit_unreadable", "A count is limited by max or min and a number: max 2.")
    elif match:
        name = "accept" if match[1] == "max" else "at_least"
        if data[name] not in (None, int(match[2])):
            reader.add("limits", "limits_disagree", f"“{match[0]}” and the limit beside it differ; leave one out.")
        data[name] = int(match[2])
    return data


def _record_data(reader: RowReader, kind: str) -> dict[str, object]:
    form, _, pattern = reader.row.cells["form"].partition(" ")
    return {"form": form, "pattern": pattern.strip()}


def _no_data(reader: RowReader, kind: str) -> dict[str, object]:
    return {}
