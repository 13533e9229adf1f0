"""A plan file's bytes into rows of text cells, with the line and column of everything that cannot be read.

Nothing here knows what a checkpoint is; `plan_rows` does. Lines are counted from 1 as a text editor shows
them.
"""

from __future__ import annotations

import csv
import io
import unicodedata
from collections.abc import Iterator

from qcapp.lib.plain_text import shown

from .plan_findings import PlanFinding, PlanTable, Row, letter_of
from .workbook import read_workbook

__all__ = [
    "COLUMNS",
    "MAX_BYTES",
    "MAX_ROWS",
    "PlanFinding",
    "PlanTable",
    "Row",
    "cell_problem",
    "letter_of",
    "read_table",
]

COLUMNS = (
    "stage_number", "stage_name", "hold_point", "witness_point", "number", "key", "title", "kind", "nominal",
    "limits", "lower", "upper", "guard", "unit_of_measure", "decimals", "readings", "mean", "temperature", "formula",
    "form", "criticality", "method", "setup", "gauge_kinds", "frequency", "second_inspection", "photo", "joint",
    "drawing", "drawing_revision", "instruction", "caution", "paired_with", "variants", "after_weld_hours",
)  # fmt: skip
NEEDED_COLUMNS = ("stage_number", "stage_name", "number", "key", "title", "kind", "criticality")
FREE_TEXT = frozenset({"stage_name", "title", "method", "instruction", "caution"})
MAX_BYTES = 5 * 1024 * 1024
MAX_ROWS = 2000
MAX_CELL = 2000

_WORKBOOK = b"PK\x03\x04"
_SPREADSHEETS = (b"\xd0\xcf\x11\xe0",)  # an old binary workbook
_BYTE_ORDER_MARKS = ((b"\xef\xbb\xbf", "utf-8"), (b"\xff\xfe", "utf-16-le"), (b"\xfe\xff", "utf-16-be"))
_HIDDEN = frozenset({"Cc", "Cf", "Cs", "Zl", "Zp"})


def read_table(source: str | bytes) -> PlanTable:
    """The rows of a plan file, never raises: a workbook, or UTF-8 or UTF-16 with comma, semicolon or tab between cells.

    Codes: `file_too_large`, `file_is_spreadsheet`, `encoding_unknown`, `nul_character`, `file_empty`,
    `file_unreadable`, `column_unknown`, `column_twice`, `column_missing`, `too_many_rows`, `cells_too_many`,
    `cells_too_few`, `cell_is_formula`, `cell_not_plain`, `cell_too_long`, and those of `workbook`.
    """
    table = PlanTable()
    if isinstance(source, bytes) and source.startswith(_WORKBOOK):
        read_records(read_workbook(source, table), table)
    elif (text := _decoded(source, table)) is not None:
        read_records(_records(text, table), table)
    if not table.rows and not table.findings:
        table.add(1, "", "file_empty", "The file holds no checkpoint; export a plan to see how one looks.")
    return table


def _decoded(source: str | bytes, table: PlanTable) -> str | None:
    """The file's text, or None with a finding."""
    if len(source) > MAX_BYTES:
        limit = MAX_BYTES // (1024 * 1024)
        table.add(1, "", "file_too_large", f"The file is larger than {limit} MB; a plan is much smaller.")
        return None
    text = source.removeprefix("\ufeff") if isinstance(source, str) else _from_bytes(source, table)
    if text is not None and "\0" in text:
        line = text.count("\n", 0, text.index("\0")) + 1
        table.add(line, "", "nul_character", "The file holds a NUL character; save it again as plain CSV.")
        return None
    return text


def _from_bytes(data: bytes, table: PlanTable) -> str | None:
    if data.startswith(_SPREADSHEETS):
        message = "This is an old spreadsheet; save it as XLSX or “CSV UTF-8” and import that."
        table.add(1, "", "file_is_spreadsheet", message)
        return None
    mark, encoding = next((pair for pair in _BYTE_ORDER_MARKS if data.startswith(pair[0])), (b"", _guess(data)))
    try:
        return data[len(mark) :].decode(encoding)
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        message = "The file is neither UTF-8 nor UTF-16 from here on; save it as “CSV UTF-8”."
        table.add(line, "", "encoding_unknown", message)
        return None


