"""Tables that leave the house: CSV and XLSX (ISO/IEC 29500) in which nothing that a person typed is computed.

A spreadsheet takes a text that begins with = + - or @, or with a tab or a carriage return, for a formula. In CSV such a
text gets an apostrophe before it; in XLSX its cell is marked as text and stays as it is. Numbers stay numbers.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Sequence
from datetime import date, datetime
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

from django.conf import settings

Cell = str | int | float | Decimal | date | datetime | None
XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
CSV = "text/csv; charset=utf-8"
_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")
_NUMBER = re.compile(r"[+-]?\d+(\.\d+)?")


def as_csv(head: Sequence[str], rows: Iterable[Sequence[Cell]]) -> bytes:
    """RFC 4180 with a byte order mark, by which spreadsheets know UTF-8."""
    text = io.StringIO()
    writer = csv.writer(text)
    writer.writerow(head)
    writer.writerows([harmless(plain(cell)) for cell in row] for row in rows)
    return text.getvalue().encode("utf-8-sig")


def as_xlsx(
    title: str, head: Sequence[str], rows: Iterable[Sequence[Cell]], about: Sequence[tuple[str, Cell]] = ()
) -> bytes:
    """A workbook with one sheet, its head bold and frozen; `about` makes a second sheet that says what the first is."""
    from openpyxl import Workbook
    from openpyxl.cell import WriteOnlyCell
    from openpyxl.styles import Font

    workbook = Workbook(write_only=True)
    sheet: Any = workbook.create_sheet(title[:31])
    sheet.freeze_panes = "A2"
    names = [WriteOnlyCell(sheet, value=name) for name in head]
    for cell in names:
        cell.font = Font(bold=True)
    sheet.append(names)
    for row in rows:
        sheet.append([_cell(WriteOnlyCell(sheet), value) for value in row])
    if about:
        notes: Any = workbook.create_sheet("About")
        for line in about:
            notes.append([_cell(WriteOnlyCell(notes), value) for value in line])
    target = io.BytesIO()
    workbook.save(target)
    return target.getvalue()


def _cell(cell: Any, value: Cell) -> Any:
    if isinstance(value, int | float | Decimal):
        cell.value = value
    elif value not in (None, ""):
        cell.value, cell.data_type = _visible(plain(value)), "s"  # also where it begins like a formula
    return cell


def _visible(text: str) -> str:
    """Without the control characters that a sheet's XML cannot hold."""
    return "".join(c for c in text if c >= " " or c in "\t\n")


def plain(value: Cell) -> str:
    """A cell as text: times in the site's zone with their offset."""
    if value is None:
        return ""
    if isinstance(value, datetime):
        return value.astimezone(ZoneInfo(settings.QCAPP_SITE_ZONE)).isoformat(timespec="minutes")
    return format(value, "f") if isinstance(value, Decimal) else str(value)


def harmless(text: str) -> str:
    """The text with an apostrophe before what a spreadsheet would compute; plain numbers are left alone."""
    return f"'{text}" if text.startswith(_FORMULA) and not _NUMBER.fullmatch(text) else text
