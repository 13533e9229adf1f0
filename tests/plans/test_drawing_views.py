"""The ballooned drawing's page, its requests, and the printed pages of a plan."""

from __future__ import annotations

import io
import re
from pathlib import Path
from uuid import uuid4

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from pypdf import PdfReader

from qcapp.plans import queries, services
from qcapp.plans.queries.marks import marks_of, sheets_of
from qcapp.plans.services import drawings, editing
from tests.evidence.files import pdf, picture
from tests.factories.plans import attribute, draft, numbered, plan_text, released
from tests.unchanged import rows_of

SVG = (
    b'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 420 297"><script>x</script><path d="M9 9h99v99"/>'
    b'<text x="9" y="50">FRAME</text></svg>'
)
PLAN = plan_text(
    {"instruction": "Turn the head twice.", "readings": "3"},
    attribute(102, caution="Stored energy: nobody in line."),
    numbered(201, stage_number="2", stage_name="Finish", hold_point="yes", kind="record", form="heat",
             nominal=None, limits=None, unit_of_measure=None, decimals=None, gauge_kinds=None),
)  # fmt: skip


@pytest.fixture(autouse=True)
def own_folder(settings, tmp_path: Path) -> None:
    settings.QCAPP_DATA_DIR = tmp_path


@pytest.fixture
def manager(cast, client_of):
    return client_of(cast.quality_manager)


@pytest.fixture
def card(cast, fixed_now):
    return draft(cast, fixed_now, PLAN)


@pytest.fixture
def sheet(cast, card, fixed_now):
    return drawings.add_sheets(
        by=cast.quality_manager, revision_uuid=card.uuid, number="FR-1", document_revision="C", title="Side view",
        content=SVG, name="frame.svg", at=fixed_now,
    ).cards[0]  # fmt: skip


def text_of(answer) -> str:
    return answer.content.decode()


def printed(answer) -> str:
    assert answer["Content-Type"] == "application/pdf", answer.content[:300]
    return "\n".join(page.extract_text() for page in PdfReader(io.BytesIO(answer.content)).pages)


# --- the page ----------------------------------------------------------------------------------------------


def test_shows_an_empty_page_with_the_form_to_add_a_drawing(manager, card) -> None:
    page = text_of(manager.get(f"/plans/{card.uuid}/drawing/"))
    assert "No drawing is kept with this revision" in page
    assert "Add the drawing" in page
    assert "drawing.js" not in page


def test_adds_an_upload_and_says_what_was_left_out(manager, card) -> None:
    file = SimpleUploadedFile("frame.svg", SVG)
    given = {"file": file, "number": "FR-1", "document_revision": "C", "sheet": "1"}
    answer = manager.post(f"/plans/{card.uuid}/drawing/sheets/", given, follow=True)
    assert "Left out, because a drawing does not need it: 1 × script." in text_of(answer)
    assert len(sheets_of(card.id)) == 1


@pytest.mark.parametrize(
    ("changes", "sentence", "status"),
    [
        ({"file": SimpleUploadedFile("x.png", b"no picture")}, "no picture that can be read", 400),
        ({"number": ""}, "This field is required", 400),
        ({"pages": "9", "file": SimpleUploadedFile("x.svg", b"<svg/>")}, "how large the drawing is", 400),
    ],
)
def test_shows_a_refused_upload_with_its_sentence(manager, card, changes, sentence, status) -> None:
    given = {"file": SimpleUploadedFile("f.svg", SVG), "number": "F", "document_revision": "C", "sheet": "1"} | changes
    before = rows_of("plans", "evidence")
    answer = manager.post(f"/plans/{card.uuid}/drawing/sheets/", given)
    assert answer.status_code == status
    assert sentence in text_of(answer)
    assert rows_of("plans", "evidence") == before


