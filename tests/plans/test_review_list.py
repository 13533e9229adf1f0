"""The list "Checks before review", walked in its order: each item at its cell, with its weight and a sentence."""

from __future__ import annotations

from typing import Any

import pytest

from qcapp.plans import before_review
from qcapp.plans.draft_cards import card_of
from qcapp.plans.draft_html import rows_html
from qcapp.plans.draft_rows import Paper, read_paper
from qcapp.plans.draft_table import ALL, DraftTable
from qcapp.plans.gauge_fit import fits
from qcapp.plans.plan_file import read_table
from qcapp.plans.plan_rules import Numbering, read_plan
from qcapp.plans.review_list import LIST
from tests.factories.plans import attribute, numbered, plan_text
from tests.plans.test_before_review import SECOND, gauge
from tests.plans.test_plan_rows import GAUGE_KINDS

COARSE, DOUBTFUL = gauge("AN-01", "angle_gauge", "0.01", step="0.1"), gauge("AN-02", "angle_gauge", "0.05")
MAJOR = {"criticality": "major"}
DERIVED = numbered(101, kind="derived", gauge_kinds=None, nominal="0", **MAJOR)
MM = MAJOR | {"unit_of_measure": "mm"}
STAMP = attribute(101, title="Serial stamp", kind="record", form="serial FR-200-{number:4}", gauge_kinds=None, **MAJOR)
# Item, the column it leads to, rows that have it, gauges at hand.
EXAMPLES: list[tuple[str, str, list[dict[str, Any]], list[Any]]] = [
    ("band narrower than ten times the gauge's resolution", "gauge_kinds", [SECOND], [COARSE]),
    ("test uncertainty ratio below the stated one", "gauge_kinds", [SECOND], [DOUBTFUL]),
    ("critical checkpoint sampled", "frequency", [SECOND | {"frequency": "1 in 5"}], []),
    ("natural boundary treated as a limit", "limits",
     [MM | {"title": "Plate, flatness", "nominal": "0.2", "limits": "0 to 0.4"}], []),
    ("critical checkpoint without second inspection", "second_inspection", [{}], []),
    ("stamp without second person or photo", "second_inspection", [STAMP], []),
    ("stamp without second person or photo", "photo", [STAMP | {"second_inspection": "yes"}], []),
    ("measured without gauge kind", "gauge_kinds", [MAJOR | {"gauge_kinds": None}], []),
    ("limits outside the standard's range", "limits", [MM | {"nominal": "4000", "limits": "H7"}], []),
    ("nominal outside the band", "nominal", [MAJOR | {"limits": None, "lower": "61.00", "upper": "61.50"}], []),
    ("duplicate number", "number", [MAJOR, numbered(101, **MAJOR)], []),
    ("derived without inputs", "formula", [DERIVED | {"formula": "3 + 4"}], []),
    ("derived without inputs", "formula", [DERIVED | {"formula": "gone_before * 2"}], []),
    ("weld checkpoint without joint", "joint", [MM | {"title": "Weld W1, throat"}], []),
    ("welded critical joint without qualification asked", "instruction", [SECOND | {"joint": "W1"}], []),
    ("pressure test without caution", "caution", [attribute(101, title="Leak test passed")], []),
    ("checkpoint no stage can reach", "joint", [attribute(101, after_weld_hours="24")], []),
    ("mean of readings counts", "mean", [MAJOR | {"readings": "3", "mean": "yes"}], []),
    ("corrected by expansion without its uncertainty", "temperature", [MM | {"temperature": "corrected 11.5"}], []),
    ("title not written", "title", [MAJOR | {"title": "New checkpoint"}], []),
    ("two checkpoints of one title", "title", [MAJOR, attribute(102, title="Head angle")], []),
]  # fmt: skip
SEVERITY = {item.name: item.severity for item in LIST}


def found(rows: list[dict[str, Any]], gauges: list[Any]) -> list[tuple[str, str, str, str]]:
    """Code, column, sentence and severity of everything that is said about these rows."""
    plan = read_plan(plan_text(*rows), gauge_kinds=GAUGE_KINDS, numbering=Numbering())
    cards = [card_of(one, place) for place, one in enumerate(plan.checkpoints, start=1)]
    looked = [] if plan.findings else before_review.look_at(cards, fits(cards, gauges))
    said = [(one.code, one.column, one.message, "refused") for one in plan.findings]
    return said + [(one.code, one.column, one.message, one.severity) for one in looked]


def test_has_an_example_for_every_item_in_its_order() -> None:
    assert list(dict.fromkeys(name for name, *_ in EXAMPLES)) == [item.name for item in LIST]


@pytest.mark.parametrize(("name", "column", "rows", "gauges"), EXAMPLES, ids=[one[0] for one in EXAMPLES])
def test_finds_the_item_at_its_cell(name: str, column: str, rows: list[dict[str, Any]], gauges: list[Any]) -> None:
    codes = next(item.codes for item in LIST if item.name == name)
    (code, where, sentence, severity), *more = found(rows, gauges)
    assert code in codes
    assert (where, severity) == (column, SEVERITY[name])
    assert sentence.endswith((".", "!"))
    assert {one[0] for one in more} <= codes


def test_every_check_weighs_what_the_list_says() -> None:
    codes = {code for item in LIST if item.severity != "refused" for code in item.codes}
    assert codes == {check.__name__ for check in before_review.CHECKS} | {"title_not_written", "title_twice"}


def test_a_draft_shows_each_finding_in_its_cell_with_its_weight() -> None:
    rows = [
        {"second_inspection": "", "gauge_kinds": "", "title": "<Angle>"},
        numbered(102, nominal="70", limits=None, lower="61", upper="62", **MAJOR),
        attribute(103),
    ]
    cells = [row.cells for row in read_table(plan_text(*rows)).rows]
    read = read_paper(Paper.of_cells(cells), gauge_kinds=GAUGE_KINDS, numbering=Numbering())
    cards = [card_of(one, one.row.line) for one in read.plan.checkpoints]
    table = DraftTable(read, cards, {}, before_review.look_at(cards))
    assert [row.severity for row in table.rows("", ALL)] == ["warning", "refused", ""]
    html = str(rows_html(table.rows("", ALL)))
    assert 'title="Warning: is critical, but has no second inspection."' in html
    assert 'title="Advice: is measured, but names no kind of gauge."' in html
    assert 'title="The nominal 70 is outside the limits; correct it, or mark it as meant so."' in html
    assert "<Angle>" not in html
