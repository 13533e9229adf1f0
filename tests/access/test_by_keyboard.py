"""The job of each person of the workshop by keys alone, with the focus seen at every step. Nothing here has a mouse.

A stage of the bench (tests/capture), a phone call (tests/journeys), a plan from import to paper (tests/journeys) and
thirty checkpoints in the draft's table (tests/plans) are walked by keys elsewhere; here is everybody else's job.
"""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.utils import timezone

from qcapp.certificates.queries import certificates_of
from qcapp.config.demonstration.cast import FIXTURES, PASSWORD, PIN
from qcapp.inspections.queries import inspection_of
from qcapp.lib.site_days import site_day
from qcapp.nonconformance.models import Report
from qcapp.people.models import Person
from qcapp.plans.services import import_plan, send_for_review
from qcapp.production.queries import unit_by_serial, welds_of
from qcapp.production.queries.welding import qualifications

from .conftest import Shop
from .hand import Hand
from .world import CERTIFIED, HELD, NEW, READY, TO_GO

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
SitDown = Callable[[str], Hand]


def test_lets_an_inspector_open_a_unit_answer_its_stage_and_sign(at: SitDown) -> None:
    hand = at("1001").open("/units/open/?family=MG-5")
    hand.type("[name=serial]", NEW).send("main form .act")
    page = hand.page
    page.goto("/floor/")
    hand.type("[name=serial]", NEW)
    with hand.page.expect_navigation():
        hand.press("Enter")
    page.wait_for_selector("#question")
    for title, typed in (
        ("Heat number, sheet", "7L0031"),
        ("Radii, no splits", ""),
        ("Mounting edge, flatness", "0,8"),
    ):
        page.get_by_role("heading", name=title).wait_for()
        if typed:
            hand.to("input#value").press("Control+A")
            page.keyboard.type(typed)
        else:
            hand.to("button#value")
        hand.press("Enter")
        page.locator("dialog[open], .verdict").first.wait_for()
        if page.locator("dialog[open]").count():
            hand.press("Enter")  # the first gauge that fits has the focus
        page.locator(".verdict").wait_for()
        page.wait_for_timeout(410)  # a second Enter within 0.4 s counts as a slip
        if title != "Mounting edge, flatness":
            hand.to("#next").press("Enter")
    page.locator("#foot", has_text="Sent 3").wait_for()
    hand.to("#sign").press("Enter")
    page.locator("dialog[open] input[type=password]").wait_for()
    hand.to("dialog[open] input[type=password]")
    page.keyboard.type(PIN)
    hand.press("Enter")
    page.get_by_text("is signed").wait_for()
    assert inspection_of(NEW).stage(1).signed is not None


def test_lets_a_welder_say_what_is_welded_with_what_before_the_arc(at: SitDown) -> None:
    hand = at("1005")
    hand.page.goto(f"/units/{HELD}/weld/")
    hand.page.wait_for_selector("#scanned")  # the field that the page adds for scanners takes the focus
    before = len(welds_of(unit_by_serial(HELD).item_id))
    hand.to("input[name=joints]").press("Space")
    hand.to("input[name=procedure]").press("Space")
    hand.choose("select[name=base_grade]", "4130")
    for name, text in (("thickness", "2,11"), ("filler_lot", "F-3301"), ("machine", "TIG-2")):
        hand.type(f"[name={name}]", text)
    hand.to("#start").press("Enter")
    hand.page.locator("#said .banner").wait_for()
    assert len(welds_of(unit_by_serial(HELD).item_id)) > before, hand.page.inner_text("#said")


def test_lets_goods_in_take_a_delivery_and_decide_a_heat(at: SitDown) -> None:
    hand = at("1008").open("/goods/")
    hand.send("a[href$='/goods/receive/']")
    hand.skip()
    hand.type("[name=supplier]", "Fenwater Tube (invented)").type("[name=note_number]", "LS-9001")
    for name, text in (("description", "drawn tube"), ("quantity", "12"), ("unit_of_measure", "m"), ("heat", "Q7714")):
        hand.type(f"[name=line1_{name}]", text)
    assert "LS-9001" in hand.send("main form .act")
    hand.open("/goods/heats/M2208/")
    hand.choose("select[name=verdict]", "held")
    hand.type("[name=reason]", "Second analysis to be waited for.")
    hand.type("form:has([value=decide]) [name=pin]", PIN)
    assert "held" in hand.send()


