"""The page of a draft and the requests of its table."""

from __future__ import annotations

import io
from itertools import count

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from qcapp.plans import queries, services
from qcapp.plans.queries.drafts import draft_card
from tests.factories.plans import FR200, attribute, draft, numbered, plan_text, released
from tests.unchanged import rows_of

DERIVED = numbered(103, kind="derived", formula="head_angle - 1", nominal="61", limits="±1", gauge_kinds=None)
PLAN = plan_text({}, attribute(102), DERIVED, attribute(201, stage_number="2", stage_name="Finish", caution="hot"))


@pytest.fixture
def manager(cast, client_of):
    return client_of(cast.quality_manager)


@pytest.fixture
def card(cast, fixed_now):
    return draft(cast, fixed_now, PLAN)


@pytest.fixture
def send(manager, card):
    """`send("cell", row=1, …)`: a request of the table, its answer read."""

    def perform(path, client=manager, **data):
        answer = client.post(f"/plans/{card.uuid}/draft/{path}/", data)
        return answer.status_code, answer.json()

    return perform


def text_of(answer):
    return answer.content.decode()


# --- the page ----------------------------------------------------------------------------------------------


def test_shows_the_draft_as_a_table_that_is_edited(manager, card, django_assert_max_num_queries):
    with django_assert_max_num_queries(20):
        page = text_of(manager.get(f"/plans/{card.uuid}/?stage=1"))
    for text in ('data-column="limits"', "61.85", "from 101", "Send for review", "1 to look at", "Discard this draft"):
        assert text in page, text
    assert "Checkpoint 201" not in page.partition('id="rows"')[2].partition("</tbody>")[0]
    assert "onclick" not in page
    assert " style=" not in page


def test_three_hundred_checkpoints_need_no_more_queries(cast, fixed_now, manager, django_assert_max_num_queries):
    numbers = count(1001)
    rows = [numbered(next(numbers), criticality="major") for _ in range(300)]
    card = draft(cast, fixed_now, plan_text(*rows))
    with django_assert_max_num_queries(20):
        page = text_of(manager.get(f"/plans/{card.uuid}/?stage=all&columns=all"))
    assert page.count('<tr id="row-') == 300


def test_who_may_only_look_sees_no_editor(cast, client_of, card):
    page = text_of(client_of(cast.inspector).get(f"/plans/{card.uuid}/"))
    assert "draft/" not in page
    assert "plan_table.js" not in page


def test_says_how_much_differs_from_the_revision_before(cast, proof_of, fixed_now, manager):
    first = released(cast, proof_of, fixed_now, PLAN)
    answer = manager.post(f"/plans/{first.uuid}/revise/", {"change_note": "tighter"})
    card = queries.revision_of("FR-200", "B")
    assert answer.headers["Location"] == f"/plans/{card.uuid}/"
    manager.post(f"/plans/{card.uuid}/draft/cell/", {"row": 1, "column": "limits", "text": "±0.1", "was": "±0.15"})
    assert "based on A, 1 change" in text_of(manager.get(f"/plans/{card.uuid}/"))
    page = text_of(manager.get(f"/plans/{card.uuid}/compare/"))
    assert "1 changed, 1 × tightened" in page
    assert "±0.15 (61.85 to 62.15 °)" in page
    other = text_of(manager.get(f"/plans/{card.uuid}/compare/?with={card.uuid}"))
    assert "0 changed" in other


# --- cells -------------------------------------------------------------------------------------------------


def test_keeps_a_cell_and_answers_with_its_row_and_panel(send, django_assert_max_num_queries):
    # four of them open and close savepoints, three belong to the session
    with django_assert_max_num_queries(24):
        status, answer = send("cell", row=1, column="limits", text="±0.10", was="±0.15", stage="1", columns="main")
    assert status == 200
    assert list(answer["rows"]) == ["1"]
    assert "61.90" in answer["rows"]["1"]
    assert "61.90 to 62.10" in answer["panel"]
    assert (answer["version"], answer["undo"]) == (2, "101 limits: ±0.15 → ±0.10")


def test_refuses_a_cell_in_a_sentence_and_keeps_nothing(send, card):
    before = rows_of("plans")
    status, answer = send("cell", row=1, column="gauge_kinds", text="calliper", was="angle_gauge")
    assert (status, answer["code"]) == (400, "gauge_kind_unknown")
    assert answer["message"].endswith("?")
    assert rows_of("plans") == before


