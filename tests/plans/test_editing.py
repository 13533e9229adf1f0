"""Edits of a draft: what they change, what they refuse, and that each can be undone."""

from __future__ import annotations

import pytest
from django.db import IntegrityError, connection, transaction

from qcapp.plans import queries, services
from qcapp.plans.draft_rows import Paper
from qcapp.plans.models import Draft, DraftStep
from qcapp.plans.queries.drafts import draft_card
from qcapp.plans.services import editing, staging
from tests.factories.plans import attribute, draft, in_review, numbered, plan_text, released
from tests.unchanged import refused

DERIVED = numbered(103, kind="derived", formula="head_angle - 1", nominal="61", limits="±1", gauge_kinds=None)
TWO_STAGES = plan_text({}, attribute(102), DERIVED, attribute(201, stage_number="2", stage_name="Finish"))


@pytest.fixture
def card(cast, fixed_now):
    return draft(cast, fixed_now, TWO_STAGES)


@pytest.fixture
def edit(cast, fixed_now, card):
    """`edit(editing.set_cell, …)` by the quality manager."""

    def perform(act, **values):
        return act(by=values.pop("by", cast.quality_manager), revision_uuid=card.uuid, at=fixed_now, **values)

    return perform


@pytest.fixture
def put(edit, card):
    """`put(1, "limits", "±0.2")`: types into a cell that holds what it holds."""

    def perform(row_id, column, text, **values):
        was = rows_of(card)[row_id][column]
        return edit(editing.set_cell, row_id=row_id, column=column, text=text, was=was, **values)

    return perform


def read(card):
    return draft_card(card.id, card.family_id).read


def rows_of(card):
    return {row.id: row.cells for row in read(card).paper.rows}


def order(card):
    return [(row.stage, row.number) for row in read(card).paper.rows]


def codes(card):
    return [(finding.line, finding.column, finding.code) for finding in read(card).plan.findings]


# --- cells -------------------------------------------------------------------------------------------------


def test_keeps_one_cell_and_computes_its_limits(put, card):
    edited = put(1, "limits", "±0.10")
    assert (edited.said, edited.version, edited.changed) == ("101 limits: ±0.15 → ±0.10", 2, [1])
    head = queries.checkpoints_of(card.id)[0]
    assert (head.lower_text, head.upper_text) == ("61.90", "62.10")


def test_takes_the_nominal_with_the_limits_and_both_sides_from_a_notation(put, card):
    put(1, "limits", "30 ±0.2")
    assert (rows_of(card)[1]["nominal"], rows_of(card)[1]["limits"]) == ("30", "±0.2")
    put(1, "upper", "30.5")
    assert [rows_of(card)[1][name] for name in ("limits", "lower", "upper")] == ["", "29.8", "30.5"]
    put(1, "limits", "25.0 to 35.4")
    assert [rows_of(card)[1][name] for name in ("limits", "lower", "upper")] == ["25.0 to 35.4", "", ""]


def test_another_kind_leaves_the_row_unfinished_until_its_limits_are_there(put, card):
    put(2, "kind", "measured")
    assert [finding[0] for finding in codes(card)] == [2]
    put(2, "nominal", "30")
    put(2, "unit_of_measure", "mm")
    put(2, "limits", "H7")
    assert codes(card) == []
    assert queries.checkpoints_of(card.id)[1].upper_text == "30.021"
    put(2, "kind", "attribute")
    assert rows_of(card)[2]["limits"] == ""


def test_a_key_takes_its_formulas_and_pairs_with_it(put, card):
    put(1, "key", "rake")
    assert rows_of(card)[3]["formula"] == "rake - 1"
    assert codes(card) == []


def test_the_name_of_a_stage_changes_in_all_its_rows_and_a_row_changes_its_stage(put, card):
    put(2, "stage_name", "Straightness")
    assert {cells["stage_name"] for cells in rows_of(card).values()} == {"Straightness", "Finish"}
    put(2, "stage_number", "2")
    assert order(card) == [("1", "101"), ("1", "103"), ("2", "201"), ("2", "102")]


