"""Rows copied from a spreadsheet into a draft: shown first, then kept; all of it or nothing."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qcapp.core.errors import QcError
from qcapp.plans.draft_rows import Paper
from qcapp.plans.draft_table import ALL, MAIN
from qcapp.plans.pasting import key_from, pasted, read_pasted
from qcapp.plans.plan_file import COLUMNS
from qcapp.plans.queries.drafts import draft_card
from qcapp.plans.services import editing
from tests.factories.plans import MEASURED, attribute, draft, plan_text
from tests.unchanged import refused

NAMES = [column.name for column in MAIN]
ROWS = [MEASURED, {k: v or "" for k, v in attribute(102, stage_number="1", stage_name="Alignment").items()}]


@pytest.fixture
def card(cast, fixed_now):
    return draft(cast, fixed_now, plan_text({}, attribute(102), attribute(201, stage_number="2", stage_name="Finish")))


@pytest.fixture
def paste(cast, fixed_now, card):
    def perform(text, at=1, column="title", *, keep=True, version=1):
        columns = NAMES[NAMES.index(column) :]
        return editing.replace_rows(
            by=cast.quality_manager, revision_uuid=card.uuid, version=version, keep=keep, at=fixed_now,
            said="rows pasted",
            make=lambda paper, family, given: pasted(paper, text, at=at, columns=columns, taken=given),
        )  # fmt: skip

    return perform


def rows(card):
    return [dict(row.cells) for row in draft_card(card.id, card.family_id).read.paper.rows]


def test_fills_cells_to_the_right_and_below(paste, card):
    paste("Rake\tmeasured\t61,5\t±0.2\nStamp\tattribute")
    assert [row["title"] for row in rows(card)] == ["Rake", "Stamp", "Checkpoint 201"]
    assert (rows(card)[0]["nominal"], rows(card)[0]["limits"]) == ("61,5", "±0.2")


def test_adds_checkpoints_for_rows_beyond_the_stage_with_numbers_and_keys(paste, card):
    edited = paste("Stamp\nPivot bore, left\tmeasured\t30\tH7\t\t\tmm\tcaliper\nCoating\tattribute", at=2)
    assert [(r["stage_number"], r["number"], r["key"]) for r in rows(card)] == [
        ("1", "101", "head_angle"), ("1", "102", "checkpoint_102"), ("1", "103", "pivot_bore_left"),
        ("1", "104", "coating"), ("2", "201", "checkpoint_201"),
    ]  # fmt: skip
    assert edited.reordered


def test_shows_what_would_change_and_keeps_nothing_of_it(paste, card):
    before = rows(card)
    edited = paste("Other", keep=False)
    assert edited.changed == [1]
    assert rows(card) == before


def test_matches_rows_by_number_or_key_when_the_first_line_names_columns(paste, card):
    paste("number\ttitle\tmethod\n102\tStamp\tby eye\n205\tPaint\tby eye", at=1)
    assert [(r["number"], r["title"], r["method"]) for r in rows(card)] == [
        ("101", "Head angle", ""), ("102", "Stamp", "by eye"), ("205", "Paint", "by eye"),
        ("201", "Checkpoint 201", ""),
    ]  # fmt: skip
    paste("key\tstage_number\ttitle\nfinish_look\t2\tFinish", at=1, version=2)
    assert [(r["stage_number"], r["key"], r["title"]) for r in rows(card)][-1] == ("2", "finish_look", "Finish")


def test_lists_every_error_with_row_and_column_and_changes_nothing(paste):
    with refused("rows_have_errors", "plans") as caught:
        paste("A\tmeasured\tten\t±1\nB\tguess")
    assert {(f["cell"], f["column"]) for f in caught.value.findings} == {
        ("checkpoint 101", "nominal"), ("checkpoint 102", "kind"),
    }  # fmt: skip
    with refused("rows_have_errors", "plans") as caught:
        paste("=cmd()\n@x")
    assert [(f["line"], f["code"]) for f in caught.value.findings] == [(1, "cell_is_formula"), (2, "cell_is_formula")]


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("", "paste_empty"), (" \t \n", "paste_empty"), ("a\0b", "paste_unreadable"), ("x\n" * 5000, "paste_too_large"),
        ("\t".join("x" * 30), "columns_too_many"), ("title\tmethod\nA\tB", "paste_cannot_match"),
    ],
)  # fmt: skip
def test_refuses_what_cannot_be_pasted(paste, text, code):
    with refused(code, "plans"):
        paste(text)


def test_refuses_a_row_that_is_gone_and_a_draft_that_changed_meanwhile(cast, fixed_now, paste, card):
    with refused("row_gone", "plans"):
        paste("A", at=99)
    editing.delete_rows(by=cast.engineer, revision_uuid=card.uuid, ids=[3], at=fixed_now)
    with refused("changed_meanwhile", "plans"):
        paste("A")


def test_makes_keys_from_titles():
    assert key_from("Pivot bore, left (Ø 30)", {"pivot_bore_left_30"}, "7") == "pivot_bore_left_30_2"
    assert key_from("30 H7", set(), "7") == "checkpoint_7"
    assert key_from("", set(), "") == "checkpoint"


@given(text=st.text(st.characters(codec="utf-8"), max_size=120), column=st.sampled_from([c.name for c in ALL]))
@settings(max_examples=120)
def test_any_text_is_taken_or_refused_in_a_sentence(text, column):
    names = [c.name for c in ALL]
    paper = Paper.of_cells(ROWS)
    message, after = "", paper
    try:
        after = pasted(paper, text, at=1, columns=names[names.index(column) :], taken=())
    except QcError as refusal:
        message = refusal.message
    assert message == "" or message.endswith(".")
    assert len({row.id for row in after.rows}) == len(after.rows) >= len(paper.rows)


@given(
    cells=st.lists(
        st.lists(st.sampled_from(["30", "H7", "±1", "mm", "measured", "every", "x y", ""]), min_size=1, max_size=6),
        min_size=1,
        max_size=8,
    )
)
def test_cells_come_back_from_the_clipboard_as_they_were_copied(cells):
    text = "\n".join("\t".join(row) for row in cells)
    full = [row for row in cells if any(row)]
    if full:
        assert read_pasted(text) == full


def test_every_column_of_the_table_is_one_of_the_file():
    assert {column.name for column in ALL} <= set(COLUMNS)
    assert {column.name for column in ALL} | {"stage_name", "hold_point", "witness_point"} == set(COLUMNS)
