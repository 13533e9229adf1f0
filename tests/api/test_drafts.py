"""Drafts and what is made of plans through the API: a draft edited row by row, files, comparisons, sheets."""

from __future__ import annotations

import base64
from typing import Any

import pytest
from pypdfium2 import PdfDocument

from qcapp.inspections.services import open_unit
from qcapp.plans.cards import RevisionCard
from tests.factories.plans import attribute, draft, numbered, plan_text, released
from tests.unchanged import rows_of

PLAIN = plan_text({"criticality": "major", "drawing": "AQ-1", "drawing_revision": "C"}, attribute(102))


@pytest.fixture
def card(cast, fixed_now) -> RevisionCard:
    return draft(cast, fixed_now, PLAIN)


@pytest.fixture
def api(cast, api_of) -> Any:
    return api_of(cast.quality_manager)


def text_of(answer: Any) -> str:
    assert (answer.status_code, answer["Content-Type"]) == (200, "application/pdf")
    return "\n".join(page.get_textpage().get_text_range() for page in PdfDocument(answer.content))


def edit(api: Any, card: RevisionCard, act: str, **fields: Any) -> dict[str, Any]:
    answer = api.post(f"plans/{card.uuid}/draft", {"act": act, **fields})
    assert api.status == 200, answer
    return answer


def test_edits_a_draft_one_act_at_a_time_and_undoes_it(api, card) -> None:
    before = api.get(f"plans/{card.uuid}/draft")
    first, second = (row["id"] for row in before["rows"])
    assert (before["complete"], before["undo"]) == (True, "")
    told = edit(api, card, "cell", row=first, column="limits", text="±0.2", was="±0.15")
    assert told["changed"][0]["cells"]["limits"] == "±0.2"
    assert (told["said"], told["order"]) == ("101 limits: ±0.15 → ±0.2", [first, second])
    assert edit(api, card, "down", ids=[first])["order"] == [second, first]
    assert edit(api, card, "up", ids=[first])["order"] == [first, second]
    assert edit(api, card, "place", ids=[first], row=second)["order"] == [second, first]
    assert len(edit(api, card, "duplicate", ids=[first])["order"]) == 3
    new = edit(api, card, "insert", row=first, below=False)["focus"]
    assert edit(api, card, "delete", ids=[new])["focus"] != new
    edit(api, card, "set", ids=[first, second], column="method", text="on the plate")
    edit(api, card, "renumber", stage="1")
    edit(api, card, "add_stage", stage="2", name="Coating")
    edit(api, card, "change_stage", stage="2", name="Coating", hold_point=True, witness_point=True)
    now = api.get(f"plans/{card.uuid}/draft")
    assert now["rows"][-1]["cells"]["witness_point"] == "yes"
    undone = edit(api, card, "undo", version=now["version"])
    assert undone["said"].startswith("undone: ")
    assert "witness_point" not in api.get(f"plans/{card.uuid}/draft")["rows"][-1]["cells"]


def test_names_what_is_wrong_with_a_row(api, card) -> None:
    row = api.get(f"plans/{card.uuid}/draft")["rows"][0]["id"]
    edit(api, card, "cell", row=row, column="limits", text="", was="±0.15")
    found = api.get(f"plans/{card.uuid}/draft")
    assert not found["complete"]
    assert found["rows"][0]["findings"][0]["code"] == "limits_missing"


def test_tells_the_second_of_two_and_overwrites_nothing(api, api_of, cast, card) -> None:
    row = api.get(f"plans/{card.uuid}/draft")["rows"][0]["id"]
    edit(api_of(cast.engineer), card, "cell", row=row, column="method", text="his", was="")
    before = rows_of("plans")
    given = {"act": "cell", "row": row, "column": "method", "text": "mine", "was": ""}
    assert api.post(f"plans/{card.uuid}/draft", given)["code"] == "changed_meanwhile"
    assert (api.status, rows_of("plans")) == (409, before)


def test_shows_what_a_file_would_change_before_it_does(api, card) -> None:
    text = plan_text({"criticality": "major", "limits": "±0.10"}, attribute(102), numbered(103, criticality="major"))
    given = {"name": "plan.csv", "content": base64.b64encode(text.encode()).decode()}
    shown = api.post(f"plans/{card.uuid}/draft/file", given)
    assert [(one["change"], one["number"]) for one in shown["differences"]] == [("changed", 101), ("added", 103)]
    assert len(api.get(f"plans/{card.uuid}/draft")["rows"]) == 2
    kept = api.post(f"plans/{card.uuid}/draft/file", given | {"keep": True, "version": shown["version"]})
    assert kept["version"] == shown["version"] + 1
    assert len(api.get(f"plans/{card.uuid}/draft")["rows"]) == 3
    again = given | {"keep": True, "version": shown["version"]}
    assert api.post(f"plans/{card.uuid}/draft/file", again)["code"] == "changed_meanwhile"


