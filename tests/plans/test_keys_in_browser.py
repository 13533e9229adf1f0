"""The draft's table by the keyboard alone: a stage of thirty checkpoints, and keys that need no server."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import pytest
from django.utils import timezone

from qcapp.plans.queries.drafts import draft_card
from tests.factories.plans import attribute, draft, plan_text

from .conftest import OFFLINE, Editor

if TYPE_CHECKING:
    from playwright.sync_api import Page, Response, Route

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
HERE = "() => [document.activeElement.closest('tr').dataset.row, document.activeElement.dataset.column]"


@pytest.fixture
def page(editor: Editor) -> Iterator[Page]:
    with editor(OFFLINE, patience=60_000) as page:
        yield page


def tell(page: Page, text: str) -> None:
    """Type into the cell that has the focus, keep it, and go right; over what stands there already."""
    if page.evaluate("() => document.activeElement.textContent") == text:
        page.keyboard.press("ArrowRight")
        return
    with page.expect_response(kept) as answer:
        page.keyboard.type(text)
        page.keyboard.press("Tab")
    assert answer.value.status == 200, (text, answer.value.text())
    page.locator("#rows .saving").first.wait_for(state="detached")  # the row is drawn with what the answer changed


def kept(answer: Response) -> bool:
    """The answer to a cell that is kept, not to one that is tried while it is typed."""
    return answer.url.endswith("/draft/cell/") and "try=" not in (answer.request.post_data or "")


def another(page: Page, number: int) -> None:
    """A row below, its title and, at every third, what a measured checkpoint has besides."""
    page.keyboard.press("Control+Enter")
    page.locator("#rows td.editing input").wait_for()
    page.keyboard.press("Control+A")
    tell(page, f"Bore {number}" if number % 3 == 0 else f"Look {number}")
    if number % 3:
        return
    tell(page, "measured")
    for _ in range(4):  # over nominal, limits, lower and upper to the unit of measure, which a fit needs first
        page.keyboard.press("ArrowRight")
    for text in ("mm", "micrometer", "major"):
        tell(page, text)
    for _ in range(7):
        page.keyboard.press("ArrowLeft")
    for text in ("25", "H7"):
        tell(page, text)


def test_enters_a_stage_of_thirty_checkpoints_without_a_mouse(page: Page, cast) -> None:
    card = draft(cast, timezone.now(), plan_text({"criticality": "major"}))
    page.goto(f"/plans/{card.uuid}/?stage=all")
    page.locator("#rows td").first.focus()
    for number in range(2, 31):
        another(page, number)
    rows = draft_card(card.id, card.family_id).read
    assert [row.cells["title"] for row in rows.paper.rows][:4] == ["Head angle", "Look 2", "Bore 3", "Look 4"]
    assert len(rows.plan.checkpoints) == 30
    bore = rows.plan.checkpoints[29]
    said = (bore.title, bore.kind, bore.criticality, bore.gauge_kinds)
    assert said == ("Bore 30", "measured", "major", ("micrometer",))
    assert str(bore.spec.band.upper) == "25.021"
    assert {row.cells["stage_number"] for row in rows.paper.rows} == {"1"}


def test_keeps_what_is_typed_before_the_answer_to_a_new_kind_arrives(page: Page, cast) -> None:
    """A kind brings values of its own, here the degrees of the row above; what is typed meanwhile still counts."""
    card = draft(cast, timezone.now(), plan_text({"criticality": "major"}, attribute(102)))
    page.goto(f"/plans/{card.uuid}/?stage=all")
    page.locator("#rows td").first.focus()
    for key in ("ArrowDown", "ArrowRight", "ArrowRight"):
        page.keyboard.press(key)
    held: list[Route] = []
    page.route("**/draft/cell/", lambda route: held.append(route) if not held else route.fallback())
    with page.expect_request("**/draft/cell/"):
        page.keyboard.type("measured")
        page.keyboard.press("Tab")
    for _ in range(4):
        page.keyboard.press("ArrowRight")
    page.keyboard.type("mm")
    with page.expect_response(lambda answer: kept(answer) and "column=kind" in (answer.request.post_data or "")):
        held[0].continue_()
    page.locator("#rows tr.here .saving").first.wait_for(state="detached")
    with page.expect_response(kept) as answer:
        page.keyboard.press("Tab")
    assert answer.value.status == 200, answer.value.text()
    rows = draft_card(card.id, card.family_id).read.paper.rows
    assert (rows[1].cells["kind"], rows[1].cells["unit_of_measure"]) == ("measured", "mm")


def test_answers_an_arrow_key_in_the_page_itself(page: Page, cast) -> None:
    """The focus is on the other cell when the key's event is over: no request is made, and none is waited for."""
    card = draft(cast, timezone.now(), plan_text({"criticality": "major"}, {"number": "102", "key": "other"}))
    page.goto(f"/plans/{card.uuid}/?stage=all")
    page.locator("#rows td").first.focus()
    page.context.set_offline(True)
    for key, wanted in (("ArrowDown", ["2", "number"]), ("ArrowRight", ["2", "title"]), ("ArrowUp", ["1", "title"])):
        page.keyboard.press(key)
        assert page.evaluate(HERE) == wanted
