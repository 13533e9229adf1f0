"""The draft's table within the page: no column runs out of it, and where all are shown, number and title stay."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from django.utils import timezone

from qcapp.people.services import set_language
from tests.factories.plans import draft

from .conftest import Editor

if TYPE_CHECKING:
    from playwright.sync_api import Page

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
WIDE = "() => { const box = document.querySelector('.scroller'); return [box.scrollWidth, box.clientWidth]; }"
# Whether the middle of the cell is what one sees there, and not what stays in front of it.
SEEN = """(cell) => { const at = cell.getBoundingClientRect();
  return cell.contains(document.elementFromPoint(at.left + at.width / 2, at.top + at.height / 2)); }"""


@pytest.mark.parametrize("language", ["en", "de"])
def test_fits_desk_and_upright_tablet(editor: Editor, cast, language: str) -> None:
    set_language(by=cast.quality_manager, language=language, at=timezone.now())
    card = draft(cast, timezone.now())
    with editor() as page:
        page.goto(f"/plans/{card.uuid}/?stage=all")
        for width in (1440, 1180, 820):
            page.set_viewport_size({"width": width, "height": 900})
            needed, there = page.evaluate(WIDE)
            assert needed <= there, width


def test_keeps_number_and_title_where_all_columns_are_shown(editor: Editor, cast) -> None:
    card = draft(cast, timezone.now())
    with editor() as page:
        page.goto(f"/plans/{card.uuid}/?columns=all")
        needed, there = page.evaluate(WIDE)
        assert needed > there
        page.locator("#rows td").first.focus()
        page.keyboard.press("End")
        assert page.evaluate("() => document.querySelector('.scroller').scrollLeft") > 0
        for column in ("number", "title", "stage_number"):
            assert seen(page, f"#rows td[data-column={column}]"), column
        for place in (1, 2):
            assert seen(page, f"#sheet th:nth-child({place})"), place
        for _ in range(18):  # back to what lies to the left: it is not left behind the title
            page.keyboard.press("ArrowLeft")
            assert page.evaluate(f"() => ({SEEN})(document.activeElement)")


def seen(page: Page, cell: str) -> bool:
    return bool(page.locator(cell).first.evaluate(SEEN))
