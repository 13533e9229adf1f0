"""The ballooned drawing without a mouse: every checkpoint of a draft gets its balloon by keys alone."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from django.utils import timezone

from qcapp.plans.queries.marks import marks_of, sheets_of
from qcapp.plans.queries.weld_maps import weld_map
from qcapp.plans.services import drawings
from tests.evidence.files import pdf
from tests.factories.plans import attribute, draft, plan_text

from .conftest import REFUSED, Editor

if TYPE_CHECKING:
    from playwright.sync_api import Page

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
SVG = b'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 400 300"><path d="M9 9h300v200" stroke="black"/></svg>'


@pytest.fixture
def card(cast, settings, tmp_path: Path):
    settings.QCAPP_DATA_DIR = tmp_path
    at = timezone.now()
    found = draft(cast, at, plan_text({}, attribute(102), attribute(103)))
    drawings.add_sheets(
        by=cast.quality_manager, revision_uuid=found.uuid, number="FR-1", document_revision="C", title="Side view",
        content=SVG, name="f.svg", at=at,
    )  # fmt: skip
    return found


@pytest.fixture
def page(editor: Editor) -> Iterator[Page]:
    """A refusal is an answer like any other."""
    with editor(REFUSED) as page:
        yield page


def told(page: Page, text: str) -> None:
    page.locator("#told", has_text=text).wait_for()


def kept(page: Page, key: str) -> None:
    """The server has answered: what the list knows of the balloon is what the server said."""
    page.locator(f'#spots [data-key="{key}"][data-seen*=" "]').wait_for(state="attached")


def test_sets_moves_and_takes_away_balloons_by_keys_alone(page: Page, card) -> None:
    page.goto(f"/plans/{card.uuid}/drawing/")
    page.locator("#chosen", has_text="101 Head angle: no balloon yet").wait_for()
    for _ in range(40):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.id") == "view":
            break
    assert page.evaluate("document.activeElement.id") == "view"
    with page.expect_response("**/balloon/"):
        page.keyboard.press("Enter")  # in the middle of the sheet
    told(page, "101 is set")
    page.locator("#chosen", has_text="102").wait_for()
    with page.expect_response("**/balloon/"):
        page.keyboard.press("Shift+ArrowRight")
        page.keyboard.press("ArrowDown")
        page.keyboard.press("Enter")
    told(page, "102 is set")
    with page.expect_response("**/balloon/"):
        page.keyboard.press("Shift+ArrowLeft")
        page.keyboard.press("Enter")
    told(page, "103 is set")
    page.locator("#missing", has_text="Every checkpoint has its balloon").wait_for()
    for key in ("head_angle", "checkpoint_102", "checkpoint_103"):
        kept(page, key)
    page.keyboard.press("PageUp")
    with page.expect_response("**/balloon/"):
        page.keyboard.press("Delete")
    told(page, "102 has no balloon now")
    page.reload()
    page.locator("#missing", has_text="1 of 3 checkpoints without a balloon").wait_for()
    found = marks_of(card.id).balloons
    assert set(found) == {"head_angle", "checkpoint_103"}
    assert (found["head_angle"].across, found["head_angle"].down) == (50_000, 50_000)
    assert found["checkpoint_103"].down > 50_000
    looks_closer_by_keys_wheel_and_two_fingers(page)


def looks_closer_by_keys_wheel_and_two_fingers(page: Page) -> None:
    """The part of the sheet that is shown: narrower by each way of looking closer, elsewhere after drawing it along."""
    whole = shown(page)
    page.locator("#view").focus()
    page.keyboard.press("+")
    by_key = shown(page)
    box = page.locator("#view").bounding_box()
    assert box
    x, y = box["x"] + box["width"] / 3, box["y"] + box["height"] / 3  # where no balloon is
    page.mouse.move(x, y)
    page.mouse.wheel(0, -100)
    by_wheel = another(page, by_key)
    page.mouse.down()
    page.mouse.move(x + 60, y + 20, steps=4)
    page.mouse.up()
    drawn = another(page, by_wheel)
    fingers = page.context.new_cdp_session(page)
    for kind, apart in (("touchStart", 20), ("touchMove", 40), ("touchMove", 60), ("touchMove", 80), ("touchEnd", 0)):
        points = [{"x": x - apart, "y": y, "id": 0}, {"x": x + apart, "y": y, "id": 1}] if apart else []
        fingers.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})
    assert whole[2] > by_key[2] > by_wheel[2] == drawn[2] > another(page, drawn)[2]
    assert drawn[0] < by_wheel[0]
    page.locator("#view").focus()
    page.keyboard.press("0")
    assert shown(page) == whole


def another(page: Page, before: list[float]) -> list[float]:
    """What is seen once it is no longer what was seen before; the browser passes gestures on in its own time."""
    for _ in range(100):
        if (now := shown(page)) != before:
            return now
        page.wait_for_timeout(50)
    raise AssertionError("what is seen of the sheet did not change")


def shown(page: Page) -> list[float]:
    """Left, top, width and height of what is seen of the sheet."""
    return [float(one) for one in (page.get_attribute("#view svg", "viewBox") or "").split()]


def test_undoes_the_last_steps_by_keys(page: Page, card) -> None:
    page.goto(f"/plans/{card.uuid}/drawing/?checkpoint=101")
    page.locator("#chosen", has_text="101").wait_for()
    page.locator("#view").focus()
    for keys in (["Enter"], ["PageUp", "Shift+ArrowRight", "Enter"], ["Delete"]):
        with page.expect_response("**/balloon/"):
            for key in keys:
                page.keyboard.press(key)
    assert marks_of(card.id).balloons == {}
    for across in (None, 50_000):
        with page.expect_response("**/balloon/"):
            page.keyboard.press("Control+z")
        found = marks_of(card.id).balloons["head_angle"]
        assert found.across == across if across else found.across > 50_000
    with page.expect_response("**/balloon/"):
        page.keyboard.press("Control+z")
    assert marks_of(card.id).balloons == {}
    assert page.locator("#undo").is_disabled()


def test_tells_the_second_of_two_and_shows_where_the_balloon_is_now(page: Page, card, cast) -> None:
    page.goto(f"/plans/{card.uuid}/drawing/?checkpoint=101")
    page.locator("#chosen", has_text="101").wait_for()
    (sheet,) = sheets_of(card.id)
    drawings.place_balloon(
        by=cast.engineer, revision_uuid=card.uuid, key="head_angle", sheet_uuid=sheet.uuid, across=1000, down=2000,
        at=timezone.now(),
    )  # fmt: skip
    page.locator("#view").focus()
    with page.expect_response("**/balloon/"):
        page.keyboard.press("Enter")
    page.locator("#refused", has_text="Somebody else moved this balloon").wait_for()
    assert page.locator('.balloon[data-key="head_angle"]').get_attribute("data-x") == "20.0"
    assert marks_of(card.id).balloons["head_angle"].across == 1000


def test_places_the_joints_of_a_weld_map_by_keys_and_by_tap(page: Page, cast, settings, tmp_path: Path) -> None:
    settings.QCAPP_DATA_DIR = tmp_path
    joints = (attribute(102, title="W1 head tube, visual", joint="W1"), attribute(103, title="W2, visual", joint="W2"))
    found = draft(cast, timezone.now(), plan_text({}, *joints))
    drawings.add_sheets(
        by=cast.quality_manager, revision_uuid=found.uuid, number="FR-1", document_revision="C", title="Side view",
        content=SVG, name="f.svg", at=timezone.now(),
    )  # fmt: skip
    page.goto(f"/plans/{found.uuid}/weld-map/")
    page.locator("#chosen", has_text="W1 head tube: no mark yet").wait_for()
    page.locator("#view").focus()
    with page.expect_response("**/joint/"):
        page.keyboard.press("Enter")
    told(page, "W1 is set")
    page.locator("#chosen", has_text="W2").wait_for()
    with page.expect_response("**/joint/"):
        page.locator("#view").click(position={"x": 40, "y": 40})
    told(page, "W2 is set")
    page.locator("#missing", has_text="Every joint has its mark").wait_for()
    placed = weld_map(found).places
    assert (placed["W1"].across, placed["W1"].down) == (50_000, 50_000)
    assert placed["W2"].across < 50_000


def test_chooses_pages_of_a_document_by_small_pictures_with_the_keyboard(page: Page, card) -> None:
    page.goto(f"/plans/{card.uuid}/drawing/")
    page.locator("summary", has_text="Add a drawing").press("Enter")
    page.locator("input[type=file][name=file]").last.set_input_files(
        {"name": "frame.pdf", "mimeType": "application/pdf", "buffer": pdf(4)}
    )
    page.locator(".page-choice img").nth(3).wait_for()
    boxes = page.locator(".page-choice input[type=checkbox]")
    for number in (0, 2, 3):
        boxes.nth(number).press("Space")
    assert page.locator("input[name=pages]").input_value() == "1, 3-4"
    page.get_by_role("button", name="Add the drawing").press("Enter")
    page.get_by_text("3 sheets were added.").wait_for()
    assert len(sheets_of(card.id)) == 4
