"""The welder's tablet: what is welded with what, checked before the arc with and without network."""

from __future__ import annotations

import time
from collections.abc import Callable
from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.utils import timezone

from qcapp.audit.queries import entries_about
from qcapp.lib.site_days import site_day
from qcapp.production.models import WeldStart
from qcapp.production.queries import unit_by_serial, welds_of
from qcapp.production.queries.welding import weld_procedures
from qcapp.production.services.fixtures import add_fixture
from qcapp.production.services.welding import Range, add_procedure, add_qualification

from .conftest import Shop, Tablet
from .test_faults import at_work, knock
from .test_floor_look import assert_for_gloves, boxes, resize
from .test_store_faults import data_folder  # noqa: F401 - keeps files out of the way

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
Tablets = Callable[..., Tablet]
WELDER = "1005"
PLAN = """\
stage_number,stage_name,number,key,title,kind,criticality,joint
1,Weld inspection,101,w7,Seam W7,attribute,minor,W7
1,Weld inspection,102,w8,Seam W8,attribute,minor,W8
"""
SCOPE = Range("141", Decimal("1.0"), Decimal("3.0"))


def procedure(shop: Shop, revision: str) -> None:
    told = {"title": "Tube to tube", "scope": SCOPE, "base_grades": ["25CrMo4", "S235"], "at": timezone.now()}
    add_procedure(by=shop.people["1012"], number="WP-3", revision=revision, **told)


@pytest.fixture
def cell(shop: Shop) -> str:
    """The serial of a unit with two joints; the welder is qualified, one fixture was never verified."""
    now = timezone.now()
    if shop.release_family("WE-1", "welded part", PLAN):
        procedure(shop, "A")
        hot = {"title": "Thick to thin", "scope": SCOPE, "base_grades": ["25CrMo4"], "preheat": 150, "at": now}
        add_procedure(by=shop.people["1012"], number="WP-9", revision="A", **hot)
        days = {"issued_on": site_day(now) - timedelta(30), "expires_on": site_day(now) + timedelta(30)}
        told = {"welder": shop.people[WELDER], "certificate": "Q-17", "scope": SCOPE, "at": now}
        add_qualification(by=shop.people["1012"], **told, **days)
        add_fixture(by=shop.people["1010"], number="FX-9", name="Frame fixture", at=now)
    return shop.open_unit("WE-1")


def taken_along(tablet: Tablets, serial: str) -> Tablet:
    """A welder's tablet that has taken the unit along, at its welding page without network."""
    one = at_work(tablet(WELDER, path="/floor/"))
    one.until(f"/on this tablet/.test(document.querySelector('[data-serial=\"{serial}\"] .kept')?.innerText ?? '')", 20)
    one.until("document.querySelector('#along').innerText.startsWith('All of these')", 20)
    one.context.set_offline(True)
    one.page.click(f'[data-serial="{serial}"]')
    one.page.click("#to-weld")  # the bench of a unit with joints leads there, whatever is to be checked first
    one.page.wait_for_selector("#scanned")
    return one


def scan(one: Tablet, *codes: str) -> None:
    for code in codes:
        one.page.fill("#scanned", code)
        one.page.press("#scanned", "Enter")


def fill_in(one: Tablet, thickness: str = "2,0") -> None:
    scan(one, "W7", "w8", "WP-3")
    one.page.select_option("[name=base_grade]", "25CrMo4")
    for name, text in (("thickness", thickness), ("filler_lot", "F-2231"), ("machine", "TIG-2")):
        one.page.fill(f"[name={name}]", text)


def starts(serial: str) -> list[Any]:
    return list(WeldStart.objects.filter(item=unit_by_serial(serial).item_id).order_by("id"))


def said(one: Tablet, words: str) -> None:
    one.until(f"/{words}/.test(document.querySelector('#said').innerText)")


def until_gone(one: Tablet) -> None:
    knock(one)
    one.until("!/On tablet/.test(document.querySelector('#foot').innerText)", 15)