@pytest.mark.parametrize(
    ("row", "column", "text", "code"),
    [
        (1, "limits", "about 9", "notation_unknown"),
        (1, "nominal", "sixty", "value_not_a_number"),
        (1, "nominal", "=1+1", "cell_is_formula"),
        (1, "title", "+cmd", "cell_is_formula"),
        (1, "title", "a\nb", "cell_not_plain"),
        (1, "title", "x" * 121, "cell_too_long"),
        (1, "title", "", "cell_missing"),
        (1, "gauge_kinds", "calliper", "gauge_kind_unknown"),
        (1, "frequency", "1 in 5", "critical_sampled"),
        (1, "joint", "weld 7", "joint_unreadable"),
        (1, "number", "102", "number_twice"),
        (2, "key", "head_angle", "key_twice"),
        (1, "key", "Head", "key_unreadable"),
        (3, "formula", "head_angle +", "formula_syntax"),
        (3, "formula", "tail_angle", "unknown_name"),
        (3, "formula", "checkpoint_103 + head_angle", "self_reference"),
        (2, "kind", "guess", "word_unknown"),
        (2, "stage_number", "7", "stage_unknown"),
        (1, "colour", "red", "column_unknown"),
        (1, "paired_with", "nobody", "paired_unknown"),
    ],
)
def test_refuses_what_the_cell_cannot_mean_and_keeps_nothing(edit, card, row, column, text, code):
    with refused(code, "plans"):
        edit(editing.set_cell, row_id=row, column=column, text=text, was=rows_of(card)[row].get(column, ""))


def test_tries_a_cell_without_keeping_it(edit, card):
    before = rows_of(card)
    tried = edit(editing.try_cell, row_id=1, column="limits", text="±0.05")
    assert str(tried.by_id[1].spec.band.upper) == "62.05"
    assert rows_of(card) == before
    with refused("gauge_kind_unknown", "plans"):
        edit(editing.try_cell, row_id=1, column="gauge_kinds", text="nothing")


def test_the_second_of_two_people_is_told_and_overwrites_nothing(cast, edit, put, card):
    put(1, "limits", "±0.10", by=cast.engineer)
    with refused("changed_meanwhile", "plans") as caught:
        edit(editing.set_cell, row_id=1, column="limits", text="±0.20", was="±0.15")
    assert caught.value.details["now"] == "±0.10"
    assert cast.engineer.name in caught.value.message
    put(1, "title", "Rake")  # another cell of the same row
    assert rows_of(card)[1]["limits"] == "±0.10"


def test_sets_one_field_of_many_or_of_none(edit, card):
    edited = edit(editing.set_field, ids=[1, 2], column="method", text="by lens")
    assert edited.said == "2 checkpoints, method: by lens"
    assert [cells["method"] for cells in rows_of(card).values()] == ["by lens", "by lens", "", ""]
    with refused("critical_sampled", "plans") as caught:
        edit(editing.set_field, ids=[2, 1], column="frequency", text="1 in 5")
    assert caught.value.message.startswith("101: ")
    with refused("field_not_for_many", "plans"):
        edit(editing.set_field, ids=[1, 2], column="title", text="Same")


# --- rows --------------------------------------------------------------------------------------------------


def test_inserts_below_and_above_with_the_next_free_number(edit, card):
    edited = edit(editing.insert_row, beside=1, below=True, stage="")
    assert order(card)[:2] == [("1", "101"), ("1", "104")]
    assert edited.focus == edited.after.paper.rows[1].id
    edit(editing.insert_row, beside=1, below=False, stage="")
    assert order(card)[0] == ("1", "105")
    edit(editing.insert_row, beside=None, below=True, stage="2")
    assert order(card)[-1] == ("2", "202")
    assert codes(card) == []


def test_does_not_give_a_number_again_that_was_released(cast, proof_of, fixed_now):
    released(cast, proof_of, fixed_now, plan_text({}, attribute(102), attribute(103)))
    card = draft(cast, fixed_now, plan_text({}, attribute(102)), letter="B")
    editing.insert_row(by=cast.quality_manager, revision_uuid=card.uuid, beside=1, below=True, stage="", at=fixed_now)
    assert [row.number for row in read(card).paper.rows] == ["101", "104", "102"]
    with refused("number_of_another", "plans"):
        editing.set_cell(
            by=cast.quality_manager, revision_uuid=card.uuid, row_id=3, column="number", text="103", was="104",
            at=fixed_now,
        )  # fmt: skip


