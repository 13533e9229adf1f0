"""The overview, the photo, the reasons, the welder's page: for gloves, screen readers, large text, other languages."""

from __future__ import annotations

import io
from collections.abc import Callable
from typing import Any

import pytest
from PIL import Image

from .conftest import Tablet
from .test_floor_look import assert_for_gloves, boxes, found, resize, speak

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
Tablets = Callable[..., Tablet]


@pytest.fixture(scope="module")
def axe() -> Any:
    from axe_playwright_python.sync_playwright import Axe

    return Axe()


@pytest.fixture(autouse=True)
def data_folder(settings: Any, tmp_path: Any) -> None:
    settings.QCAPP_DATA_DIR = tmp_path


def photograph(one: Tablet) -> None:
    written = io.BytesIO()
    Image.effect_noise((400, 300), 40).convert("RGB").save(written, "JPEG")
    with one.page.expect_file_chooser() as chooser:
        one.page.click("#photo")
    chooser.value.set_files([{"name": "a.jpg", "mimeType": "image/jpeg", "buffer": written.getvalue()}])
    one.page.wait_for_selector(".photo-canvas")


@pytest.mark.parametrize(("theme", "code"), [("light", "en"), ("dark", "de")])
def test_has_no_violation_in_its_dialogs_and_on_the_welders_page(
    tablet: Tablets, axe: Any, theme: str, code: str
) -> None:
    one = tablet(color_scheme=theme)
    speak(one, "1001", code)
    one.page.reload()
    one.page.wait_for_selector("#question")
    assert found(axe, one) == [], "bench"
    assert_for_gloves(boxes(one, ".beside button"))
    one.page.click("#stage-now")
    one.page.wait_for_selector(".filters button")
    assert found(axe, one) == [], "overview"
    assert_for_gloves(boxes(one, ".filters button"))
    one.page.keyboard.press("Escape")
    one.page.click("#not-now")
    assert found(axe, one) == [], "reason"
    one.page.keyboard.press("Escape")
    photograph(one)
    assert found(axe, one) == [], "photo"
    assert_for_gloves(boxes(one, "dialog .then button"))
    one.page.click("#keep-photo")
    one.page.wait_for_selector(".thumb img")
    assert found(axe, one) == [], "photo kept"
    one.page.goto(one.address + one.shop.bench.replace("bench", "weld"))
    assert found(axe, one) == [], "weld"
    speak(one, "1001", "en")


def test_fits_in_german_at_twice_the_text_on_every_screen(tablet: Tablets) -> None:
    one = tablet()
    speak(one, "1001", "de")
    one.page.reload()
    one.until("document.querySelector('#who + *') || /Ablesung/.test(document.body.innerText)")
    for size in ("landscape", "portrait"):
        resize(one, size)
        one.page.evaluate("document.documentElement.style.fontSize = '200%'")
        assert one.page.evaluate("document.documentElement.scrollWidth - innerWidth") <= 0, size
        one.picture(f"floor-german-200-{size}")
    speak(one, "1001", "en")


def test_shows_numbers_with_the_languages_own_mark_and_sends_them_with_the_point(tablet: Tablets) -> None:
    one = tablet()
    speak(one, "1001", "es")
    one.page.reload()
    one.until("/Lectura/.test(document.body.innerText)")
    one.page.click("#gauge")
    one.pick_gauge()
    for key in ("6", "2"):
        one.page.get_by_role("button", name=key, exact=True).click()
    one.page.get_by_role("button", name="Signo decimal").click()
    one.page.get_by_role("button", name="7", exact=True).click()
    assert one.page.input_value("input#value") == "62,7"
    one.page.keyboard.press("Enter")
    one.until("/Fuera de la banda, 0,20 mm por encima/.test(document.querySelector('.verdict')?.innerText ?? '')")
    one.until_sent()
    (answer,) = one.shop.answers("width")
    assert (answer.answer, answer.raw) == ('{"value":"62.7"}', "62,7")
    speak(one, "1001", "en")
