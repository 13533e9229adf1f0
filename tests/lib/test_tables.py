"""Tables for spreadsheets: nothing typed is computed, everything comes back."""

from __future__ import annotations

import csv
import io
import re
from datetime import UTC, date, datetime
from decimal import Decimal
from pathlib import Path

import openpyxl
import pytest

from qcapp.lib.tables import as_csv, as_xlsx, harmless

# What spreadsheets take for a formula: OWASP, "CSV Injection" (from memory), and the full-width twins of the signs.
DANGEROUS = ["=1+1", "+1-1", "-2+3+cmd|' /C calc'!A0", "@SUM(A1)", "\t=1", "\r=1", "＝1+1"]


@pytest.mark.parametrize("text", DANGEROUS)
def test_disarms_what_begins_like_a_formula(text: str) -> None:
    assert harmless(text) == f"'{text}"
    (_, line) = csv.reader(io.StringIO(as_csv(["a"], [[text]]).decode("utf-8-sig"), newline=""))
    assert line == [f"'{text}"]


@pytest.mark.parametrize("text", ["-0.3", "+12", "62.40 °", "W7", "", "– none"])
def test_leaves_numbers_and_words_alone(text: str) -> None:
    assert harmless(text) == text


def test_writes_a_workbook_in_which_texts_are_texts_and_numbers_numbers() -> None:
    row = ["=1+1", 3, Decimal("2.50"), None, date(2026, 3, 17), datetime(2026, 3, 17, 9, 30, tzinfo=UTC), "a\x07b"]
    book = openpyxl.load_workbook(io.BytesIO(as_xlsx("A sheet", list("abcdefg"), [row])))
    cells = next(iter(book["A sheet"].iter_rows(min_row=2)))
    assert [cell.value for cell in cells] == [
        "=1+1", 3, 2.5, None, "2026-03-17", "2026-03-17T10:30+01:00", "ab",
    ]  # fmt: skip
    assert cells[0].data_type == "s"
    assert book["A sheet"].freeze_panes == "A2"


def test_writes_every_table_that_leaves_the_house() -> None:
    """Whoever writes CSV by hand takes `harmless` from here; the plan file refuses such cells where they are typed."""
    room = Path(__file__).resolve().parents[2] / "qcapp"
    writers = {
        file.relative_to(room).as_posix(): text
        for file in room.rglob("*.py")
        if re.search(r"csv\.(Dict)?[wW]riter\(", text := file.read_text(encoding="utf-8"))
    }
    others = {
        name for name, text in writers.items() if "harmless" not in text and not name.startswith("config/benchmarks")
    }
    assert others == {"plans/plan_export.py"}
