"""The overview, the photo, the reasons, the welder's page: for gloves, screen readers, large text, other languages."""

from __future__ import annotations

import io
from collections.abc import Callable
from typing import Any

import pytest
from PIL import Image

from qcapp.lib.spoken import OTHERS

from . import page_scripts
from .conftest import Shop, Tablet
from .test_floor_look import assert_for_gloves, boxes, found, resize, speak
from .test_shared_tablet import shared, to_bench  # noqa: F401 - a fixture among them

# The place of what has the focus among all elements of the page, and its name; -1 where nothing has it.
PLACE_OF_FOCUS = """() => {
    const at = document.activeElement;
    const place = at === document.body ? -1 : [...document.querySelectorAll("*")].indexOf(at);
    return [place, at.id || at.dataset.key || at.innerText];
}"""
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


@pytest.mark.parametrize(("theme", "code"), [("light", "en"), ("dark", "de"), ("dark", "es")])
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


def test_titles_a_kept_page_in_the_language_of_who_opens_it(tablet: Tablets) -> None:
    """The page itself is kept in English for everybody; a title is read out first, and stands in the list of tabs."""
    one = tablet()
    one.until("navigator.serviceWorker.controller !== null", seconds=40)
    speak(one, "1001", "de")
    one.page.reload()
    one.until(f"{page_scripts.HOLDER}.then((person) => person.language === 'de')")
    one.context.set_offline(True)
    one.page.goto(f"{one.address}/floor/")
    one.until("document.title === 'Werkstatt · qcapp'")
    one.page.goto(f"{one.address}/floor/lots/NO-SUCH-LOT/")
    one.until("document.title === 'Losstichprobe · qcapp'")
    one.context.set_offline(False)
    speak(one, "1001", "en")


def test_keeps_the_keys_in_sight_on_a_phone_with_something_refused_and_a_reading_taken(tablet: Tablets) -> None:
    one = tablet().at("heat").enter("x")
    one.page.wait_for_selector("#refused")
    resize(one, "phone")
    one.page.goto(f"{one.address}{one.shop.bench}?checkpoint=bore")
    one.page.wait_for_selector("#refused")
    one.enter("20.01")
    one.until("/Reading 2 of 3/.test(document.querySelector('.reading').innerText)")
    assert_keys_in_sight(one)
    assert_for_gloves(boxes(one, "#foot button, .floor-help summary"))
    one.enter("20,x")
    assert "That is not a number" in one.page.inner_text("#typing-error")
    assert_keys_in_sight(one)
    one.context.set_offline(True)
    for value in ("20.01", "20.02"):
        one.enter(value)
    one.page.wait_for_selector("#on-tablet")
    one.page.wait_for_selector("#contact")
    assert boxes(one, "#foot")[0]["h"] < 160  # a fifth of the screen, with all that a foot can say
    one.context.set_offline(False)


def assert_keys_in_sight(one: Tablet) -> None:
    (enter,), (foot,) = boxes(one, ".keys .enter"), boxes(one, "#foot")
    assert enter["y"] + enter["h"] <= foot["y"] + 1  # a part of a pixel is none


def test_says_in_the_persons_language_what_stands_behind_a_number(tablet: Tablets) -> None:
    one = tablet()
    speak(one, "1001", "es")
    one.page.reload()
    one.until("/Lectura/.test(document.body.innerText)")
    one.enter("62 in")
    assert one.page.inner_text("#typing-error") == "Detrás del número está «in»; escriba solo el número, o con mm."
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


def test_has_no_violation_where_a_shared_tablet_asks_who_works_and_for_the_pin(
    shared: Tablet,  # noqa: F811
    shop: Shop,
    axe: Any,
) -> None:
    """In every language of its people: the page is written in the one that the tablet has kept for who works here."""
    one = to_bench(shared, shop)
    for code in ("en", *OTHERS):
        speak(one, "1001", code)
        one.until("document.querySelector('#foot *')")
        one.page.reload()  # the tablet hears of it,
        one.until(f"{page_scripts.KEPT_LANGUAGES}.then((all) => all['1001'] === '{code}')")
        one.page.reload()  # and speaks it
        one.until(f"document.documentElement.lang === '{code}' && document.querySelector('#question')")
        one.page.click("#who")
        one.page.wait_for_selector("#who-works")
        assert found(axe, one) == [], ("who works here", code)
        assert_for_gloves(boxes(one, "#who-works button"))
        one.page.click('#who-works [data-badge="1002"]')
        one.page.wait_for_selector("#pin")
        assert found(axe, one) == [], ("PIN", code)
        assert_for_gloves(boxes(one, "dialog .keys button"))
    speak(one, "1001", "en")


