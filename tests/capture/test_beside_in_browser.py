"""What is done at a checkpoint beside answering it: photo with a mark, note, not now, a doubtful gauge, set-up."""

from __future__ import annotations

import io
from collections.abc import Callable
from typing import Any

import pytest
from django.utils import timezone
from PIL import Image

from qcapp.gauges.queries import gauge_by_number
from qcapp.inspections.queries.beside import photos_of, remarks_of

from .conftest import Shop, Tablet

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
Tablets = Callable[..., Tablet]
NONE_KEPT = """new Promise((done) => { indexedDB.open("qcapp-beside").onsuccess = ({ target: { result: db } }) => {
    db.transaction("rows").objectStore("rows").count().onsuccess = (e) => { db.close(); done(!e.target.result); };
}; })"""


@pytest.fixture(autouse=True)
def data_folder(settings: Any, tmp_path: Any) -> None:
    settings.QCAPP_DATA_DIR = tmp_path


def picture(width: int = 2000, height: int = 1500) -> dict[str, Any]:
    written = io.BytesIO()
    Image.effect_noise((width, height), 40).convert("RGB").save(written, "JPEG")
    return {"name": "weld.jpg", "mimeType": "image/jpeg", "buffer": written.getvalue()}


def take(one: Tablet, file: dict[str, Any]) -> None:
    with one.page.expect_file_chooser() as chooser:
        one.page.click("#photo")
    chooser.value.set_files([file])
    one.page.wait_for_selector(".photo-canvas")


def say(one: Tablet, text: str) -> None:
    """A note at the checkpoint shown."""
    one.page.click("#note")
    one.page.keyboard.type(text)
    one.page.get_by_role("button", name="Keep the note").click()
    one.page.get_by_text(text).first.wait_for()


def item_of(shop: Shop) -> int:
    return int(shop.view().unit.item_id)


class TestPhoto:
    def test_keeps_it_without_network_smaller_with_its_mark_and_sends_it_after_the_result(
        self, tablet: Tablets, shop: Shop
    ) -> None:
        one = tablet(path=f"{shop.bench}?checkpoint=coat")
        one.until("navigator.serviceWorker.controller !== null")
        assert "asks for a photo here" in one.page.inner_text("#wants-photo")
        one.context.set_offline(True)
        one.page.click(".answer.in")
        one.pick_gauge()
        take(one, picture())
        box = one.page.locator(".photo-canvas").bounding_box()
        assert box
        one.page.mouse.click(box["x"] + box["width"] * 0.25, box["y"] + box["height"] * 0.75)
        one.page.click("#keep-photo")
        one.page.wait_for_selector(".thumb img")
        assert one.page.locator("#wants-photo").count() == 0
        one.until_on_tablet(2)
        assert photos_of(item_of(shop)) == []
        one.context.set_offline(False)
        one.until(NONE_KEPT)
        one.until_sent()
        (photo,) = photos_of(item_of(shop))
        assert photo.of_result == shop.answers("coat")[0].operation
        assert [[abs(a - b) <= 5 for a, b in zip(mark, (250, 750), strict=True)] for mark in photo.marks] == [
            [True, True]
        ]
        one.page.wait_for_selector(f'.thumb img[src="/evidence/{photo.file}/small/"]')

    def test_survives_a_reload_before_it_was_sent(self, tablet: Tablets, shop: Shop) -> None:
        one = tablet()
        one.until("navigator.serviceWorker.controller !== null")
        one.context.set_offline(True)
        take(one, picture(300, 200))
        one.page.click("#keep-photo")
        one.page.wait_for_selector(".thumb img")
        one.page.reload()
        one.page.wait_for_selector(".thumb img")
        one.context.set_offline(False)
        one.until(NONE_KEPT)
        assert len(photos_of(item_of(shop))) == 1

    def test_puts_the_mark_by_keys_as_well(self, tablet: Tablets, shop: Shop) -> None:
        one = tablet()
        take(one, picture(300, 200))
        for key in ("ArrowRight", "ArrowDown", "ArrowDown", "Enter"):
            one.page.keyboard.press(key)
        one.page.click("#keep-photo")
        one.page.wait_for_selector(".thumb img")
        one.until(NONE_KEPT)
        assert [tuple(map(tuple, photo.marks)) for photo in photos_of(item_of(shop))] == [((520, 540),)]

    def test_says_so_when_the_file_is_no_picture(self, tablet: Tablets) -> None:
        one = tablet()
        with one.page.expect_file_chooser() as chooser:
            one.page.click("#photo")
        chooser.value.set_files([{"name": "a.txt", "mimeType": "text/plain", "buffer": b"no picture"}])
        one.page.get_by_role("heading", name="This is no picture that can be read.").wait_for()