def test_gives_plan_files_that_read_back(api, card) -> None:
    csv = api.client.get(f"/api/v1/plans/{card.uuid}/file.csv")
    assert (csv.status_code, csv.content.decode().splitlines()[0][:12]) == (200, "stage_number")
    workbook = api.client.get(f"/api/v1/plans/{card.uuid}/file.xlsx").content
    given = {"name": "plan.xlsx", "content": base64.b64encode(workbook).decode()}
    assert api.post(f"plans/{card.uuid}/draft/file", given)["differences"] == []
    api.get(f"plans/{card.uuid}/file.ods")
    assert api.status == 404


def test_begins_the_next_revision_compares_it_and_discards_it(api, cast, proof_of, fixed_now) -> None:
    first = released(cast, proof_of, fixed_now, PLAIN)
    new = api.post(f"plans/{first.uuid}/revise", {"change_note": "tighter"})
    assert (api.status, new["letter"], new["state"]) == (201, "B", "draft")
    row = api.get(f"plans/{new['uuid']}/draft")["rows"][0]["id"]
    given = {"act": "cell", "row": row, "column": "limits", "text": "±0.10", "was": "±0.15"}
    api.post(f"plans/{new['uuid']}/draft", given)
    found = api.get(f"plans/{new['uuid']}/compare")
    assert [field["effect"] for field in found["differences"][0]["fields"]] == ["tightened"]
    assert api.get(f"plans/{first.uuid}/compare", **{"with": new["uuid"]})["differences"][0]["fields"][0]["effect"]
    assert "tightened" in text_of(api.client.get(f"/api/v1/plans/{new['uuid']}/compare/pdf"))
    assert api.get(f"plans/{first.uuid}/compare")["code"] == "nothing_to_compare"
    assert api.post(f"plans/{new['uuid']}/discard", {"reason": "not needed"})["state"] == "discarded"
    assert api.get(f"plans/{first.uuid}/draft")["code"] == "not_a_draft"


def test_prints_blank_sheets_of_a_plan_and_of_a_unit(api, cast, proof_of, fixed_now) -> None:
    card = released(cast, proof_of, fixed_now, PLAIN)
    unit = open_unit(by=cast.quality_manager, family_code="FR-200", serial="FR-200-0001", at=fixed_now)
    assert "Head angle" in text_of(api.client.get(f"/api/v1/plans/{card.uuid}/sheets/pdf?stage=1&paper=letter"))
    assert unit.serial in text_of(api.client.get(f"/api/v1/units/{unit.serial}/sheets/pdf"))
    assert api.get(f"plans/{card.uuid}/sheets/pdf", stage="9")["code"] == "stage_unknown"


def test_leads_from_a_drawing_to_the_revisions_that_cite_it_and_their_units(api, cast, proof_of, fixed_now) -> None:
    released(cast, proof_of, fixed_now, PLAIN)
    unit = open_unit(by=cast.quality_manager, family_code="FR-200", serial="FR-200-0001", at=fixed_now)
    (found,) = api.get("citing", q="AQ-1 C")["revisions"]
    assert (found["letter"], found["checkpoints"], found["units"]) == ("A", [101], [unit.serial])
    assert api.get("citing", q="AQ-9")["revisions"] == []


def test_says_what_a_revision_would_have_done_to_the_last_units(api, card) -> None:
    found = api.get(f"plans/{card.uuid}/try", units="10")
    assert (found["judged"], found["fall_out"], found["units"]) == (0, 0, [])
    assert api.get(f"plans/{card.uuid}/try", units="x")["code"] == "units_unreadable"


def test_records_a_witness_and_tells_the_bench(cast, api_of, proof_of, fixed_now) -> None:
    released(cast, proof_of, fixed_now, plan_text({"criticality": "major", "witness_point": "yes"}))
    unit = open_unit(by=cast.inspector, family_code="FR-200", serial="FR-200-0001", at=fixed_now)
    api = api_of(cast.inspector)
    assert api.get(f"units/{unit.serial}/bench")["stages"][0]["witness"] == "Nobody was asked to come yet."
    given = {"stage": 1, "what": "waived", "whom": "R. Quill", "note": "photos"}
    (told,) = api.post(f"units/{unit.serial}/witnesses", given)["witnesses"]
    assert (api.status, told["what"], told["recorded_by"]) == (201, "waived", cast.inspector.name)
    assert api.get(f"units/{unit.serial}/witnesses")["witnesses"] == [told]
    assert api.get(f"units/{unit.serial}/bench")["stages"][0]["witness"] == "R. Quill waived attendance: photos."