def test_takes_the_focus_through_the_bench_in_the_order_in_which_it_is_read(tablet: Tablets) -> None:
    """Head, list of the stage, entry, what can be done beside, foot: by Tab from the first to the last."""
    one = tablet().at("width")
    one.page.locator(".bench-head a:visible").first.focus()
    seen: list[tuple[int, str]] = [one.page.evaluate(PLACE_OF_FOCUS)]
    for _ in range(60):
        one.page.keyboard.press("Tab")
        where, name = one.page.evaluate(PLACE_OF_FOCUS)
        if where in (-1, seen[0][0]):  # once round
            break
        seen.append((where, name))
    places = [where for where, _ in seen]
    assert places == sorted(places)
    assert len(places) == len(set(places))
    names = [name for _, name in seen]
    order = [names.index(one) for one in ("who", "stage-now", "width", "gauge", "value", "photo", "report")]
    assert order == sorted(order)


# How many lines each value, and each number of a report, takes; and what a copy of it would be.
# Found and measured in one go: the page may draw the verdict anew between two.
PIECES = """() => [...document.querySelectorAll(".verdict bdi")].map((one) =>
    [one.innerText, one.getClientRects().length])"""


@pytest.mark.parametrize(
    ("code", "by", "limit"), [("en", "0.3 ° above:", "max 0.30 mm"), ("es", "0,3 °", "máx. 0,30 mm")]
)
def test_breaks_no_value_from_its_unit_and_no_number_of_a_report(
    tablet: Tablets, code: str, by: str, limit: str
) -> None:
    one = tablet()
    speak(one, "1001", code)
    one.page.reload()
    one.page.wait_for_selector("#question")
    one.at("angle").enter("24.8").until_sent()
    one.page.wait_for_selector("text=NCR-")
    for width in range(280, 400, 8):  # some of them end a line where a piece could break
        one.page.set_viewport_size({"width": width, "height": 844})
        pieces = one.page.evaluate(PIECES)
        assert {lines for _, lines in pieces} == {1}, width
    texts = [text for text, _ in pieces]
    assert by.removesuffix(" above:") in " ".join(texts)
    assert any(text.startswith("NCR-") and text.count("-") == 2 for text in texts)
    assert by in one.page.inner_text(".verdict strong")
    resize(one, "landscape")
    assert limit in one.at("parallel").page.inner_text(".given")


@pytest.mark.parametrize(
    ("key", "answer", "offered", "correction"),
    [
        ("stamp", None, ["Dirt or poor light", "Wrong spot was looked at", "Part or test was set up wrongly"], 2),
        ("pores", "5", ["Dirt or poor light", "Wrong spot was looked at", "Counted wrong"], 2),
        (
            "width",
            "62.7",
            ["Dirt or a burr under the gauge", "Gauge slipped or sat badly", "Wrong spot was measured"],
            3,
        ),
    ],
)
def test_offers_reasons_that_fit_what_was_asked(
    tablet: Tablets, key: str, answer: str | None, offered: list[str], correction: int
) -> None:
    one = tablet()
    speak(one, "1001", "en")  # another test of this file may have left another language
    one.page.reload()
    one.page.wait_for_selector("#question")
    one.at(key)
    if answer:
        one.enter(answer)
    else:
        one.page.click(".answer.out")
        one.pick_gauge()
    one.until_sent()
    reasons = one.page.locator("dialog[open] .picks > button")
    one.page.get_by_role("button", name="Measure again").click()
    one.page.wait_for_selector("dialog[open] textarea")
    assert reasons.all_inner_texts() == offered
    one.page.keyboard.press("Escape")
    one.page.wait_for_selector("dialog", state="detached")
    one.page.get_by_role("button", name="Correct this entry").click()
    one.page.wait_for_selector("dialog[open] textarea")
    assert reasons.count() == correction