def test_tells_the_second_of_two_what_the_cell_says_now(send):
    send("cell", row=1, column="title", text="Rake", was="Head angle")
    status, answer = send("cell", row=1, column="title", text="Other", was="Head angle")
    assert (status, answer["details"]["now"]) == (409, "Rake")


def test_tries_a_cell_while_it_is_typed(send):
    before = rows_of("plans")
    status, answer = send("cell", row=1, column="limits", text="±0.05", **{"try": "yes"})
    assert (status, "61.95 to 62.05" in answer["panel"]) == (200, True)
    assert send("cell", row=1, column="limits", text="about", **{"try": "yes"})[0] == 400
    assert rows_of("plans") == before


# --- rows --------------------------------------------------------------------------------------------------


def test_answers_with_the_whole_table_when_rows_come_or_go(send):
    _, answer = send("rows", act="insert", beside=1, stage="1")
    assert answer["body"].count("<tr id=") == 4
    assert "New checkpoint" in answer["body"]
    _, answer = send("rows", act="delete", ids=[answer["focus"]], stage="1")
    assert answer["body"].count("<tr id=") == 3
    _, answer = send("rows", act="undo", version=answer["version"], stage="1")
    assert answer["said"].startswith("undone: ")


@pytest.mark.parametrize("act", ["duplicate", "up", "down", "renumber", "set"])
def test_does_each_act_on_rows(send, act):
    status, answer = send("rows", act=act, ids=[2], stage="1", column="method", text="by eye")
    assert status == 200, answer


def test_refuses_an_act_that_is_none(send):
    assert send("rows", act="explode", ids=[1]) == (
        400, {"code": "act_unknown", "details": {}, "findings": [],
              "message": "That is nothing that can be done here; reload the page."},
    )  # fmt: skip
    assert send("rows", act="delete", ids=["x"])[1]["code"] == "row_gone"


def test_goes_with_a_row_into_the_next_stage(send):
    _, answer = send("rows", act="down", ids=[3], stage="1")
    assert answer["stage"] == "2"
    assert "Checkpoint 201" in answer["body"]


# --- the panel ---------------------------------------------------------------------------------------------


def test_tries_a_formula_on_sample_values(manager, card):
    page = text_of(manager.get(f"/plans/{card.uuid}/draft/rows/3/"))
    assert "gives <strong>61.00" in page
    assert "in band" in page
    page = text_of(manager.get(f"/plans/{card.uuid}/draft/rows/3/?v_head_angle=70"))
    assert "out of band" in page
    page = text_of(manager.get(f"/plans/{card.uuid}/draft/rows/3/?v_head_angle=x"))
    assert "not a number" in page
    assert "That checkpoint is gone" in text_of(manager.get(f"/plans/{card.uuid}/draft/rows/99/"))


# --- paste, stages, files ----------------------------------------------------------------------------------


def test_shows_a_paste_before_it_does_it(send, card):
    before = rows_of("plans")
    _, shown = send("paste", row=1, column="title", text="Rake\nStamp", stage="1")
    assert (shown["count"], "Rake" in shown["changes"]) == (2, True)
    assert rows_of("plans") == before
    send("paste", row=1, column="title", text="Rake\nStamp", stage="1", keep="yes", version=shown["version"])
    assert [row.cells["title"] for row in draft_card(card.id, card.family_id).paper.rows][:2] == ["Rake", "Stamp"]
    status, answer = send("paste", row=1, column="title", text="=1", stage="1")
    assert (status, answer["findings"][0]["code"]) == (400, "cell_is_formula")


def test_adds_and_changes_stages_by_its_forms(manager, card):
    address = f"/plans/{card.uuid}/draft/stages/"
    assert manager.post(address, {"act": "add", "number": "3", "name": "Paint"}).status_code == 302
    manager.post(address, {"act": "change", "number": "1", "name": "Angles", "hold_point": "yes"})
    stages = queries.stages_of(card.id)
    assert [(s.number, s.name, s.hold_point) for s in stages] == [
        (1, "Angles", True), (2, "Finish", False), (3, "Paint", False),
    ]  # fmt: skip
    page = text_of(manager.post(address, {"act": "add", "number": "3", "name": "Again"}, follow=True))
    assert "There is a stage 3 already" in page


