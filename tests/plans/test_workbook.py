"""A plan as a workbook: read within bounds, nothing in it computed, a round trip that loses nothing."""

from __future__ import annotations

import io
import zipfile
from datetime import date

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from openpyxl import Workbook, load_workbook

from qcapp.plans import queries, services, workbook
from qcapp.plans.plan_file import COLUMNS, read_table
from qcapp.plans.plan_rules import Numbering, read_plan
from qcapp.plans.workbook import as_cell, write_workbook
from tests.factories.plans import MEASURED, draft
from tests.plans.test_plan_rows import GAUGE_KINDS


def book(*rows, sheet="Plan", prepare=None):
    """A workbook of these rows below the columns of MEASURED."""
    made = Workbook()
    page = made.active
    page.title = sheet
    for row in rows:
        page.append(list(row))
    if prepare:
        prepare(page)
    target = io.BytesIO()
    made.save(target)
    return target.getvalue()


HEAD, LINE = list(MEASURED), list(MEASURED.values())


def found(data):
    return [(finding.line, finding.code) for finding in read_table(data).findings]


# --- the round trip ----------------------------------------------------------------------------------------


def test_an_exported_workbook_reads_back_to_the_same_content(cast, fixed_now):
    first = draft(cast, fixed_now)
    data = write_workbook(COLUMNS, services.export_cells(first.id), "FR-200 revision A")
    second = draft(cast, fixed_now, data, letter="B")
    assert queries.content_digest(first.id) == queries.content_digest(second.id)


TEXT = st.text(st.characters(codec="utf-8", categories=("L", "N", "P", "S", "Zs")), min_size=1, max_size=60)


@given(title=TEXT, instruction=TEXT)
@settings(max_examples=40)
def test_any_text_comes_back_as_it_was_and_none_becomes_a_formula(title, instruction):
    cells = MEASURED | {"title": title, "instruction": instruction}
    data = write_workbook(COLUMNS, [cells], "a plan")
    sheet = load_workbook(io.BytesIO(data)).active
    assert {cell.data_type for row in sheet.iter_rows() for cell in row if cell.value is not None} == {"s"}
    row = read_table(data).rows[0]
    assert row.cells["title"] == " ".join(title.split())
    assert row.cells["instruction"] == " ".join(instruction.split())


def test_says_that_formulas_are_taken_as_their_values():
    sheet = load_workbook(io.BytesIO(write_workbook(COLUMNS, [MEASURED], "FR-200 revision A"))).active
    assert sheet["A1"].value.startswith("# FR-200 revision A. Formulas are taken as their values.")


# --- reading -----------------------------------------------------------------------------------------------


def test_reads_numbers_as_the_sheet_shows_them():
    line = dict(zip(HEAD, LINE, strict=True)) | {"stage_number": 1, "number": 101, "nominal": 62.0, "decimals": 2}

    def show(page):
        page.cell(row=2, column=HEAD.index("nominal") + 1).number_format = "0.00"

    plan = read_plan(book(HEAD, line.values(), prepare=show), gauge_kinds=GAUGE_KINDS, numbering=Numbering())
    assert plan.findings == ()
    assert plan.checkpoints[0].row.cells["nominal"] == "62.00"


@pytest.mark.parametrize(
    ("value", "number_format", "text"),
    [
        (62.15, "General", "62.15"), (0.1 + 0.2, "General", "0.30000000000000004"), (5, "0.000", "5.000"),
        (1234.5, "#,##0.00", "1234.50"), (True, "", "yes"), (None, "", ""), (date(2031, 4, 30), "", "2031-04-30"),
        ("  two   words ", "", "two words"), (-0.25, "0.0", "-0.25"),
    ],
)  # fmt: skip
def test_takes_a_value_as_text(value, number_format, text):
    assert as_cell(value, number_format) == text