def test_is_checked_on_the_tablet_kept_over_a_reload_and_sent_once(tablet: Tablets, shop: Shop, cell: str) -> None:
    one = taken_along(tablet, cell)
    fill_in(one, "9")
    one.page.click("#start")
    said(one, "WP-3 rev [A-Z] is for 1.0 to 3.0 mm, not 9 mm. Do not weld")
    one.page.fill("[name=thickness]", "2,0")
    scan(one, "WP-9")
    for preheat in ("", "149"):
        one.page.fill("[name=preheat]", preheat)
        one.page.click("#start")
        said(one, "WP-9 rev A is for preheat ≥ 150 °C. Do not weld")
    one.page.fill("[name=preheat]", "")
    scan(one, "WP-3")
    one.page.select_option("[name=fixture]", "FX-9")
    one.page.click("#start")
    said(one, "Do not weld in it; take another fixture, or ask metrology")
    one.page.select_option("[name=fixture]", "")
    before = timezone.now()
    one.page.dblclick("#start")  # the second tap neither writes down another nor wipes out what was said
    said(one, "W7, W8 may be welded now")
    one.page.wait_for_timeout(100)
    said(one, "W7, W8 may be welded now")
    one.until_foot("On tablet 1")
    one.page.reload()
    one.page.wait_for_selector("#scanned")
    one.until_foot("On tablet 1")
    one.until_foot("No network, last contact")
    assert starts(cell) == []
    one.context.set_offline(False)
    until_gone(one)
    (start,) = starts(cell)
    assert (start.joints, str(start.thickness), start.filler_lot, start.machine) == (
        ["W7", "W8"],
        "2.0",
        "F-2231",
        "TIG-2",
    )
    assert abs(start.at - before) < timedelta(seconds=20)
    welded = welds_of(unit_by_serial(cell).item_id)
    (in_force,) = [one for one in weld_procedures() if one.number == "WP-3"]
    assert {(weld.joint, weld.procedure) for weld in welded} == {("W7", str(in_force)), ("W8", str(in_force))}


def test_keeps_what_the_server_refuses_with_the_reason_and_the_ways_out(tablet: Tablets, shop: Shop, cell: str) -> None:
    one = taken_along(tablet, cell)
    fill_in(one)
    one.page.click("#start")
    said(one, "may be welded now")
    latest = chr(ord("A") + shop.number)
    procedure(shop, latest)  # the coordinator replaces the procedure meanwhile
    one.context.set_offline(False)
    knock(one)
    one.until("/Weld W7, W8: This weld procedure is not in force/.test(document.querySelector('#waits').innerText)", 15)
    one.page.reload()
    one.until("/is not in force/.test(document.querySelector('#waits').innerText)")
    assert starts(cell) == []
    one.page.locator("#waits").get_by_role("button", name="Discard").click()
    one.page.get_by_role("button", name="Nothing was welded").click()
    one.until("document.querySelector('#waits').innerText === ''")
    end = time.monotonic() + 10
    while "tablet.entry_discarded" not in (verbs := [entry.verb for entry in entries_about(f"unit {cell}")]):
        assert time.monotonic() < end, verbs
        one.page.wait_for_timeout(50)


def test_is_checked_by_the_server_at_once_while_there_is_network(tablet: Tablets, shop: Shop, cell: str) -> None:
    one = at_work(tablet(WELDER, path=f"/units/{cell}/bench/"))
    resize(one, "phone")  # the way to welding stands in the head, beside the serial, also in the longer German
    assert_for_gloves(boxes(one, ".bench-head a"))
    one.page.evaluate("() => { document.querySelector('#to-weld').textContent = 'Schweißen'; }")
    assert one.page.evaluate("document.documentElement.scrollWidth - innerWidth") <= 0
    one.page.goto(f"{one.address}/units/{cell}/weld/")
    one.page.wait_for_selector("#scanned")
    scan(one, "W7")
    one.page.locator("[name=procedure]").first.check(force=True)
    one.page.select_option("[name=base_grade]", "25CrMo4")
    for name, text in (("thickness", "9"), ("filler_lot", "F-2231"), ("machine", "TIG-2")):
        one.page.fill(f"[name={name}]", text)
    one.page.click("#start")
    said(one, "Do not weld; take another procedure or ask")
    assert starts(cell) == []
    one.page.fill("[name=thickness]", "2.0")
    one.page.click("#start")
    said(one, "W7 may be welded now; it is written down")
    assert [start.joints for start in starts(cell)] == [["W7"]]


def test_writes_no_weld_under_the_name_of_who_has_signed_in_meanwhile(tablet: Tablets, shop: Shop, cell: str) -> None:
    one = at_work(tablet(WELDER, path=f"/units/{cell}/weld/"))
    one.page.wait_for_selector("#scanned")
    fill_in(one)
    one.sign_in("1006")
    one.page.click("#start")
    said(one, "is signed in on this tablet now. This page was opened by")
    assert starts(cell) == []