def test_duplicates_below_with_keys_and_numbers_of_their_own(edit, card):
    edit(editing.duplicate_rows, ids=[2, 1])
    assert [(r.number, r.key) for r in read(card).paper.rows][:4] == [
        ("101", "head_angle"), ("102", "checkpoint_102"), ("104", "head_angle_2"), ("105", "checkpoint_102_2"),
    ]  # fmt: skip
    assert codes(card) == []


def test_deletes_rows_and_names_what_read_them(edit, card):
    edit(editing.delete_rows, ids=[1])
    assert codes(card) == [(3, "formula", "unknown_name")]
    with refused("plan_empty", "plans"):
        edit(editing.delete_rows, ids=[2, 3, 4])
    with refused("row_gone", "plans"):
        edit(editing.delete_rows, ids=[1])
    with refused("nothing_chosen", "plans"):
        edit(editing.delete_rows, ids=[])


def test_moves_rows_as_a_block_and_over_the_edge_of_a_stage(edit, card):
    edit(editing.move_rows, ids=[2, 3], step=-1)
    assert order(card) == [("1", "102"), ("1", "103"), ("1", "101"), ("2", "201")]
    edited = edit(editing.move_rows, ids=[1], step=1)
    assert order(card) == [("1", "102"), ("1", "103"), ("2", "101"), ("2", "201")]
    assert edited.said == "101 moved down into stage 2"
    assert codes(card) == [(3, "formula", "formula_reads_later_stage")]
    edit(editing.move_rows, ids=[1], step=-1)
    assert order(card)[2] == ("1", "101")
    with refused("at_the_edge", "plans"):
        edit(editing.move_rows, ids=[2], step=-1)


def test_places_drawn_rows_beside_another_in_its_stage(edit, card):
    edited = edit(editing.place_rows, ids=[1], beside=4, below=False)
    assert order(card) == [("1", "102"), ("1", "103"), ("2", "101"), ("2", "201")]
    assert edited.said == "101 moved above 201"
    edit(editing.place_rows, ids=[1], beside=3, below=True)
    assert order(card) == [("1", "102"), ("1", "103"), ("1", "101"), ("2", "201")]
    with refused("at_the_edge", "plans"):
        edit(editing.place_rows, ids=[1, 2], beside=2, below=True)
    with refused("row_gone", "plans"):
        edit(editing.place_rows, ids=[1], beside=99, below=True)


def test_renumbers_new_checkpoints_only(cast, proof_of, fixed_now):
    released(cast, proof_of, fixed_now, plan_text({}, attribute(102)))
    card = draft(cast, fixed_now, plan_text(attribute(150), {}, attribute(140), attribute(102)), letter="B")
    editing.renumber_stage(by=cast.quality_manager, revision_uuid=card.uuid, stage="1", at=fixed_now)
    assert [row.number for row in read(card).paper.rows] == ["103", "101", "104", "102"]


# --- stages ------------------------------------------------------------------------------------------------


def test_adds_a_stage_with_a_first_checkpoint_and_changes_its_points(edit, card):
    edit(staging.add_stage, number="15", name="Paint")
    assert order(card)[-1] == ("15", "1501")
    edit(staging.change_stage, number="15", name="Coating", hold_point=True, witness_point=False)
    stage = queries.stages_of(card.id)[-1]
    assert (stage.number, stage.name, stage.hold_point, stage.witness_point) == (15, "Coating", True, False)
    with refused("stage_twice", "plans"):
        edit(staging.add_stage, number="2", name="Again")
    with refused("stage_unreadable", "plans"):
        edit(staging.add_stage, number="x", name="Again")
    with refused("stage_unreadable", "plans"):
        edit(staging.change_stage, number="2", name=" ", hold_point=False, witness_point=False)
    with refused("stage_unknown", "plans"):
        edit(staging.change_stage, number="9", name="None", hold_point=False, witness_point=False)


# --- undo --------------------------------------------------------------------------------------------------


def test_undoes_every_kind_of_edit_in_turn(edit, put, card):
    states = [rows_of(card)]
    put(1, "limits", "±0.10")
    states.append(rows_of(card))
    edit(editing.move_rows, ids=[1], step=1)
    states.append(rows_of(card))
    edit(editing.delete_rows, ids=[2])
    states.append(rows_of(card))
    edit(staging.add_stage, number="3", name="Paint")
    version = 5
    while len(states) > 1:
        edited = edit(editing.undo, version=version)
        version = edited.version
        assert rows_of(card) == states.pop()
    edited = edit(editing.undo, version=version)
    assert rows_of(card) == states.pop()
    with refused("nothing_to_undo", "plans"):
        edit(editing.undo, version=edited.version)