def test_takes_the_sheet_named_plan_before_the_first():
    made = Workbook()
    made.active.append(["notes"])
    page = made.create_sheet("Plan")
    page.append(HEAD)
    page.append(LINE)
    target = io.BytesIO()
    made.save(target)
    assert len(read_table(target.getvalue()).rows) == 1


def test_leaves_out_empty_rows_and_comments_and_names_cells_as_the_sheet_does():
    line = dict(zip(HEAD, LINE, strict=True)) | {"nominal": "sixty"}
    data = book(["# a comment"], [], HEAD, [], line.values())
    findings = read_plan(data, gauge_kinds=GAUGE_KINDS, numbering=Numbering()).findings
    assert {(f.line, f.column, f.cell) for f in findings} == {(5, "nominal", "G5")}


def test_counts_formulas_that_have_a_value_and_refuses_those_without():
    line = dict(zip(HEAD, LINE, strict=True)) | {"nominal": "=60+2"}
    assert found(book(HEAD, line.values())) == [(2, "formula_without_value")]
    data = book(HEAD, line.values())
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    sheet = "xl/worksheets/sheet1.xml"
    parts[sheet] = (
        parts[sheet]
        .replace(b"<f>60+2</f><v></v>", b"<f>60+2</f><v>62</v>")
        .replace(b"<f>60+2</f><v />", b"<f>60+2</f><v>62</v>")
    )
    table = read_table(packed(parts))
    assert (table.formulas, [row.cells["nominal"] for row in table.rows]) == (1, ["62"])


def packed(parts):
    target = io.BytesIO()
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in parts.items():
            archive.writestr(name, data)
    return target.getvalue()


def test_names_merged_cells():
    assert found(book(HEAD, LINE, prepare=lambda page: page.merge_cells("A2:B2"))) == [(2, "cells_merged")]


def test_refuses_what_is_no_workbook_and_what_unpacks_to_too_much(monkeypatch):
    assert found(b"PK\x03\x04 nothing") == [(1, "workbook_unreadable")]
    assert found(packed({"a.txt": b"x"})) == [(1, "workbook_unreadable")]
    assert found(packed({"xl/workbook.xml": b"<a/>"})) == [(1, "workbook_unreadable")]
    bomb = packed({"xl/workbook.xml": b"<a/>", "xl/worksheets/sheet1.xml": b" " * (workbook.MAX_UNPACKED + 1)})
    assert len(bomb) < 100_000
    assert found(bomb) == [(1, "workbook_too_large")]
    many = packed({"xl/workbook.xml": b"<a/>"} | {f"xl/{n}.xml": b"" for n in range(workbook.MAX_PARTS)})
    assert found(many) == [(1, "workbook_too_large")]


def test_refuses_entities_in_its_xml():
    data = book(HEAD, LINE)
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    entity = b'<!DOCTYPE a [<!ENTITY b "' + b"x" * 1000 + b'">]>'
    parts["xl/workbook.xml"] = entity + parts["xl/workbook.xml"]
    assert found(packed(parts)) == [(1, "workbook_unreadable")]


def test_refuses_more_rows_than_a_plan_has(monkeypatch):
    monkeypatch.setattr(workbook, "MAX_SHEET_ROWS", 3)
    assert found(book(HEAD, LINE, LINE, LINE, LINE))[0] == (4, "workbook_too_large")


@given(data=st.binary(max_size=400))
@settings(max_examples=60)
def test_any_bytes_after_the_mark_give_findings_and_no_error(data):
    assert read_table(b"PK\x03\x04" + data).findings


@given(
    cells=st.lists(
        st.lists(
            st.one_of(st.none(), TEXT, st.integers(), st.floats(allow_nan=False, allow_infinity=False), st.booleans()),
            max_size=8,
        ),
        max_size=6,
    )
)
@settings(max_examples=30, deadline=None)
def test_any_sheet_gives_rows_or_findings_and_no_error(cells):
    safe = [[f"'{c}" if isinstance(c, str) and c.startswith("=") else c for c in row] for row in cells]
    table = read_table(book(*safe))
    assert table.rows or table.findings