def test_sets_moves_and_takes_away_a_balloon(manager, card, sheet) -> None:
    address = f"/plans/{card.uuid}/drawing/balloon/"
    set_at = {"key": "head_angle", "sheet": str(sheet.uuid), "across": "250", "down": "50000", "was": ""}
    seen = manager.post(address, set_at).json()["seen"]
    assert seen == f"{sheet.uuid} 250 50000"
    again = manager.post(address, set_at)
    assert (again.status_code, again.json()["code"]) == (409, "changed_meanwhile")
    assert again.json()["details"]["now"] == seen
    assert manager.post(address, {"key": "head_angle", "act": "remove", "was": seen}).json() == {"seen": ""}
    assert not marks_of(card.id).balloons


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"across": "-1"}, "place_unreadable"),
        ({"across": "x"}, "place_unreadable"),
        ({"sheet": "x"}, "sheet_unknown"),
        ({"sheet": str(uuid4())}, "sheet_unknown"),
        ({"key": "nothing"}, "checkpoint_unknown"),
    ],
)
def test_refuses_a_balloon_with_a_sentence(manager, card, sheet, changes, code) -> None:
    given = {"key": "head_angle", "sheet": str(sheet.uuid), "across": "1", "down": "1"} | changes
    before = rows_of("plans")
    answer = manager.post(f"/plans/{card.uuid}/drawing/balloon/", given).json()
    assert answer["code"] == code
    assert answer["message"].endswith(".")
    assert rows_of("plans") == before


def test_lists_what_has_no_balloon_and_what_is_astray(
    cast, manager, card, sheet, fixed_now, django_assert_max_num_queries
) -> None:
    known = {"by": cast.quality_manager, "revision_uuid": card.uuid, "at": fixed_now}
    drawings.place_balloon(key="checkpoint_102", sheet_uuid=sheet.uuid, across=5, down=5, **known)
    with django_assert_max_num_queries(20):
        page = text_of(manager.get(f"/plans/{card.uuid}/drawing/"))
    assert "2 of 3 checkpoints without a balloon" in page
    assert 'data-key="checkpoint_102"' in page
    assert " style=" not in page
    editing.delete_rows(ids=[2], **known)
    page = text_of(manager.get(f"/plans/{card.uuid}/drawing/"))
    assert "1 balloon without a checkpoint" in page
    answer = manager.post(f"/plans/{card.uuid}/drawing/astray/", follow=True)
    assert "1 balloon was taken away" in text_of(answer)


def test_takes_a_sheet_out(manager, card, sheet) -> None:
    answer = manager.post(f"/plans/{card.uuid}/drawing/sheets/{sheet.uuid}/remove/", follow=True)
    assert "The sheet was taken out, and 0 balloons with it" in text_of(answer)
    answer = manager.post(f"/plans/{card.uuid}/drawing/sheets/{sheet.uuid}/remove/", follow=True)
    assert "not in this draft" in text_of(answer)


def test_keeps_a_reference_picture(manager, card, sheet) -> None:
    address = f"/plans/{card.uuid}/drawing/picture/"
    given = {"key": "head_angle", "number": "101", "file": SimpleUploadedFile("so.jpg", picture())}
    page = text_of(manager.post(address, given, follow=True))
    assert "The reference picture was kept" in page
    assert "/small/" in page
    assert "No picture was chosen" in text_of(manager.post(address, {"key": "head_angle"}, follow=True))
    page = text_of(manager.post(address, {"key": "head_angle", "number": "101", "act": "remove"}, follow=True))
    assert "There is none." in page


def test_who_may_only_look_sees_the_drawing_and_changes_nothing(cast, client_of, card, sheet) -> None:
    inspector = client_of(cast.inspector)
    page = text_of(inspector.get(f"/plans/{card.uuid}/drawing/"))
    assert "Side view" in page
    assert "Add the drawing" not in page
    assert inspector.post(f"/plans/{card.uuid}/drawing/balloon/", {}).status_code == 403


# --- prints ------------------------------------------------------------------------------------------------


def test_gives_ballooned_sheets_that_need_no_other_file(cast, card, sheet, fixed_now) -> None:
    known = {"by": cast.quality_manager, "revision_uuid": card.uuid, "at": fixed_now}
    drawings.place_balloon(key="head_angle", sheet_uuid=sheet.uuid, across=50_000, down=50_000, **known)
    (found,) = queries.ballooned_sheets(card.id)
    assert found.title == "FR-1 rev C, sheet 1: Side view"
    assert 'href="data:image/svg+xml;base64,' in found.svg
    assert "translate(1000.0 707.0)" in found.svg
    assert ">101</text>" in found.svg


def test_prints_the_ballooned_drawing(cast, manager, card, sheet, fixed_now) -> None:
    known = {"by": cast.quality_manager, "revision_uuid": card.uuid, "at": fixed_now}
    drawings.place_balloon(key="head_angle", sheet_uuid=sheet.uuid, across=50_000, down=50_000, **known)
    text = printed(manager.get(f"/plans/{card.uuid}/drawing.pdf"))
    for words in ("FRAME", "FR-1 rev C, sheet 1", "Head angle", "Without a balloon", "Checkpoint 102", "page 1 of"):
        assert words in text, words


