"""The list "Bad input", walked in its order: one test for each item, and all errors at once with row and column.

A drawing's bombs, the editing of one cell by two and the cleaning of SVG have more tests in rooms of their own:
test_editing, test_pasting, test_workbook, test_svg_cleaning, test_drawing_files.
"""

from __future__ import annotations

import pytest

from qcapp.core.errors import Invalid, QcError
from qcapp.evidence.services.reading import picture_of
from qcapp.plans.draft_rows import Paper
from qcapp.plans.drawing_files import read_drawing
from qcapp.plans.pasting import pasted
from qcapp.plans.plan_file import read_table
from qcapp.plans.plan_rules import Numbering, read_plan
from qcapp.plans.queries.drafts import draft_card
from qcapp.plans.services import editing
from tests.evidence.files import pdf
from tests.factories.plans import MEASURED, attribute, draft, numbered, plan_text
from tests.plans.test_drawing_files import huge_png
from tests.plans.test_plan_rows import GAUGE_KINDS
from tests.plans.test_workbook import HEAD, LINE, book
from tests.unchanged import refused


def findings(source: str | bytes) -> list[tuple[str, str, str]]:
    """Cell, column and code of everything that is wrong with a plan file."""
    read = read_plan(source, gauge_kinds=GAUGE_KINDS, numbering=Numbering())
    assert all(one.message.endswith((".", "?")) for one in read.findings)
    return [(one.cell, one.column, one.code) for one in read.findings]


def line(**changes: object) -> list[object]:
    return list((dict(zip(HEAD, LINE, strict=True)) | changes).values())


@pytest.mark.django_db
def test_two_people_editing_one_draft(cast, fixed_now):
    card = draft(cast, fixed_now, plan_text())
    one = {"revision_uuid": card.uuid, "row_id": 1, "column": "title", "was": "Head angle", "at": fixed_now}
    editing.set_cell(by=cast.quality_manager, text="Rake", **one)
    with refused("changed_meanwhile", "plans") as caught:
        editing.set_cell(by=cast.engineer, text="Angle", **one)
    assert "Rake" in str(caught.value.details)
    (row,) = draft_card(card.id, card.family_id).read.paper.rows
    assert row.cells["title"] == "Rake"


def test_a_paste_of_five_thousand_rows():
    paper = Paper.of_cells([MEASURED])
    with pytest.raises(QcError) as caught:
        pasted(paper, "\n".join(f"Title {n}" for n in range(5_000)), at=1, columns=["title"], taken=Numbering())
    assert caught.value.message.endswith(".")
    assert any(limit in caught.value.message for limit in ("2,000", "2000"))


def test_a_spreadsheet_with_merged_cells():
    merged = book(HEAD, LINE, prepare=lambda page: page.merge_cells("A2:B2"))
    assert [code for _, _, code in findings(merged)] == ["cells_merged"]


def test_comma_decimals():
    read = read_plan(book(HEAD, line(nominal="62,00")), gauge_kinds=GAUGE_KINDS, numbering=Numbering())
    assert read.findings == ()
    assert str(read.checkpoints[0].spec.band.nominal) == "62.00"
    assert findings(book(HEAD, line(nominal="1.062,00"))) == [("G2", "nominal", "value_two_marks")]


def test_empty_rows():
    table = read_table(book(HEAD, [], LINE, [], []))
    assert (len(table.rows), table.findings) == (1, [])


def test_duplicate_numbers():
    assert findings(plan_text({}, numbered(101))) == [("E3", "number", "number_twice")]


def test_wrong_units():
    assert findings(plan_text({"unit_of_measure": "furlongz"})) == [("N2", "unit_of_measure", "unit_unknown")]
    ((_, column, code),) = findings(plan_text({"nominal": "62.00 kg"}))
    assert (column, code) == ("nominal", "value_unit_unexpected")


def test_a_stray_formula():
    assert findings(book(HEAD, line(nominal="=60+2"))) == [("G2", "nominal", "formula_without_value")]
    assert findings(plan_text({"title": "=HYPERLINK(1)"})) == [("G2", "title", "cell_is_formula")]


def test_an_svg_with_a_script():
    inside = b'<script>x()</script><path d="M0 0h4"/>'
    svg = b'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 4 3" onload="x()">' + inside + b"</svg>"
    (sheet,) = read_drawing(svg)
    assert b"script" not in sheet.content
    assert b"onload" not in sheet.content
    assert sum(sheet.left_out.values()) == 2


def test_a_document_of_three_hundred_pages():
    with pytest.raises(Invalid) as caught:
        read_drawing(pdf(300), "1")
    assert (caught.value.code, "300 pages" in caught.value.message) == ("pages_too_many", True)


def test_a_drawing_of_eighty_megapixels():
    with pytest.raises(Invalid) as caught:
        picture_of(huge_png(10_000, 8_000))
    assert caught.value.message.endswith(".")


def test_all_errors_at_once_with_row_and_column():
    rows = [
        {"nominal": "sixty", "criticality": "grave"},
        attribute(102, frequency="sometimes", joint="seven"),
        numbered(102, gauge_kinds="ruler"),
    ]
    found = findings(plan_text(*rows))
    assert {(cell[-1], column) for cell, column, _ in found} == {
        ("2", "nominal"), ("2", "criticality"), ("3", "frequency"), ("3", "joint"), ("4", "number"),
        ("4", "key"), ("4", "gauge_kinds"),
    }  # fmt: skip
    assert all(cell[0].isalpha() for cell, _, _ in found)
