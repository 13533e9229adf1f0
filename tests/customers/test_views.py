"""The phone call, the dispatch and the service event, as a browser meets them."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from qcapp.customers.lookup import look_up
from qcapp.customers.models import ServicePhoto
from qcapp.customers.services import dispatch
from qcapp.lib.site_days import site_day
from qcapp.people.services import demonstration_proof
from qcapp.production.models import Installation
from qcapp.production.queries import unit_by_serial
from qcapp.production.services.places import add_place, move_item
from tests.cast import FIXED_NOW, PIN
from tests.evidence.files import picture
from tests.factories.production import FamilyFactory, ItemFactory, UnitFactory

SERIAL = "FR-200-0147"
SIZES = ((60, 40), (61, 40), (62, 40))
AT = FIXED_NOW + timedelta(hours=3)


@pytest.fixture(autouse=True)
def _in_march(monkeypatch):
    monkeypatch.setattr("django.utils.timezone.now", lambda: AT)


def sent(certified):
    dispatch(
        proof=demonstration_proof(certified.cast.dispatch, AT), serial=SERIAL, order_number="S-1184",
        certificate_number="FR-2026-0001", issue=1, at=AT,
    )  # fmt: skip


def test_dispatches_with_the_pin_and_shows_what_stands_against_it(certified, client_of):
    client = client_of(certified.cast.dispatch)
    page = client.get(f"/units/{SERIAL}/dispatch/").text
    assert 'value="FR-2026-0001"' in page
    told = {"act": "dispatch", "order_number": "S-1184", "certificate_number": "FR-2026-0001", "issue": "1"}
    assert client.post(f"/units/{SERIAL}/dispatch/", told | {"pin": PIN}).status_code == 302
    assert unit_by_serial(SERIAL).state == "dispatched"
    again = client.post(f"/units/{SERIAL}/dispatch/", told | {"pin": PIN})
    assert again.status_code == 409
    assert "only a released unit leaves" in again.text


def test_says_what_leaves_and_afterwards_to_whom(certified, client_of):
    client, page = client_of(certified.cast.dispatch), f"/units/{SERIAL}/dispatch/"
    add_place(by=certified.cast.quality_manager, code="YARD-2", name="yard, row 2", at=AT)
    move_item(by=certified.cast.dispatch, code=SERIAL, place_code="YARD-2", at=AT)
    order = unit_by_serial(SERIAL).order_number
    text = client.get(page).text
    for said in ("YARD-2, yard, row 2", f"order {order}", "FR-2026-0001 issue 1</a>", "no component"):
        assert said in text
    sent(certified)
    text = client.get(page).text
    assert "order S-1184 of Orchard Rise Growers, with certificate FR-2026-0001 issue 1, handed over by" in text
    assert certified.cast.dispatch.name in text
    assert "What leaves" not in text


def test_puts_what_may_leave_in_front_of_what_waits_for_its_certificate(certified, client_of):
    """The other was opened earlier and has none."""
    made = ItemFactory(family=FamilyFactory(code="ZZ-1"))
    UnitFactory(item=made, number=1, state="released", opened_at=FIXED_NOW - timedelta(days=90))
    text = client_of(certified.cast.dispatch).get("/").text
    assert 0 < text.index(f'href="/units/{SERIAL}/dispatch/"') < text.index('href="/units/ZZ-1-')
    assert text.count("none yet") == 1


def test_lists_for_dispatch_alone_what_is_released_and_in_nothing(certified, client_of):
    cast = certified.cast
    client = client_of(cast.dispatch)
    text = client.get("/").text
    assert f'href="/units/{SERIAL}/dispatch/"' in text
    assert "FR-2026-0001 issue 1" in text
    assert "Released and still here" not in client_of(cast.customer_service).get("/").text
    holder = UnitFactory(item=ItemFactory(family=FamilyFactory(code="ZZ-1")), number=1)
    Installation.objects.create(
        item=holder.item, component_id=unit_by_serial(SERIAL).item_id, link="welded_in", by=cast.assembler, at=AT
    )
    text = client.get("/").text
    assert f"/units/{SERIAL}/dispatch/" not in text
    assert "No released unit waits to leave." in text


def test_asks_for_no_pin_while_something_stands_against_the_dispatch(certified, client_of):
    from qcapp.production.services import place_hold

    client, cast = client_of(certified.cast.dispatch), certified.cast
    assert 'name="pin"' in client.get(f"/units/{SERIAL}/dispatch/").text
    carrier = UnitFactory(item=ItemFactory(family=FamilyFactory(code="AX-200")), number=12, state="released")
    Installation.objects.create(
        item_id=unit_by_serial(SERIAL).item_id, component=carrier.item, link="delivered_with", by=cast.assembler, at=AT
    )
    place_hold(by=cast.inspector, item_id=carrier.item_id, from_stage=None, source="NCR-9", reason="bent", at=AT)
    page = client.get(f"/units/{SERIAL}/dispatch/").text
    assert f"<li>{carrier.serial} is on hold</li>" in page
    assert 'name="pin"' not in page
    page = client.get(f"/units/{carrier.serial}/dispatch/").text
    assert f'href="/units/{SERIAL}/">{SERIAL}</a>' in page
    assert 'name="pin"' not in page


def test_answers_a_phone_call_by_four_digits(certified, client_of):
    """What is it and where is it, was it an outlier, what was handed over."""
    sent(certified)
    client = client_of(certified.cast.customer_service)
    found = client.get("/units/?q=O147")
    assert found.headers["Location"] == f"/units/{SERIAL}/"
    page = client.get(f"/units/{SERIAL}/").text
    for text in ("dispatched", "Orchard Rise Growers", "certificate FR-2026-0001 issue 1 handed over", "As built"):
        assert text in page, text


def test_finds_a_unit_by_order_customer_and_certificate_best_match_first(certified):
    sent(certified)
    UnitFactory(number=1470, serial="FR-200-1470", lookup="FR2001470")
    assert [one.unit.serial for one in look_up("147", names=False)] == [SERIAL, "FR-200-1470"]
    for text in ("fr 2026 ooo1", "FR-2026-0001"):
        assert look_up(text, names=False)[0].by == "certificate"
    UnitFactory(number=9)
    (found,) = look_up("orchard", names=True) or [None]
    assert found is None or found.customer == "Orchard Rise Growers"
    assert look_up("orchard", names=False) == []


def test_names_the_place_of_a_unit_only_while_it_is_here(certified):
    add_place(by=certified.cast.dispatch, code="YARD-2", name="yard", at=AT)
    move_item(by=certified.cast.dispatch, code=SERIAL, place_code="YARD-2", at=AT)
    assert [one.place for one in look_up(SERIAL, names=False)] == ["yard"]
    sent(certified)
    assert [one.place for one in look_up(SERIAL, names=False)] == [""]


@pytest.mark.parametrize("text", ["%", "_", "\0", "-", "9" * 10_000, "'; DROP TABLE", "\\"])
def test_finds_nothing_for_wildcards_and_floods(certified, text):
    assert look_up(text, names=True) == []


def test_refuses_a_flood_on_the_page(certified, client_of):
    assert client_of(certified.cast.customer_service).get("/units/", {"q": "9" * 10_000}).status_code == 400


def test_hides_customers_from_those_who_do_not_need_them(certified, client_of):
    sent(certified)
    page = client_of(certified.cast.assembler).get(f"/units/{SERIAL}/").text
    assert "Orchard" not in page
    assert client_of(certified.cast.assembler).get("/customers/").status_code == 403
    assert "Orchard Rise Growers" in client_of(certified.cast.customer_service).get("/customers/").text


def test_records_a_complaint_that_raises_a_report(certified, client_of):
    sent(certified)
    client = client_of(certified.cast.customer_service)
    known = client.get(f"/units/{SERIAL}/service/").text
    for said in (
        "What is known of it",
        "FR-2026-0001 issue 1, current",
        "Orchard Rise Growers",
        "No nonconformance was",
        f'value="{site_day(AT).isoformat()}"',
    ):
        assert said in known
    told = {"act": "event", "kind": "complaint", "happened_on": "2026-03-16", "text": "Pulls left."}
    assert client.post(f"/units/{SERIAL}/service/", told | {"report_severity": "major"}).status_code == 302
    page = client.get(f"/units/{SERIAL}/").text
    assert "Complaint" in page
    assert "NCR-2026-0001" in page
    late = client.post(f"/units/{SERIAL}/service/", told | {"happened_on": "2027-01-01"})
    assert late.status_code == 400


@pytest.mark.parametrize("form", ["sheet", "roll"])
def test_prints_a_label_whose_code_reads_back(certified, client_of, form, tmp_path):
    """Read by zxing-cpp from the picture that poppler makes of the PDF."""
    import subprocess

    import zxingcpp
    from PIL import Image

    answer = client_of(certified.cast.dispatch).get(f"/units/{SERIAL}/label/{form}.pdf")
    (tmp_path / "label.pdf").write_bytes(answer.content)
    subprocess.run(
        ["pdftoppm", "-r", "200", "-png", "-f", "1", "-l", "1", "-singlefile", "label.pdf", "label"],
        cwd=tmp_path, check=True,
    )  # fmt: skip
    codes = zxingcpp.read_barcodes(Image.open(tmp_path / "label.png"))
    assert {code.text for code in codes} == {SERIAL}
    assert len(codes) == (24 if form == "sheet" else 1)


def test_knows_no_other_label(certified, client_of):
    assert client_of(certified.cast.dispatch).get(f"/units/{SERIAL}/label/poster.pdf").status_code == 404


def test_keeps_several_photos_of_a_complaint_and_shows_them_small(certified, client_of, settings, tmp_path):
    settings.QCAPP_DATA_DIR = tmp_path
    client = client_of(certified.cast.customer_service)
    told = {"act": "event", "kind": "complaint", "happened_on": "2026-03-16", "text": "Pulls left.", "photo": [
        SimpleUploadedFile(f"{place}.jpg", picture(size=size), "image/jpeg") for place, size in enumerate(SIZES)
    ]}  # fmt: skip
    assert "multiple" in client.get(f"/units/{SERIAL}/service/").text
    assert client.post(f"/units/{SERIAL}/service/", told).status_code == 302
    assert ServicePhoto.objects.count() == len(SIZES)
    page = client.get(f"/units/{SERIAL}/").text
    assert page.count('alt="Photo ') == len(SIZES)
    assert client.get(f"/units/{SERIAL}/service/").text.count('alt="Photo ') == len(SIZES)  # beside the next event
    assert "Complaint: Pulls left." in page  # in the timeline too