def test_prints_blank_sheets_with_boxes_cautions_and_a_code(manager, card) -> None:
    text = printed(manager.get(f"/plans/{card.uuid}/paper.pdf"))
    for words in (
        "Stage 1 Alignment", "Stage 2 Finish", "hold point", "Head angle", "61.85 to 62.15", "Turn the head twice.",
        "Caution: Stored energy", "conforms", "3.", "Measured by", "Keyed in by", "licensed or qualified",
        "page 1 of 2", "draft: not to be worked to",
    ):  # fmt: skip
        assert words in text, words
    assert "demonstration, not valid" not in text


@pytest.mark.parametrize(("paper", "size"), [("", (595, 842)), ("?paper=letter", (612, 792))])
def test_prints_on_either_paper(manager, card, paper, size, settings) -> None:
    settings.QCAPP_DEMO = True
    answer = manager.get(f"/plans/{card.uuid}/paper.pdf{paper}")
    assert "demonstration, not valid" in printed(answer)
    box = PdfReader(io.BytesIO(answer.content)).pages[0].mediabox
    assert (round(box.width), round(box.height)) == size


def test_prints_one_stage_and_says_when_there_is_none(manager, card) -> None:
    assert "Stage 1" not in printed(manager.get(f"/plans/{card.uuid}/paper.pdf?stage=2"))
    assert manager.get(f"/plans/{card.uuid}/paper.pdf?stage=7").status_code == 404


def test_prints_a_comparison_with_the_limits(cast, proof_of, manager, fixed_now) -> None:
    first = released(cast, proof_of, fixed_now, PLAN)
    following = services.revise(by=cast.quality_manager, revision_uuid=first.uuid, change_note="tighter", at=fixed_now)
    known = {"by": cast.quality_manager, "revision_uuid": following.uuid, "at": fixed_now}
    editing.set_cell(row_id=1, column="limits", text="±0.1", was="±0.15", **known)
    text = printed(manager.get(f"/plans/{following.uuid}/compare.pdf"))
    for words in ("revision A and B compared", "1 × tightened", "61.85 to 62.15", "61.90 to 62.10", "tighter"):
        assert words in text, words
    page = text_of(manager.get(f"/plans/{following.uuid}/compare/"))
    assert page.count('class="ruler"') == 2
    wide, narrow = re.findall(r'class="band" x="([0-9.]+)" y="42" width="([0-9.]+)"', page)
    assert float(narrow[1]) / float(wide[1]) == pytest.approx(0.1 / 0.15, abs=0.01)  # drawn on one scale
    assert manager.get(f"/plans/{first.uuid}/compare.pdf").status_code == 404


def test_finds_the_code_on_the_sheet(manager, card) -> None:
    import pypdfium2
    import zxingcpp

    answer = manager.get(f"/plans/{card.uuid}/paper.pdf?stage=2")
    picture_ = pypdfium2.PdfDocument(answer.content)[0].render(scale=3).to_pil()
    (code,) = zxingcpp.read_barcodes(picture_)
    assert code.text == f"http://testserver/plans/{card.uuid}/?stage=2"


def test_shows_the_pages_of_a_document_before_any_becomes_a_sheet(manager, card):
    before = rows_of("plans", "evidence")
    file = SimpleUploadedFile("frame.pdf", pdf(3), "application/pdf")
    told = manager.post(f"/plans/{card.uuid}/drawing/pages/", {"file": file}).json()
    assert [one["page"] for one in told["pages"]] == [1, 2, 3]
    assert told["most"] == 12
    assert rows_of("plans", "evidence") == before


def test_says_why_no_pages_can_be_shown(manager, card):
    file = SimpleUploadedFile("manual.pdf", pdf(300), "application/pdf")
    answer = manager.post(f"/plans/{card.uuid}/drawing/pages/", {"file": file})
    assert answer.status_code == 400
    assert answer.json()["message"] == (
        "The document has 300 pages; a drawing has at most 60. Save its sheets by themselves."
    )
    assert manager.post(f"/plans/{card.uuid}/drawing/pages/").json()["code"] == "not_a_document"
