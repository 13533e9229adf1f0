"""A draft as its page shows it: rows of cells, each with what is typed into it and what is shown in it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from qcapp.core import formulas
from qcapp.core.errors import Invalid

from .cards import CheckpointCard, PreReleaseFinding
from .draft_rows import DraftRow, ReadPaper
from .gauge_fit import Fit
from .plan_file import PlanFinding
from .plan_rows import COLUMNS_OF_KIND, KIND_COLUMNS
from .review_list import ADVICE, REFUSED, WARNING


@dataclass(frozen=True)
class Column:
    """A column of the table; `label` stands in its head, `choices` names the list that helps typing."""

    name: str
    label: str
    choices: str = ""
    css: str = ""


NUMBER = Column("number", "No.")
TITLE = Column("title", "Checkpoint", css="title")
KIND = Column("kind", "Kind", "kinds", "quiet")
NOMINAL = Column("nominal", "Nominal", css="number")
LIMITS = Column("limits", "Limits", "notations", "strong nowrap")
LOWER = Column("lower", "Lower", css="number quiet")
UPPER = Column("upper", "Upper", css="number quiet")
UNIT = Column("unit_of_measure", "Unit", "units")
GAUGE = Column("gauge_kinds", "Gauge", "gauge-kinds", "gauge")
CRITICALITY = Column("criticality", "Criticality", "criticalities")
FREQUENCY = Column("frequency", "When", "frequencies", "nowrap")
SECOND = Column("second_inspection", "2nd", "yes-no")
DETAILS = (
    Column("key", "Key", css="detail"),
    Column("formula", "Formula", css="detail"),
    Column("form", "Form", "forms", "detail"),
    Column("decimals", "Decimals", css="detail"),
    Column("readings", "Readings", css="detail"),
    Column("mean", "Mean counts", "yes-no", "detail"),
    Column("temperature", "Part temperature", "temperatures", "detail"),
    Column("guard", "Guard zone", css="detail"),
    Column("method", "Method", css="detail"),
    Column("setup", "Set-up", "setups", "detail"),
    Column("photo", "Photo", "yes-no", "detail"),
    Column("joint", "Joint", css="detail"),
    Column("variants", "Variants", css="detail"),
    Column("after_weld_hours", "Hours after weld", css="detail"),
    Column("drawing", "Drawing", css="detail"),
    Column("drawing_revision", "Its revision", css="detail"),
    Column("paired_with", "Paired with", "keys", "detail"),
    Column("instruction", "Instruction", css="detail"),
    Column("caution", "Caution", css="detail"),
    Column("stage_number", "Stage", "stages", "detail"),
)
MAIN = (NUMBER, TITLE, KIND, NOMINAL, LIMITS, LOWER, UPPER, UNIT, GAUGE, CRITICALITY, FREQUENCY, SECOND)
ALL = (*MAIN, *DETAILS)
SETS: Mapping[str, tuple[Column, ...]] = {"main": MAIN, "all": ALL}


@dataclass(frozen=True)
class Cell:
    """One cell. `text` is what is edited, `shown` what stands there; `problem` the sentence when it is not right."""

    column: str
    label: str
    text: str
    shown: str
    css: str = ""
    choices: str = ""
    problem: str = ""
    editable: bool = True
    severity: str = ""  # of the problem: "refused", "warning" or "advice"


@dataclass(frozen=True)
class RowView:
    """One checkpoint of the draft."""

    id: int
    number: str
    title: str
    stage: str
    cells: tuple[Cell, ...]
    ratio: str = ""
    ratio_small: bool = False
    unfinished: bool = False
    severity: str = ""  # the gravest of its findings

    @property
    def ratio_short(self) -> str:
        """The ratio without its blanks, for the table's last column."""
        return self.ratio.replace(" ", "")


@dataclass(frozen=True)
class ToLookAt:
    """A finding that leads to its cell; `wrong` ones keep the draft from review."""

    row: int
    column: str
    number: str
    sentence: str
    wrong: bool
    stage: str
    severity: str = ""  # "warning" or "advice" for what does not keep the draft from review