def test_a_file_over_a_draft_shows_what_it_would_change_and_then_does_it(manager, card):
    address = f"/plans/{card.uuid}/draft/import/"
    assert manager.get(address).status_code == 200
    before = rows_of("plans")
    file = SimpleUploadedFile("new.csv", plan_text({"limits": "±0.10"}, attribute(102)).encode())
    answer = manager.post(address, {"file": file})
    page = text_of(answer)
    for text in ("new.csv would change 3 checkpoints", "tightened", "removed"):
        assert text in page, text
    assert rows_of("plans") == before
    values = {"rows": answer.context["rows"], "version": answer.context["version"]}
    assert manager.post(address, values).status_code == 302
    assert [one.number for one in queries.checkpoints_of(card.id)] == [101, 102]
    assert "changed this draft" in text_of(manager.post(address, values, follow=True))
    assert "too long ago" in text_of(manager.post(address, values | {"rows": "forged"}, follow=True))


def test_lists_the_findings_of_a_file_that_is_wrong(manager, card):
    before = rows_of("plans")
    file = SimpleUploadedFile("new.csv", plan_text({"joint": "y"}, attribute(101)).encode())
    answer = manager.post(f"/plans/{card.uuid}/draft/import/", {"file": file})
    assert answer.status_code == 400
    assert "2 findings" in text_of(answer)
    assert rows_of("plans") == before


def test_a_workbook_goes_out_and_comes_in_again(cast, fixed_now, manager):
    card = draft(cast, fixed_now, FR200.read_bytes())
    data = b"".join(manager.get(f"/plans/{card.uuid}/plan.xlsx"))
    file = SimpleUploadedFile("FR-200.xlsx", io.BytesIO(data).read())
    page = text_of(manager.post(f"/plans/{card.uuid}/draft/import/", {"file": file}))
    assert "would change 0 checkpoints" in page


def test_discards_with_a_reason(manager, card):
    assert manager.post(f"/plans/{card.uuid}/discard/", {"reason": ""}).status_code == 400
    assert manager.post(f"/plans/{card.uuid}/discard/", {"reason": "began anew"}).status_code == 302
    page = text_of(manager.get(f"/plans/{card.uuid}/"))
    assert "Discarded" in page
    assert "plan_table.js" not in page


def test_an_unfinished_draft_says_on_its_page_why_it_is_not_sent(send, manager, card):
    send("cell", row=2, column="kind", text="measured", was="attribute")
    answer = manager.post(f"/plans/{card.uuid}/send-for-review/")
    assert answer.status_code == 409
    assert "Checkpoint 102" in text_of(answer)


# --- who ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "path", ["draft/cell", "draft/rows", "draft/paste", "draft/stages", "draft/import", "discard", "revise"]
)
def test_refuses_each_change_to_who_may_only_look(cast, client_of, card, path):
    before = rows_of("plans")
    values = {"row": 1, "column": "title", "text": "x", "was": "Head angle", "act": "delete", "ids": [1], "reason": "x"}
    answer = client_of(cast.inspector).post(f"/plans/{card.uuid}/{path}/", values | {"change_note": "x"})
    assert answer.status_code == 403
    assert rows_of("plans") == before


def test_refuses_edits_of_a_released_revision(cast, proof_of, fixed_now, manager):
    card = released(cast, proof_of, fixed_now, PLAN)
    before = rows_of("plans")
    values = {"row": 1, "column": "title", "text": "x", "was": "Head angle"}
    answer = manager.post(f"/plans/{card.uuid}/draft/cell/", values)
    assert (answer.status_code, answer.json()["code"]) == (409, "not_a_draft")
    assert manager.get(f"/plans/{card.uuid}/draft/rows/1/").status_code == 400
    assert services.export_plan(card.id)
    assert rows_of("plans") == before


def test_says_which_findings_are_warnings_and_shows_them_before_advice(client_of, cast, fixed_now):
    text = plan_text({"gauge_kinds": None, "criticality": "major"}, numbered(102, second_inspection=None))
    card = draft(cast, fixed_now, text)
    page = client_of(cast.quality_manager).get(f"/plans/{card.uuid}/").content.decode()
    found = page[page.index('class="look-at"') :]
    assert found.index("warning:</span> is critical, but has no second inspection") < found.index(
        "names no kind of gauge"
    )
