"""What stands beside a question: the spot on the drawing, the reference picture, the value before; and the overview.

All of it without network too.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from django.utils import timezone

from qcapp.inspections.queries import inspection_of
from qcapp.nonconformance.models import ReportMark
from qcapp.plans.services import drawings
from tests.evidence.files import picture

from .conftest import Shop, Tablet
from .test_beside_in_browser import NONE_KEPT
from .test_faults import at_work, until_sent

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
Tablets = Callable[..., Tablet]
SVG = b'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 420 297"><path d="M20 20h380v257h-380z"/></svg>'
PLAN = """\
stage_number,stage_name,number,key,title,kind,nominal,limits,unit_of_measure,decimals,criticality,paired_with,photo,guard
1,Tack-up,101,before,Width before welding,measured,20,±0.5,mm,1,minor,,,
1,Tack-up,102,look,Look of the tacks,attribute,,,,,minor,,yes,
2,Alignment,201,after,Width after welding,measured,20,±0.5,mm,1,minor,before,,
2,Alignment,202,gap,Gap at the plate,measured,,flatness 0.30,mm,2,minor,,,0.05
"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The plan is released once, and so its pictures are kept once, for every test here."""
    return tmp_path_factory.mktemp("drawn")


@pytest.fixture(autouse=True)
def data_folder(settings: Any, folder: Path) -> None:
    settings.QCAPP_DATA_DIR = folder


@pytest.fixture
def drawn(shop: Shop) -> str:
    """The serial of a unit whose checkpoint 201 has a spot on a drawing and a picture of how it should look."""

    def draw(card: Any) -> None:
        known: dict[str, Any] = {"by": shop.people["1010"], "revision_uuid": card.uuid, "at": timezone.now()}
        told = {"number": "DR-1", "document_revision": "A", "content": SVG, "name": "f.svg", "title": "Side view"}
        (sheet,) = drawings.add_sheets(**told, **known).cards
        drawings.place_balloon(key="after", sheet_uuid=sheet.uuid, across=25_000, down=50_000, **known)
        drawings.set_picture(key="after", content=picture(), name="so.jpg", **known)

    shop.release_family("DR-1", "drawn part", PLAN, draw)
    return shop.open_unit("DR-1")


def kept_here(one: Tablet, selector: str) -> None:
    """The picture comes from the tablet's own store, and is there."""
    node = f"document.querySelector('{selector}')"
    one.until(f"/^blob:/.test({node}.getAttribute('href') ?? {node}.src)")


def test_shows_the_spot_the_picture_and_the_value_before_and_takes_a_mark_without_network(
    tablet: Tablets, shop: Shop, drawn: str
) -> None:
    one = at_work(tablet(path=f"/units/{drawn}/bench/"))
    one.enter("20.1").until_sent()
    one.open(f"/units/{drawn}/bench/?checkpoint=after")
    kept_here(one, ".spot svg image")
    kept_here(one, ".spot img")
    one.context.set_offline(True)
    one.page.reload()
    one.page.wait_for_selector("#question")
    assert "101 before 20.1 mm" in one.page.inner_text(".question .given")
    kept_here(one, ".spot svg image")
    one.until("document.querySelector('.spot img').naturalWidth > 0")
    one.page.get_by_role("button", name="Show 201 on the drawing, Side view").click()
    one.page.wait_for_selector("dialog[open] svg.sheet")
    one.page.keyboard.press("Escape")
    one.page.get_by_role("button", name="Show how 201 should look").click()
    one.until("document.querySelector('dialog[open] img.sheet').naturalWidth > 0")
    one.page.keyboard.press("Escape")
    one.enter("20.9")
    one.page.click("#mark")
    keep = one.page.get_by_role("button", name="Keep the mark")
    assert keep.is_disabled()
    one.page.locator("dialog[open] svg.sheet").click()
    keep.click()
    one.until_on_tablet(2)
    assert not ReportMark.objects.exists()
    one.context.set_offline(False)
    until_sent(one)
    one.until(NONE_KEPT)
    mark = ReportMark.objects.get()
    assert mark.report.item.unit.serial == drawn
    assert [abs(float(mark.x) - 0.25) < 0.06, abs(float(mark.y) - 0.5) < 0.06] == [True, True]


