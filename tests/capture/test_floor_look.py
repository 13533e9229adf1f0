"""How the floor pages look and whether gloves, bright light, a keyboard and a screen reader can use them."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from typing import Any

import pytest

from qcapp.capture.language import words_of

from . import page_scripts
from .conftest import SIZES, Tablet

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
Tablets = Callable[..., Tablet]
COLOURS_ONLY = {"resultTypes": ["violations"], "runOnly": ["color-contrast", "link-in-text-block"]}
TARGET, APART = 56, 16  # pixels: gloves (design/look.md); the standard's own floor of 24 proves nothing here


def speak(one: Tablet, badge: str, code: str) -> None:
    """The person's language from now on; the page that is open keeps its own."""
    person = one.shop.people[badge]
    person.language = code
    person.save(update_fields=["language"])


def states(one: Tablet, words: dict[str, str]) -> Iterator[str]:
    """The bench in one state after the other."""
    yield "entry"
    one.enter("62.7").until_sent()
    yield "out-of-band"
    one.page.get_by_role("button", name=words["Correct this entry"]).click()
    yield "reason"
    one.page.keyboard.press("Escape")
    one.at("stamp")
    yield "attribute"
    one.at("heat").enter("x")
    one.page.wait_for_selector("#refused")
    yield "refused"
    one.at("leak")
    yield "long-title-and-caution"
    one.at("slack")
    yield "derived"
    one.page.click("#stage-now")
    yield "stages"
    one.page.keyboard.press("Escape")
    one.page.wait_for_selector("dialog", state="detached")


@pytest.fixture(scope="module")
def axe() -> Any:
    from axe_playwright_python.sync_playwright import Axe

    return Axe()


@pytest.mark.parametrize(("theme", "code"), [("light", "de"), ("dark", "es"), ("light", "en")])
def test_has_no_violation_and_fits_every_screen_in_each_state(tablet: Tablets, axe: Any, theme: str, code: str) -> None:
    """No violation in any language, by day or by night; room is asked for in those with the longer words."""
    one = tablet(color_scheme=theme)
    speak(one, "1001", code)
    one.page.reload()
    one.until(f"document.documentElement.lang === '{code}' && document.querySelector('#question')")
    for state in states(one.at("width"), {"Correct this entry": "Correct this entry", **words_of(code)}):
        assert found(axe, one) == [], state
        if code != "en":
            fits_and_leaves_pictures(one, f"{state}-{theme}-{code}")
        if state == "out-of-band":  # and the unit is on hold
            acts, foot = boxes(one, ".verdict button, .beside button"), boxes(one, "#foot")
            assert len(acts) >= 6
            assert max(act["y"] + act["h"] for act in acts) <= foot[0]["y"], "nothing to scroll for on a tablet"
    one.open("/floor/")
    one.until("document.querySelector('#along').textContent && !/…/.test(document.querySelector('#along').textContent)")
    assert found(axe, one) == [], "floor"
    if code != "en":
        fits_and_leaves_pictures(one, f"home-{theme}-{code}")
    speak(one, "1001", "en")


def fits_and_leaves_pictures(one: Tablet, name: str) -> None:
    """Nothing scrolls sideways on any screen, also at twice the text, and nothing to press is too small for a glove.

    A picture of each is left for people to look at.
    """
    for size in SIZES:
        resize(one, size)
        assert one.page.evaluate(page_scripts.SIDEWAYS) == [], (name, size)
        assert one.page.evaluate(page_scripts.SMALL) == [], (name, size)
        one.picture(f"floor-{name}-{size}")
        write(one, 32)
        assert one.page.evaluate("document.documentElement.scrollWidth - innerWidth") <= 0, (name, size, "200 %")
        write(one, 16)
    resize(one, "landscape")


