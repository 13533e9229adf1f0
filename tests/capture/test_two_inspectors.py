"""A stage that two inspect, answered and signed on one shared tablet without network."""

from __future__ import annotations

from typing import Any

import pytest

from qcapp.inspections.queries import inspection_of

from .conftest import Shop, Tablet
from .test_beside_in_browser import data_folder, picture, take  # noqa: F401 - the fixture keeps photos out of the way
from .test_faults import at_work, until_sent
from .test_shared_tablet import PIN, shared, sign_here, switch  # noqa: F401 - a fixture among them

pytestmark = [pytest.mark.browser, pytest.mark.both_databases, pytest.mark.django_db(transaction=True)]
TWO_INSPECT = """\
stage_number,stage_name,number,key,title,kind,nominal,limits,unit_of_measure,decimals,criticality,second_inspection,photo
1,Weld inspection,101,left,Left length,measured,20,±0.5,mm,1,minor,,
1,Weld inspection,102,seam,Seam without cracks,attribute,,,,,major,yes,
1,Weld inspection,103,look,Look of the seam,attribute,,,,,minor,,yes
2,Finish,201,width,Width over all,measured,40,±0.5,mm,1,minor,,
"""
END = "document.querySelector('#stage-end')?.innerText ?? ''"


@pytest.fixture
def seam(shop: Shop) -> str:
    """The serial of a unit with a seam that two inspect and a look that wants a photo."""
    shop.release_family("SI-1", "seam part", TWO_INSPECT)
    return shop.open_unit("SI-1")


def answers_of(serial: str) -> dict[str, list[Any]]:
    """By checkpoint who gave which inspection, as stored."""
    view = inspection_of(serial)
    return {c.card.key: [(a.inspection, a.person_initials) for a in c.given] for c in view.checkpoints}


def first_part(one: Tablet, serial: str) -> None:
    """Imogen Marlowe answers what she may, without network; both have taken the unit along."""
    one.page.goto(f"{one.address}/units/{serial}/bench/")
    one.page.wait_for_selector("#question")
    switch(one, "1002")
    one.page.wait_for_selector("#question")
    switch(one, "1001")
    one.page.wait_for_selector("#question")
    at_work(one).context.set_offline(True)
    one.at("left").enter("20.1")
    one.page.wait_for_selector(".verdict")
    for key in ("seam", "look"):
        one.at(key).page.click(".answer.in")
        one.page.wait_for_selector(".verdict")
    one.until_foot("No network")


def test_is_answered_and_signed_by_two_on_one_tablet_without_network(
    shared: Tablet,  # noqa: F811
    shop: Shop,
    seam: str,
) -> None:
    one = shared
    first_part(one, seam)
    one.until(f"/1 checkpoint waits for another person/.test({END})")
    assert one.page.locator("#sign").count() == 0
    switch(one, "1002")
    one.page.wait_for_selector("#question")
    one.at("seam")
    assert "your second inspection" in one.page.inner_text(".question").lower()
    assert one.page.locator(".verdict").count() == 0  # the first answer is not shown before the second is given
    one.page.click(".answer.in")
    one.page.wait_for_selector("#sign")
    one.page.click("#sign")
    assert "photo at 103" in one.page.inner_text("dialog[open]")
    one.page.keyboard.press("Escape")
    one.at("look")
    take(one, picture(400, 300))
    one.page.click("#keep-photo")
    one.page.wait_for_selector("#wants-photo", state="detached")
    sign_here(one)
    one.until(f"/signed on this tablet, not yet confirmed/.test({END})")
    assert inspection_of(seam).stages[0].signed is False
    one.context.set_offline(False)
    until_sent(one)
    one.until(f"/is signed by Tadeo Okonjo/.test({END})", 15)
    assert one.page.locator("#refused").count() == 0
    assert answers_of(seam)["seam"] == [(1, "IM"), (2, "TO")]
    signed = inspection_of(seam).stages[0].sign_off
    assert (signed.method, signed.valid, signed.answers) == ("tablet", True, 4)


def test_asks_a_third_when_the_two_on_one_tablet_disagree(
    shared: Tablet,  # noqa: F811
    shop: Shop,
    seam: str,
) -> None:
    one = shared
    first_part(one, seam)
    switch(one, "1002")
    one.page.wait_for_selector("#question")
    one.at("seam").page.click(".answer.out")
    one.until(f"/1 checkpoint waits for another person/.test({END})")
    assert one.page.locator("#sign").count() == 0
    one.context.set_offline(False)
    until_sent(one)
    one.until(f"/1 checkpoint waits for another person/.test({END})")
    (view,) = [c for c in inspection_of(seam).checkpoints if c.card.key == "seam"]
    assert (view.disagree, view.owes) == (True, (3,))


def test_says_that_a_browser_of_ones_own_signs_with_network(tablet: Any, shop: Shop, seam: str) -> None:
    one = at_work(tablet(path=f"/units/{seam}/bench/"))
    one.page.wait_for_selector("#question")
    one.page.goto(f"{one.address}/units/{seam}/bench/?checkpoint=width")
    one.page.wait_for_selector("#question")
    one.context.set_offline(True)
    one.enter("40.1")
    one.page.click("#sign")
    assert "no shared tablet" in one.page.inner_text("dialog[open]")
    one.page.keyboard.press("Escape")
    one.until_on_tablet(1)


def test_says_each_verdict_once_where_two_tablets_differ_without_a_number(tablet: Any, shop: Shop) -> None:
    one, two = tablet("1001"), tablet("1002")
    one.at("leak").page.click(".answer.in")
    one.until_sent()
    two.at("leak").page.click(".answer.out")
    two.page.wait_for_selector("#conflict")
    both = two.page.locator("#conflict li").all_inner_texts()
    assert sorted(both) == ["Conforms by IM", "Does not conform by TO"]
    assert two.page.locator("#rows [aria-current=true] circle").count() == 2  # two dots: neither verdict counts
