"""Rows of a plan file and what is wrong with them: plain values that all its readers share."""

from __future__ import annotations

from dataclasses import asdict, dataclass, field


@dataclass(frozen=True, order=True)
class PlanFinding:
    """One thing that is wrong with a plan file.

    `column` is the column's name, `cell` as a spreadsheet names it.
    """

    line: int
    column: str
    code: str
    message: str
    cell: str = ""

    def to_json(self) -> dict[str, object]:
        """The finding as plain values."""
        return asdict(self)


@dataclass(frozen=True)
class Row:
    """One line of the file: its cells by column, absent columns as empty text.

    `place` says where it stands, when that is not a line: "checkpoint 501" of a draft.
    """

    line: int
    cells: dict[str, str]
    letters: dict[str, str]  # the spreadsheet's name of each column, "F"
    place: str = ""

    @property
    def where(self) -> str:
        return self.place or f"line {self.line}"


@dataclass
class PlanTable:
    """The rows that could be read and what was wrong with the others."""

    rows: list[Row] = field(default_factory=list)
    findings: list[PlanFinding] = field(default_factory=list)
    formulas: int = 0  # cells of a workbook whose formula was taken as its value

    def add(self, line: int, column: str, code: str, message: str, cell: str = "") -> None:
        """Note one finding."""
        self.findings.append(PlanFinding(line, column, code, message, cell))


def letter_of(index: int) -> str:
    """How a spreadsheet names the column at `index`, counted from 0: A, B … Z, AA."""
    quotient, remainder = divmod(index, 26)
    return (letter_of(quotient - 1) if quotient else "") + chr(ord("A") + remainder)
