"""What a tablet at a station does: take along what waits, go on where one was, check a gauge before it measures."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import pytest
from django.utils import timezone

from qcapp.gauges.models import SetupCheck
from qcapp.gauges.setup import ask_setup
from qcapp.inspections.models import Result
from qcapp.production.models import Unit
from qcapp.production.services.places import add_place
from qcapp.production.services.stations import set_station

from . import page_scripts
from .conftest import Shop, Tablet
from .test_floor_look import assert_for_gloves, boxes

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
Tablets = Callable[..., Tablet]


@pytest.fixture
def asked(shop: Shop) -> Iterator[None]:
    """The height gauges are read on a block of 50.00 mm from now on."""

    def ask(hours: int) -> None:
        given = {"master": "gauge block 50", "reference": "50.00", "limit": "0.02", "hours": hours}
        for number in ("HG-07", "HG-08"):
            ask_setup(by=shop.people["1010"], number=number, at=timezone.now(), **given)  # type: ignore[arg-type]

    ask(8)
    yield
    ask(0)


def test_takes_along_what_waits_at_the_station_and_goes_on_where_one_was(tablet: Tablets, shop: Shop) -> None:
    at = timezone.now()
    add_place(by=shop.people["1009"], code="BENCH-9", name="bench nine", at=at)
    set_station(by=shop.people["1015"], place_code="BENCH-9", family_code="BN-1", stages=[1], at=at)
    one = tablet(path=f"{shop.bench}?checkpoint=heat")
    one.until("navigator.serviceWorker.controller !== null")
    one.open("/floor/?station=BENCH-9")
    assert shop.serial in one.page.locator("#lists section").first.inner_text()
    one.page.wait_for_selector("#continue a")
    assert f"Go on with {shop.serial}, 105" in one.page.inner_text("#continue")
    assert_for_gloves(boxes(one, ".stations a"))
    one.until("/on this tablet, as of/.test(document.querySelector('#lists').innerText)")
    one.until("/All of these open without network/.test(document.querySelector('#along').innerText)", 20)
    one.context.set_offline(True)
    one.page.click("#continue a")
    one.page.wait_for_selector("#question")
    assert "Heat number" in one.page.inner_text("#question")


def test_sends_a_set_up_check_before_the_results_that_rest_on_it(tablet: Tablets, shop: Shop, asked: None) -> None:
    one = tablet(path=f"{shop.bench}?checkpoint=width")
    one.until("navigator.serviceWorker.controller !== null")
    one.enter("62.10")
    one.until_sent()
    assert shop.answers("width")[0].flags == ["setup_check_missing"]
    one.open(f"{shop.bench}?checkpoint=parallel")
    one.page.wait_for_selector("#setup-due")
    one.page.click("#setup-due")
    one.page.wait_for_selector("#value")
    one.context.set_offline(True)
    one.page.fill("#value", "50,03")
    one.page.press("#value", "Enter")
    one.page.wait_for_selector("#out")  # not passed: it may be taken out of use at once
    one.page.fill("#value", "50,02")
    one.page.press("#value", "Enter")
    one.until("/Passed/.test(document.querySelector('#said')?.innerText)")
    one.page.click("#back")
    one.page.wait_for_selector("#question")
    assert one.page.locator("#setup-due").count() == 0
    one.enter("0.11")
    one.until_foot("On tablet")
    one.context.set_offline(False)
    one.until_sent()
    assert [row.passed for row in SetupCheck.objects.order_by("done_at")] == [False, True]
    assert shop.answers("parallel")[0].flags == []


def test_records_on_the_right_unit_what_was_entered_for_a_wrong_one(tablet: Tablets, shop: Shop) -> None:
    wrong = shop.serial
    one = tablet(path=f"{shop.bench}?checkpoint=heat")
    Unit.objects.filter(serial=wrong).update(state="scrapped")
    right = shop.next_unit().serial
    one.enter("7L0031")
    one.page.wait_for_selector("#refused")
    one.page.click("#refused")
    assert f"{wrong} is scrapped" in one.page.inner_text("dialog")
    one.page.get_by_role("button", name="Other unit …").click()
    one.page.fill("#right-unit", right.lower())
    one.page.press("#right-unit", "Enter")
    one.page.wait_for_selector("#refused", state="detached")
    one.until_sent()
    (row,) = shop.answers("heat")  # of the right unit: the shop is at it now
    assert (row.raw, row.person.badge, row.purpose, row.round) == ("7L0031", "1001", "reading", 1)
    (kept,) = one.page.evaluate(page_scripts.STORED, "closed")
    assert (kept["why"], kept["operation"]["serial"], kept["reason"]) == ("corrected", wrong, str(row.operation))
    assert not Result.objects.filter(item__unit__serial=wrong).exists()