def _guess(data: bytes) -> str:
    """Plan files begin with plain letters, so that a NUL beside the first one tells UTF-16 without a mark."""
    return {b"\0": "utf-16-be"}.get(data[:1], "utf-16-le" if data[1:2] == b"\0" else "utf-8")


def read_records(records: Iterator[tuple[int, list[str]]], table: PlanTable) -> None:
    """Put the records into the table; the first one names the columns."""
    header = next(records, None)
    if header is None:
        return
    columns = _columns(header, table)
    if columns is None:
        return
    letters = {name: letter_of(index) for index, name in enumerate(columns)}
    for line, cells in records:
        if len(table.rows) == MAX_ROWS:
            table.add(line, "", "too_many_rows", f"A plan has at most {MAX_ROWS} checkpoints; split the file.")
            return
        if _has_right_length(line, cells, columns, table):
            row = Row(line, dict.fromkeys(COLUMNS, "") | dict(zip(columns, cells, strict=True)), letters)
            _check_cells(row, table)
            table.rows.append(row)


def _records(text: str, table: PlanTable) -> Iterator[tuple[int, list[str]]]:
    """Each record with the line it begins on; comments and empty lines are left out."""
    lines = ("\n" if line.startswith("#") else line for line in io.StringIO(text, newline=""))
    reader = csv.reader(lines, delimiter=_separator(text), strict=True)
    line = 1
    try:
        for record in reader:
            begins, line = line, reader.line_num + 1
            cells = [cell.strip() for cell in record]
            if any(cells) and not cells[0].startswith("#"):
                yield begins, cells
    except csv.Error as error:
        message = f"The file cannot be read from this line on ({error}); check its quotation marks."
        table.add(line, "", "file_unreadable", message)


def _separator(text: str) -> str:
    """Comma, semicolon or tab, whichever the first line that is no comment has most of."""
    first = next((line for line in text.splitlines() if line.strip() and not line.lstrip().startswith("#")), "")
    return max(",;\t", key=first.count)


def _columns(header: tuple[int, list[str]], table: PlanTable) -> list[str] | None:
    """The names of the columns, or None with findings when the rows could not be understood by them."""
    line, cells = header
    while cells and not cells[-1]:
        cells.pop()
    before = len(table.findings)
    for index, name in enumerate(cells):
        cell = f"{letter_of(index)}{line}"
        if name not in COLUMNS:
            message = f"There is no column “{shown(name)}”; columns are {', '.join(COLUMNS)}."
            table.add(line, shown(name), "column_unknown", message, cell)
        elif name in cells[:index]:
            table.add(line, name, "column_twice", f"The column {name} is there twice; leave one out.", cell)
    for name in NEEDED_COLUMNS:
        if name not in cells:
            table.add(line, name, "column_missing", f"The column {name} is missing; add it.")
    return None if len(table.findings) > before else cells


def _has_right_length(line: int, cells: list[str], columns: list[str], table: PlanTable) -> bool:
    while len(cells) > len(columns) and not cells[-1]:
        cells.pop()
    if len(cells) > len(columns):
        message = f"{len(cells)} cells stand under {len(columns)} columns; put texts with a separator in quotes."
        table.add(line, "", "cells_too_many", message)
    elif len(cells) < len(columns):
        message = f"{len(cells)} cells stand under {len(columns)} columns; fill up the line."
        table.add(line, "", "cells_too_few", message)
    return len(cells) == len(columns)


def _check_cells(row: Row, table: PlanTable) -> None:
    for column, text in row.cells.items():
        if problem := cell_problem(column, text):
            table.add(row.line, column, *problem, f"{row.letters[column]}{row.line}")


def cell_problem(column: str, text: str) -> tuple[str, str] | None:
    """Code and sentence when a cell may not hold this text at all, whatever it means.

    Codes: `cell_is_formula`, `cell_too_long`, `cell_not_plain`.
    """
    if not text:
        return None
    if text[0] in "=@" or (column in FREE_TEXT and text[0] in "+-"):
        return "cell_is_formula", "The cell begins like a spreadsheet's formula; write its value or plain text."
    if len(text) > MAX_CELL:
        return "cell_too_long", f"The cell is longer than {MAX_CELL} characters; shorten it."
    if (not text.isascii() or not text.isprintable()) and any(unicodedata.category(c) in _HIDDEN for c in text):
        message = "The cell holds a line break or a character that cannot be seen; type it again."
        return "cell_not_plain", message
    return None