class TestSaying:
    def test_leaves_a_checkpoint_for_later_with_a_reason_and_finds_it_again(self, tablet: Tablets, shop: Shop) -> None:
        one = tablet()
        one.page.click("#not-now")
        one.page.get_by_role("button", name="Gauge is away").click()
        one.until("document.querySelector('#question').innerText === 'Axle plates, parallel'")
        one.page.click("#stage-now")
        one.page.click("[data-filter=waits]")
        (row,) = one.page.locator(".overview-list button").all()
        assert "Gauge is away" in row.inner_text()
        row.click()
        one.until("document.querySelector('#question').innerText === 'Axle plates, distance'")
        one.enter("62.00").until_sent()
        one.until(NONE_KEPT)
        assert [(r.kind, r.text) for r in remarks_of(item_of(shop))] == [("not_now", "Gauge is away")]
        one.page.click("#stage-now")
        assert one.page.locator("[data-filter=waits]").count() == 0

    def test_keeps_a_note(self, tablet: Tablets, shop: Shop) -> None:
        one = tablet()
        say(one, "Scale on the plate")
        one.until(NONE_KEPT)
        assert [r.text for r in remarks_of(item_of(shop))] == ["Scale on the plate"]

    def test_asks_once_how_the_part_stands_where_the_plan_says(self, tablet: Tablets, shop: Shop) -> None:
        one = tablet(path=f"{shop.bench}?checkpoint=rail")
        one.type("41.0")
        one.page.press("input#value", "Enter")
        one.page.get_by_label("Part temperature").fill("21,5")
        one.page.get_by_role("button", name="free", exact=True).click()
        one.page.get_by_role("heading", name="Which gauge is in your hand?").wait_for()
        one.pick_gauge()
        one.page.wait_for_selector(".verdict")
        one.until_sent()
        one.until(NONE_KEPT)
        assert [(r.kind, r.text) for r in remarks_of(item_of(shop))] == [("setup", "free; 21,5 °C")]
        assert shop.answers("rail")[0].answer == '{"value":"41.0"}'

    def test_raises_a_report_by_hand(self, tablet: Tablets, shop: Shop) -> None:
        one = tablet()
        one.page.dblclick("#report")  # the second tap opens nothing
        one.page.locator("dialog[open] textarea").wait_for()
        one.page.keyboard.type("Dent in the left rail")
        one.page.get_by_role("button", name="major", exact=True).click()
        one.page.get_by_role("heading", name="is open").wait_for()
        assert shop.view().unit.on_hold


class TestGauge:
    def test_puts_a_dropped_gauge_out_of_use_by_one_act(self, tablet: Tablets, shop: Shop) -> None:
        one = tablet().at("bore")
        one.page.click("#gauge")
        one.pick_gauge()
        number = one.page.inner_text("#gauge strong").removeprefix("Gauge ")
        one.page.click("#set-aside")
        one.page.get_by_role("button", name="Dropped").click()
        one.page.wait_for_selector("#set-aside", state="detached")
        one.until(NONE_KEPT)
        gauge = gauge_by_number(number, timezone.now())
        assert not gauge.usable
        assert one.page.locator("#set-aside").count() == 0
