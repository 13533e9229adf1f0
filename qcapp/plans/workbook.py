"""A plan as a workbook (XLSX, ISO/IEC 29500): read within bounds, written so that nothing in it is computed.

A cell's formula is taken as the value that the spreadsheet kept beside it.
"""

from __future__ import annotations

import io
import re
import warnings
import zipfile
from collections.abc import Iterator, Mapping, Sequence
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from .plan_findings import PlanTable, letter_of

MAX_UNPACKED = 24 * 1024 * 1024  # a plan of 2,000 checkpoints unpacks to about 4 MB
MAX_PARTS = 200
MAX_SHEET_ROWS = 2200
MAX_SHEET_COLUMNS = 60
SHEET = "Plan"
_NOTE = "# {name}. Formulas are taken as their values. Lines that begin with # are not read."

_MERGED = re.compile(rb"<(?:\w+:)?mergeCell [^>]*ref=\"([A-Z]{1,3})([0-9]{1,7}):")
_DECIMALS = re.compile(r"(?:#,##)?0(?:\.(0+))?(?:_.*)?")


def read_workbook(data: bytes, table: PlanTable) -> Iterator[tuple[int, list[str]]]:
    """The records of the sheet “Plan”, or of the first one, each with its row; comments and empty rows are left out.

    Findings go into `table`: `workbook_unreadable`, `workbook_too_large`, `cells_merged`,
    `formula_without_value`. Formulas that were taken as their values are counted in `table.formulas`.
    """
    refusal = _refusal(data)
    if refusal:
        table.add(1, "", *refusal)
        return
    try:
        records = list(_sheet(data, table))
    except Exception:  # a broken workbook breaks its reader in many ways
        table.add(1, "", "workbook_unreadable", "The workbook cannot be read; save it again as XLSX or as CSV UTF-8.")
        return
    if not table.findings:
        yield from records


def _refusal(data: bytes) -> tuple[str, str] | None:
    """What keeps the archive from being unpacked at all."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            parts = archive.infolist()
    except (zipfile.BadZipFile, ValueError, RuntimeError):  # RuntimeError: a way of packing that is not known here
        return "workbook_unreadable", "The workbook cannot be read; save it again as XLSX or as CSV UTF-8."
    # An archive's reader gives no more bytes of a part than its directory states, so the sum is a bound.
    if len(parts) > MAX_PARTS or sum(part.file_size for part in parts) > MAX_UNPACKED:
        return "workbook_too_large", "The workbook unpacks to far more than a plan holds; save its sheet as CSV UTF-8."
    if not any(part.filename == "xl/workbook.xml" for part in parts):
        return "workbook_unreadable", "This archive is no workbook; save the sheet as XLSX or as CSV UTF-8."
    return None


def _sheet(data: bytes, table: PlanTable) -> Iterator[tuple[int, list[str]]]:
    from openpyxl import load_workbook

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # styles and extensions that it leaves out
        kept = {"read_only": True, "keep_links": False}
        values = load_workbook(io.BytesIO(data), data_only=True, **kept)
        formulas = load_workbook(io.BytesIO(data), data_only=False, **kept)
        name = SHEET if SHEET in values.sheetnames else values.sheetnames[0]
        _find_merged(data, values[name]._worksheet_path, table)
        yield from _records(values[name], formulas[name], table)


def _find_merged(data: bytes, path: str, table: PlanTable) -> None:
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        text = archive.read(path.lstrip("/"))
    for letters, line in _MERGED.findall(text)[:50]:
        cell = f"{letters.decode()}{line.decode()}"
        table.add(int(line), "", "cells_merged", "Cells are merged here; split them and fill each one.", cell)


def _records(values: Any, formulas: Any, table: PlanTable) -> Iterator[tuple[int, list[str]]]:
    bounds = {"max_row": MAX_SHEET_ROWS + 1, "max_col": MAX_SHEET_COLUMNS}
    header: list[str] = []
    pairs = zip(values.iter_rows(**bounds), formulas.iter_rows(**bounds), strict=False)
    for line, (row, written) in enumerate(pairs, start=1):
        if line > MAX_SHEET_ROWS:
            table.add(line, "", "workbook_too_large", f"The sheet has more than {MAX_SHEET_ROWS} rows; shorten it.")
            return
        cells = [as_cell(cell.value, getattr(cell, "number_format", "")) for cell in row]
        while cells and not cells[-1]:
            cells.pop()
        if not any(cells) or cells[0].startswith("#"):
            continue
        header = header or cells
        _count_formulas(line, cells, written, header, table)
        yield line, cells + [""] * (len(header) - len(cells))


def _count_formulas(line: int, cells: list[str], written: Sequence[Any], header: list[str], table: PlanTable) -> None:
    for index, cell in enumerate(written):
        if getattr(cell, "data_type", "") != "f":
            continue
        table.formulas += 1
        if index >= len(cells) or not cells[index]:
            column = header[index] if index < len(header) else ""
            message = "The formula has no value kept beside it; open and save the workbook in a spreadsheet first."
            table.add(line, column, "formula_without_value", message, f"{letter_of(index)}{line}")


def as_cell(value: object, number_format: str = "") -> str:
    """A spreadsheet's value as the text of a cell: zeros that its number format shows are kept."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return _number(value, number_format)
    if isinstance(value, int):
        return _number(value, number_format) if abs(value) < 10**15 else str(value)
    if isinstance(value, datetime | date):
        return value.strftime("%Y-%m-%d")
    return " ".join(str(value).split())


def _number(value: float, number_format: str) -> str:
    plain = Decimal(repr(value)) if isinstance(value, float) else Decimal(value)
    if not plain.is_finite():
        return str(value)
    shown = _DECIMALS.fullmatch(number_format or "")
    exponent = plain.as_tuple().exponent
    places = len(shown[1] or "") if shown else 0
    if plain == plain.to_integral_value():
        plain = plain.to_integral_value()
        exponent = 0
    if isinstance(exponent, int) and places > -exponent:
        plain = plain.quantize(Decimal(1).scaleb(-places))
    return format(plain, "f")


def write_workbook(columns: Sequence[str], rows: Sequence[Mapping[str, object]], name: str) -> bytes:
    """The rows as a workbook with one sheet. Every cell is text, so that no spreadsheet computes or rounds it."""
    from openpyxl import Workbook
    from openpyxl.styles import Font

    workbook = Workbook()
    sheet = workbook.active
    assert sheet is not None  # noqa: S101 - a new workbook has one
    sheet.title = SHEET
    lines = [[_NOTE.format(name=name)], list(columns), *([str(row.get(c) or "") for c in columns] for row in rows)]
    for number, line in enumerate(lines, start=1):
        for index, text in enumerate(line, start=1):
            if text:
                cell = sheet.cell(row=number, column=index)
                cell.value, cell.data_type = text, "s"  # also where it begins like a formula
                cell.number_format = "@"
                cell.font = Font(bold=number == 2, italic=number == 1)
    for index, column in enumerate(columns, start=1):
        longest = max([len(column), *(len(str(row.get(column) or "")) for row in rows)])
        sheet.column_dimensions[letter_of(index - 1)].width = min(48, longest + 2)
    sheet.freeze_panes = "A3"
    target = io.BytesIO()
    workbook.save(target)
    return target.getvalue()