def test_keeps_twenty_steps(put, card):
    for number in range(25):
        put(1, "title", f"Title {number}")
    assert DraftStep.objects.count() == editing.STEPS_KEPT
    assert DraftStep.objects.order_by("version").last().said == "101 title: Title 23 → Title 24"


def test_refuses_to_undo_what_another_did_since(cast, edit, put, card):
    put(1, "title", "Mine")
    put(1, "method", "theirs", by=cast.engineer)
    with refused("changed_meanwhile", "plans"):
        edit(editing.undo, version=2)


def test_an_edit_that_changes_nothing_is_no_step(put, card):
    assert put(1, "title", "Head angle").said == ""
    assert not DraftStep.objects.exists()


# --- when --------------------------------------------------------------------------------------------------


def test_refuses_every_edit_of_what_is_no_draft_or_by_who_may_not_write(cast, proof_of, fixed_now):
    reviewed = in_review(cast, fixed_now, plan_text({"criticality": "major"}))
    done = released(cast, proof_of, fixed_now, plan_text({"criticality": "major"}), letter="B")
    values = {"row_id": 1, "column": "title", "text": "Other", "was": "Head angle"}
    for card in (reviewed, done):
        with refused("not_a_draft", "plans"):
            editing.set_cell(by=cast.quality_manager, revision_uuid=card.uuid, at=fixed_now, **values)
        with refused("not_a_draft", "plans"):
            editing.delete_rows(by=cast.quality_manager, revision_uuid=card.uuid, ids=[1], at=fixed_now)
    other = draft(cast, fixed_now, plan_text(), letter="C")
    with refused("not_permitted", "plans"):
        editing.set_cell(by=cast.inspector, revision_uuid=other.uuid, at=fixed_now, **values)


def test_an_unfinished_draft_is_not_sent_for_review_and_says_why(cast, fixed_now, put, card):
    put(2, "kind", "measured")
    with refused("draft_unfinished", "plans") as caught:
        services.send_for_review(by=cast.quality_manager, revision_uuid=card.uuid, at=fixed_now)
    assert "Checkpoint 102" in caught.value.message


def test_goes_from_an_edited_draft_to_a_release_whose_content_was_signed(cast, proof_of, fixed_now, put, card):
    put(1, "limits", "±0.10")
    services.send_for_review(by=cast.quality_manager, revision_uuid=card.uuid, at=fixed_now)
    services.approve(proof=proof_of(cast.engineer), revision_uuid=card.uuid, at=fixed_now)
    done = services.release(proof=proof_of(cast.second_quality_manager), revision_uuid=card.uuid, at=fixed_now)
    assert queries.checkpoints_of(done.id)[0].notation == "±0.10"
    assert queries.verify_content(done.id) == queries.events_of(done.id)[0].content_digest
    with pytest.raises(IntegrityError), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("UPDATE plans_checkpoint SET title = 'x'")


def test_goes_back_to_a_draft_that_can_be_edited_again(cast, fixed_now, put, card):
    services.send_for_review(by=cast.quality_manager, revision_uuid=card.uuid, at=fixed_now)
    services.return_to_draft(by=cast.engineer, revision_uuid=card.uuid, reason="wider", at=fixed_now)
    put(1, "limits", "±0.25")
    assert queries.checkpoints_of(card.id)[0].upper_text == "62.25"


def test_finds_a_draft_that_was_changed_past_the_services(edit, card):
    with connection.cursor() as cursor:
        cursor.execute("UPDATE plans_draft SET rows = replace(rows, '±0.15', '±0.95')")
    with refused("content_altered", "plans"):
        edit(editing.delete_rows, ids=[2])


def test_the_stored_rows_read_back_as_they_were(put, card):
    put(1, "instruction", "say “no”, loudly; 3 × ⌀4")
    paper = Paper.from_json(Draft.objects.get().rows)
    assert Paper.from_json(paper.to_json()) == paper
    assert paper.rows[0].cells["instruction"] == "say “no”, loudly; 3 × ⌀4"