class DraftTable:
    """Makes rows of a read draft; `cards` are those of its rows that can be read."""

    def __init__(
        self,
        read: ReadPaper,
        cards: Sequence[CheckpointCard],
        fits: Mapping[str, Fit],
        advice: Iterable[PreReleaseFinding],
    ) -> None:
        self.read = read
        self.fits = fits
        self.cards = {card.key: card for card in cards if card.key}
        self.numbers = {row.key: row.number for row in read.paper.rows}
        self.advice: dict[str, list[PreReleaseFinding]] = {}
        for finding in advice:
            self.advice.setdefault(finding.key, []).append(finding)

    def card(self, row: DraftRow) -> CheckpointCard | None:
        """What the row means; None while it cannot be read."""
        return self.cards.get(row.key) if row.id in self.read.by_id else None

    def rows(self, stage: str, columns: Sequence[Column] = MAIN) -> list[RowView]:
        """The rows of one stage, or of all for an empty one."""
        return [self.row(row, columns) for row in self.read.paper.rows if not stage or row.stage == stage]

    def row(self, row: DraftRow, columns: Sequence[Column] = MAIN) -> RowView:
        """One row."""
        card = self.card(row)
        problems = self._problems(row)
        fit = self.fits.get(row.key) if card else None
        return RowView(
            id=row.id,
            number=row.number,
            title=row.cells["title"],
            stage=row.stage,
            cells=tuple(self._cell(row, card, column, problems) for column in columns),
            ratio=fit.text if fit else "",
            ratio_small=bool(fit and not fit.enough),
            unfinished=bool(problems),
            severity=self._gravest(row, problems),
        )

    def details(self, row: DraftRow) -> list[Cell]:
        """The fields that the table leaves out, as far as they mean something for the row's kind."""
        unused = _unused(row.cells["kind"])
        card, problems = self.card(row), self._problems(row)
        return [self._cell(row, card, column, problems) for column in DETAILS if column.name not in unused]

    def _gravest(self, row: DraftRow, problems: Mapping[str, PlanFinding]) -> str:
        found = {one.severity for one in self.advice.get(row.key, ())} | ({REFUSED} if problems else set())
        return next((severity for severity in (REFUSED, WARNING, ADVICE) if severity in found), "")

    def _problems(self, row: DraftRow) -> dict[str, PlanFinding]:
        return {finding.column: finding for finding in self.read.findings.get(row.id, ())}

    def _cell(
        self, row: DraftRow, card: CheckpointCard | None, column: Column, problems: Mapping[str, PlanFinding]
    ) -> Cell:
        name = _stored_in(row, column.name)
        text = row.cells[name]
        problem = problems.get(name)
        advice = [one for one in self.advice.get(row.key, ()) if one.column == name]
        advice.sort(key=lambda one: one.severity != WARNING)
        return Cell(
            column=name,
            label=column.label,
            text=text,
            shown=self._shown(row, card, column.name, text),
            css=column.css,
            choices=_choices(column, name),
            problem=problem.message if problem else " ".join(_without_number(one, row) for one in advice),
            severity=REFUSED if problem else next((one.severity for one in advice), ""),
            editable=not (name in _unused(row.cells["kind"]) and not text),
        )

    def _shown(self, row: DraftRow, card: CheckpointCard | None, column: str, text: str) -> str:
        kind = row.cells["kind"]
        if column == "limits" and kind in ("attribute", "record", "count") and card:
            return card.limits_text
        if column == "limits" and kind in ("measured", "derived") and card and not text:
            return "as numbers"
        if column in ("nominal", "lower", "upper") and card and kind in ("measured", "derived"):
            return {"nominal": card.nominal_text, "lower": card.lower_text, "upper": card.upper_text}[column]
        if column == "gauge_kinds" and kind == "derived":
            return self._inputs(row)
        if column in ("gauge_kinds", "setup"):
            return text.replace(";", ", ").replace("_", " ")
        return text

    def _inputs(self, row: DraftRow) -> str:
        try:
            keys = formulas.references(row.cells["formula"])
        except Invalid:
            return row.cells["formula"]
        return "from " + ", ".join(self.numbers.get(key, key) for key in keys) if keys else row.cells["formula"]

    def to_look_at(self) -> list[ToLookAt]:
        """What is wrong first, then warnings, then advice, each in the order of the plan."""
        by_key = {row.key: row for row in self.read.paper.rows}
        places = {row.id: row for row in self.read.paper.rows}
        wrong = [
            ToLookAt(row.id, finding.column, row.number, finding.message, True, row.stage)
            for row in self.read.paper.rows
            for finding in self.read.findings.get(row.id, ())
        ]
        advice = [
            ToLookAt(row.id, found.column, row.number, _without_number(found, row), False, row.stage, found.severity)
            for key, findings in self.advice.items()
            if (row := by_key.get(key)) and row.id in places
            for found in findings
        ]
        return wrong + sorted(advice, key=lambda one: one.severity != "warning")


def stage_list(read: ReadPaper) -> list[tuple[DraftRow, int, int]]:
    """The first row of each stage with how many checkpoints it has and in how many something is wrong."""
    counts = Counter(row.stage for row in read.paper.rows)
    wrong = Counter(row.stage for row in read.paper.rows if row.id in read.findings)
    return [(first, counts[first.stage], wrong[first.stage]) for first in read.paper.stages()]


def _without_number(found: PreReleaseFinding, row: DraftRow) -> str:
    return found.message.removeprefix(f"{found.number} ").removeprefix(f"{row.cells['title']} ")


def _unused(kind: str) -> frozenset[str]:
    used = COLUMNS_OF_KIND.get(kind)
    return frozenset() if used is None else KIND_COLUMNS - used


def _stored_in(row: DraftRow, column: str) -> str:
    """The cell that a column of the table edits: a record's limits are its form, a derived one's gauge its formula."""
    kind = row.cells["kind"]
    if column == "limits" and kind == "record":
        return "form"
    return "formula" if column == "gauge_kinds" and kind == "derived" else column


def _choices(column: Column, stored: str) -> str:
    return column.choices if stored == column.name else {"form": "forms"}.get(stored, "")