def test_lets_quality_engineer_and_coordinator_decide_a_report(at: SitDown) -> None:
    (report,) = Report.objects.filter(item__unit__serial=HELD)
    here = f"/nonconformances/{report.number}/"
    quality = at("1009").open(here)
    quality.type("form[action$='/contain/'] [name=note]", "Frame set aside with its tag.")
    quality.send("form[action$='/contain/'] button")
    quality.open(here)
    form = "form[action$='/propose/']"
    quality.choose(f"{form} [name=disposition]", "rework")
    quality.type(f"{form} [name=instruction]", "Straighten in the restraint, once.")
    quality.choose(f"{form} [name=cause]", "method").choose(f"{form} [name=method]", "cold")
    quality.type(f"{form} [name=procedure]", "CS-3").type(f"{form} [name=max_attempts]", "1")
    quality.type(f"{form} [name=left_out_reason]", "It stays clamped in the restraint.")
    assert "Still to sign" in quality.send(f"{form} button")
    for hand in (quality, at("1011"), at("1012")):
        hand.open(here)
        hand.type("form[action$='/sign/'] [name=pin]", PIN)
        words = hand.send()
    assert "Decided: rework" in words


def test_lets_the_quality_manager_release_a_unit(at: SitDown) -> None:
    hand = at("1009").open(f"/units/{READY}/release/")
    hand.type("form[action$='/give/'] [name=pin]", PIN)
    assert "released" in hand.send()
    assert unit_by_serial(READY).state == "released"


def test_lets_the_engineer_approve_the_limits_of_a_plan(at: SitDown, shop: Shop) -> None:
    author, now = shop.cast.people["1010"], timezone.now()
    text = (FIXTURES / "plans" / "MG-5.csv").read_text(encoding="utf-8").replace("lens 5 x", "lens 10 x")
    told = {"family_code": "MG-5", "letter": "B", "text_or_bytes": text.encode(), "filename": "MG-5.csv"}
    draft = import_plan(by=author, at=now, change_note="A stronger lens.", **told)
    send_for_review(by=author, revision_uuid=draft.uuid, at=now)
    hand = at("1011").open(f"/plans/{draft.uuid}/")
    hand.type("form[action$='/approve/'] [name=pin]", PIN)
    assert "Linnea Foss" in hand.send()


def test_lets_the_welding_coordinator_confirm_a_qualification(at: SitDown) -> None:
    wanted = next(one for one in qualifications() if one.process != "141")
    hand = at("1012").open(f"/welding/qualifications/{wanted.uuid}/")
    hand.type("[name=evidence]", "Weld book of cell 2.")
    hand.type("[name=pin]", PIN)
    assert "Weld book of cell 2." in hand.send()


def test_lets_metrology_record_a_calibration(at: SitDown) -> None:
    hand = at("1010").open("/gauges/HG-08/")
    form = "form[action$='/calibrations/']"
    day = site_day(timezone.now())
    hand.to(f"{form} [name=done_on]")
    hand.page.keyboard.type(f"{day:%m%d%Y}")
    hand.type(f"{form} [name=done_by]", "Metrology room").type(f"{form} [name=expanded_uncertainty]", "0.02")
    for name, value in (("reference", "300"), ("as_found", "300.01"), ("as_left", "300.01"), ("limit", "0.03")):
        hand.type(f"{form} [name=point_{name}]", value)
    assert "Metrology room" in hand.send(f"{form} button")


def test_lets_customer_service_write_down_what_a_caller_says(at: SitDown) -> None:
    hand = at("1013").open(f"/units/{CERTIFIED}/service/")
    hand.choose("[name=kind]", "complaint").to("[name=happened_on]")
    hand.page.keyboard.type(f"{site_day(timezone.now()):%m%d%Y}")
    hand.type("[name=text]", "Pulls to the left under load.")
    assert "Pulls to the left" in hand.send("main form .act")


def test_lets_dispatch_hand_over_a_unit(at: SitDown) -> None:
    (paper,) = certificates_of(unit_by_serial(TO_GO).item_id)
    hand = at("1014").open(f"/units/{TO_GO}/dispatch/")
    for name, text in (
        ("order_number", "S-1208"), ("certificate_number", paper.number), ("issue", str(paper.issue)), ("pin", PIN),
    ):  # fmt: skip
        hand.type(f"[name={name}]", text)
    assert "is dispatched" in hand.send()


def test_lets_the_keeper_add_a_person_with_a_role_and_make_a_tablets_code(at: SitDown) -> None:
    hand = at("1015").open("/people/")
    hand.send("a[href$='/people/add/']")
    hand.skip()
    for name, text in (("badge", "1099"), ("name", "Ferelith Crane"), ("initials", "FC")):
        hand.type(f"[name={name}]", text)
    hand.send()
    person = Person.objects.get(badge="1099")
    hand.open(f"/people/{person.uuid}/")
    hand.choose("form[action$='/roles/'] [name$=role]", "inspector").send("form[action$='/roles/'] button")
    assert [one.role for one in person.roles.all()] == ["inspector"]
    hand.open("/tablets/")
    hand.type("[name=name]", "Bench 9")
    assert "Code for Bench 9" in hand.send()


def test_lets_anybody_sign_in_and_reach_their_parts(at: SitDown) -> None:
    hand = at("")
    hand.page.goto("/sign-in/")  # the badge has the focus
    hand.type("[name=badge]", "1013").type("[name=password]", PASSWORD)
    hand.send()
    assert "Yara Quill" in hand.page.inner_text("header")