def test_finds_in_the_overview_what_is_near_out_open_without_a_photo_or_in_conflict(
    tablet: Tablets, shop: Shop, drawn: str
) -> None:
    bench = f"/units/{drawn}/bench/"
    one, two = tablet("1001", path=bench), tablet("1002", path=bench)
    at_work(one).context.set_offline(True)
    two.enter("20.2").until_sent()
    one.enter("20.1")
    one.page.wait_for_selector(".verdict")
    one.context.set_offline(False)
    until_sent(one)
    one.page.wait_for_selector("#conflict")
    one.context.set_offline(True)
    for key, value in (("after", "20.9"), ("gap", "0.29")):
        one.page.goto(f"{one.address}{bench}?checkpoint={key}")
        one.page.wait_for_selector("#question")
        one.enter(value)
        one.page.wait_for_selector(".verdict")
    one.page.click("#stage-now")
    found = {}
    for button in one.page.locator(".filters button").all():
        name = button.get_attribute("data-filter")
        button.click()
        found[name] = one.page.locator(".overview-list .no").all_inner_texts()
    assert found == {
        "all": ["101", "102", "201", "202"],
        "open": ["102"],
        "near": ["202"],
        "out": ["201"],
        "photo": ["102"],
        "conflict": ["101"],
    }
    stages = one.page.locator(".picks.two button").all_inner_texts()
    assert ["1 of 2" in stages[0], "2 of 2" in stages[1]] == [True, True]
    one.page.click('[data-filter="photo"]')
    one.page.click('.overview-list [data-key="look"]')
    one.until("document.querySelector('#question').innerText === 'Look of the tacks'")


def test_asks_how_warm_the_part_is_where_the_plan_wants_it_and_judges_at_twenty_degrees_without_network(
    tablet: Tablets, shop: Shop
) -> None:
    """250.35 mm at 40 °C is 250.35 / (1 + 11.5e-6 · 20) = 250.2924 mm at 20 °C: inside 249.7 to 250.3."""
    shop.release_family("WA-1", "warm part", WARM)
    serial = shop.open_unit("WA-1")
    one = at_work(tablet(path=f"/units/{serial}/bench/"))
    one.context.set_offline(True)
    one.type("250.35")
    one.page.press("input#value", "Enter")
    one.page.get_by_label("Part temperature in °C").wait_for()
    one.page.keyboard.press("Escape")  # left without an answer: nothing is recorded, and nothing breaks
    one.page.wait_for_selector("dialog", state="detached")
    one.page.press("input#value", "Enter")
    one.page.get_by_label("Part temperature in °C").fill("180")
    one.page.keyboard.press("Enter")
    one.page.get_by_text("Outside −40 to 100 °C").wait_for()
    one.page.get_by_label("Part temperature in °C").fill("40")
    one.page.keyboard.press("Enter")
    one.page.wait_for_selector(".verdict.in")
    assert "250.292 mm at 20 °C, measured 250.35 at 40 °C" in one.verdict()
    one.page.click("#next")
    one.enter("249.80")  # it was asked a moment ago
    one.page.wait_for_selector(".verdict")
    one.context.set_offline(False)
    until_sent(one)
    counted = [c.counts.answer for c in inspection_of(serial).checkpoints]
    assert [one["temperature"] for one in counted] == ["40", "40"]
    assert counted[0]["counted"] == ["250.292"]


WARM = """\
stage_number,stage_name,number,key,title,kind,nominal,limits,unit_of_measure,decimals,criticality,temperature
1,Alignment,101,left,Left length,measured,250.0,±0.3,mm,1,minor,corrected 11.5
1,Alignment,102,right,Right length,measured,250.0,±0.3,mm,1,minor,corrected 11.5
"""