def write(one: Tablet, pixels: int) -> None:
    """The size of the text, as somebody sets it in the browser: 16 pixels are usual."""
    told = {"fontSizes": {"standard": pixels, "fixed": pixels * 13 // 16}}
    one.context.new_cdp_session(one.page).send("Page.setFontSizes", told)
    one.page.evaluate("getComputedStyle(document.documentElement).fontSize")


def resize(one: Tablet, size: str) -> None:
    one.page.set_viewport_size(dict(zip(("width", "height"), SIZES[size], strict=True)))  # type: ignore[arg-type]


def found(axe: Any, one: Tablet) -> list[tuple[str, str, str]]:
    """What axe finds by day and by night, on the page as it stands; in the other theme the colours alone are others."""
    theme, other = ("dark", "light") if one.page.evaluate(page_scripts.AT_NIGHT) else ("light", "dark")
    violations = [(theme, rule) for rule in axe.run(one.page).response["violations"]]
    one.page.emulate_media(color_scheme=other, reduced_motion="reduce")  # no colour halfway from one to the other
    violations += [(other, rule) for rule in axe.run(one.page, options=COLOURS_ONLY).response["violations"]]
    one.page.emulate_media(color_scheme=theme, reduced_motion="no-preference")
    return [(by, rule["id"], node["html"][:120]) for by, rule in violations for node in rule["nodes"]]


@pytest.mark.parametrize("size", SIZES)
def test_gives_gloves_large_targets_well_apart(tablet: Tablets, size: str) -> None:
    one = tablet().at("width") if size != "phone" else tablet()
    resize(one, size)
    entry = boxes(one, ".keys button, #gauge")
    assert len(entry) == 15
    assert_for_gloves(entry)
    assert_for_gloves(boxes(one, ".bench-head a"))
    one.enter("62.7").until_sent()
    assert_for_gloves(boxes(one, ".verdict button"))
    one.page.goto(f"{one.address}{one.shop.bench}?checkpoint=stamp")
    one.page.wait_for_selector(".answers button")
    answers = boxes(one, ".answers button")
    assert len(answers) == 6  # two verdicts, and what stands beside them; nobody doubts the eye
    assert_for_gloves(answers)


def boxes(one: Tablet, selector: str) -> list[dict[str, float]]:
    return list(one.page.locator(selector).evaluate_all(page_scripts.BOXES))


def assert_for_gloves(targets: list[dict[str, float]], apart: float = APART) -> None:
    for one in targets:
        assert min(one["w"], one["h"]) >= TARGET - 0.5, one
    for i, a in enumerate(targets):
        for b in targets[i + 1 :]:
            gap_x = max(a["x"], b["x"]) - min(a["x"] + a["w"], b["x"] + b["w"])
            gap_y = max(a["y"], b["y"]) - min(a["y"] + a["h"], b["y"] + b["h"])
            assert max(gap_x, gap_y) >= apart - 0.5, (a, b)


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_shows_values_and_verdicts_at_seven_to_one(tablet: Tablets, theme: str) -> None:
    one = tablet(color_scheme=theme).at("width")
    assert contrast(one, "input#value") >= 7
    for value in ("62.00", "62.48", "62.7"):
        one.page.goto(f"{one.address}{one.shop.next_unit().bench}?checkpoint=width")
        one.page.wait_for_selector("#question")
        one.enter(value).until_sent()
        for selector in (".verdict strong", ".verdict p", ".question h1"):
            assert contrast(one, selector) >= 7, (value, selector)


def contrast(one: Tablet, selector: str) -> float:
    """Contrast as WCAG 2.2 defines it (relative luminance), of the text against the nearest painted ground."""
    front, back = one.page.evaluate(page_scripts.COLOURS, selector)
    light, dark = sorted((luminance(front), luminance(back)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def luminance(colour: str) -> float:
    parts = [int(part) / 255 for part in re.findall(r"\d+", colour)[:3]]
    red, green, blue = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def test_lists_the_checkpoints_of_the_stage_on_a_phone(tablet: Tablets) -> None:
    one = tablet()
    resize(one, "phone")
    one.page.click("#stage-now")
    one.page.get_by_role("button", name="105 Heat number, main tube").click()
    one.until("document.querySelector('#question').innerText === 'Heat number, main tube'")


LONG = " ".join(["Stored energy: nobody in line with caps, seams or hoses, and the guard stays closed."] * 4)
CAUTIOUS = f"""\
stage_number,stage_name,number,key,title,kind,form,criticality,instruction,caution
1,Tank tests,101,proof,Proof test with liquid,attribute,,major,"{LONG}","{LONG}"
1,Tank tests,102,melt,Heat number after the test,record,heat,minor,"{LONG}","{LONG}"
"""


@pytest.mark.parametrize("size", [(390, 844), (1180, 600)])
def test_keeps_what_answers_in_sight_however_long_the_caution_is(tablet: Tablets, size: tuple[int, int]) -> None:
    one = tablet()
    one.shop.release_family("CA-1", "cautious tank", CAUTIOUS)
    serial = one.shop.open_unit("CA-1")
    one.page.set_viewport_size({"width": size[0], "height": size[1]})
    for key, answer in (("proof", ".big.answer"), ("melt", ".work > .reading .go")):
        one.open(f"/units/{serial}/bench/?checkpoint={key}")
        buttons, (foot,) = boxes(one, answer), boxes(one, "#foot")
        assert buttons
        assert max(button["y"] + button["h"] for button in buttons) <= foot["y"], key
    one.page.locator("#photo").focus()  # what stands below is reached, and not covered
    (photo,), (entry,) = boxes(one, "#photo"), boxes(one, ".work > .reading")
    assert entry["y"] + entry["h"] <= photo["y"]
    assert photo["y"] + photo["h"] <= foot["y"]
