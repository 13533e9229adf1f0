"""The pages of goods-in as a browser meets them."""

from __future__ import annotations

import lxml.html
import pytest

from qcapp.goods.services import receive_delivery
from qcapp.people.tablet_guard import COOKIE
from qcapp.production.queries.as_built import heat_by_number, lot_by_code
from tests.cast import PIN
from tests.evidence.files import pdf
from tests.factories.tablets import enrolled
from tests.goods.conftest import CHEMISTRY, STRENGTH, enter, heat


@pytest.fixture(autouse=True)
def _in_march(monkeypatch, fixed_now):
    monkeypatch.setattr("django.utils.timezone.now", lambda: fixed_now)


def uploaded():
    from django.core.files.uploadedfile import SimpleUploadedFile

    return SimpleUploadedFile("mc.pdf", pdf(), content_type="application/pdf")


def test_shows_goods_empty_and_with_a_heat_of_a_long_name(cast, data_folder, client_of):
    client = client_of(cast.goods_in)
    assert "No heat is entered yet" in client.get("/goods/").text
    enter(cast, heat(number="H" + "7" * 39))
    assert "H" + "7" * 39 in client.get("/goods/").text


def test_enters_a_certificate_and_decides_the_heat_with_the_pin(cast, data_folder, client_of):
    client = client_of(cast.goods_in)
    told = {"act": "certificate", "supplier": "Millbrook", "number": "MC-1", "paper": uploaded(), "heat": "H1"}
    told |= {"grade": "4130", "condition": "DOM as drawn", "thickness": "2,11"}
    told |= {f"element_{name}": value for name, value in CHEMISTRY.items()}
    told |= {f"property_{name}": value for name, value in STRENGTH.items()}
    answer = client.post("/goods/certificates/new/", told)
    assert answer.headers["Location"] == "/goods/heats/H1/?supplier=Millbrook"
    page = client.get("/goods/heats/H1/").text
    for text in ("conforms", "0.63 %", "About cracking", "Nothing is decided yet"):
        assert text in page, text
    answer = client.post("/goods/heats/H1/", {"act": "decide", "verdict": "accepted", "reason": "", "pin": PIN})
    assert answer.status_code == 302
    assert heat_by_number("H1").usable


def test_shows_a_refusal_beside_what_was_typed(cast, data_folder, client_of):
    told = {"act": "certificate", "supplier": "Millbrook", "number": "MC-1", "paper": uploaded(), "heat": "H1"}
    told |= {"grade": "4130", "element_C": "0.3.1"}
    answer = client_of(cast.goods_in).post("/goods/certificates/new/", told)
    assert answer.status_code == 400
    assert 'value="0.3.1"' in answer.text
    assert 'role="alert"' in answer.text


def test_opens_and_samples_a_lot(cast, kit, client_of):
    client = client_of(cast.goods_in)
    told = {"act": "lot", "family_code": "TK-200", "quantity": "100", "heats": "H4711"}
    assert client.post("/goods/lots/new/", told).headers["Location"] == "/goods/lots/TK-200-L0001/"
    page = client.get("/goods/lots/TK-200-L0001/").text
    assert "<dt>Major</dt><dd>normal." in page
    told = {"act": "sample", "major": "1.0", "minor": "2.5", "level": "II"}
    assert client.post("/goods/lots/TK-200-L0001/", told).status_code == 302
    page = client.get("/goods/lots/TK-200-L0001/").text
    assert "TK-200-L0001." in page
    refused = client.post("/goods/lots/TK-200-L0001/", {"act": "judge"})
    assert refused.status_code == 409
    assert "drawn pieces are not fully answered" in refused.text
    assert lot_by_code("TK-200-L0001").state == "open"


def test_moves_and_names_places_and_shows_the_forms_of_a_unit(cast, kit, client_of):
    from tests.factories.production import UnitFactory

    UnitFactory(number=147)
    client = client_of(cast.goods_in)
    assert client.post("/goods/move/", {"act": "place", "code": "yard-2", "name": "yard"}).status_code == 302
    told = {"act": "move", "code": "FR-200-0147", "place_code": "YARD-2"}
    assert client.post("/goods/move/", told).status_code == 302
    page = client.get("/goods/build-in/FR-200-0147/").text
    assert "Nothing is installed yet" in page
    answer = client.post(
        "/goods/build-in/FR-200-0147/", {"act": "install", "component_serial": "FR-200-0147", "link": "trial_fitted"}
    )
    assert answer.status_code == 409
    assert "component of itself" in answer.text


def test_raises_one_on_a_shared_tablet_and_goes_back_to_the_delivery(cast, kit, client_of, fixed_now):
    lines = [{"description": "Tube 38.1", "quantity": "60", "unit_of_measure": "m", "heat": ""}]
    told = {"supplier": "Millbrook Tube", "note_number": "N-77", "order_number": "", "lines": lines}
    delivery = receive_delivery(by=cast.goods_in, at=fixed_now, **told)
    _, token = enrolled(cast.keeper, fixed_now)
    client = client_of(cast.goods_in)
    client.cookies[COOKIE] = token
    address = f"/goods/deliveries/{delivery.number}/report/"
    assert "Back to the floor" in client.get(address).text
    sent = {"act": "report", "quantity": "15", "family_code": "TK-200", "title": "Rust inside", "severity": "major"}
    answer = client.post(address, sent)
    assert (answer.status_code, answer["Location"]) == (302, f"/goods/deliveries/{delivery.number}/")
    assert client.get(answer["Location"]).status_code == 200


@pytest.mark.parametrize("code", ["en", "de", "es"])
def test_names_every_part_of_a_line_on_a_phone_as_the_heading_does(cast, kit, client_of, fixed_now, code):
    """On a phone the table's head is away, and each cell carries its name."""
    lines = [{"description": "Tube 38.1", "quantity": "60", "unit_of_measure": "m", "heat": ""}]
    told = {"supplier": "Millbrook Tube", "note_number": "N-77", "order_number": "", "lines": lines}
    delivery = receive_delivery(by=cast.goods_in, at=fixed_now, **told)
    cast.goods_in.language = code
    cast.goods_in.save(update_fields=["language"])
    page = lxml.html.fromstring(client_of(cast.goods_in).get(f"/goods/deliveries/{delivery.number}/").text)
    (table,) = (one for one in page.iter("table") if "stacks" in one.get("class"))
    headings = [one.text_content() for one in table.iter("th")]
    assert [one.get("data-label") for one in table.iter("td")] == headings
    assert ("Description" in headings) == (code == "en")


def test_raises_a_report_on_a_delivery(cast, kit, client_of, fixed_now):
    lines = [{"description": "Tube 38.1", "quantity": "60", "unit_of_measure": "m", "heat": ""}]
    told = {"supplier": "Millbrook Tube", "note_number": "N-77", "order_number": "", "lines": lines}
    delivery = receive_delivery(by=cast.goods_in, at=fixed_now, **told)
    client = client_of(cast.goods_in)
    address = f"/goods/deliveries/{delivery.number}/report/"
    assert address in client.get("/goods/").text
    sent = {"act": "report", "quantity": "15", "family_code": "TK-200", "title": "Rust inside", "severity": "major"}
    page = client.get(client.post(address, sent).headers["Location"]).text
    for text in ("Rust inside", "15 pieces", "Millbrook Tube, GR-2026-0001", "The lot is on hold."):
        assert text in page
    assert client.post(address, sent | {"quantity": "0"}).status_code == 400
    assert client.get("/goods/deliveries/GR-2026-0099/report/").status_code == 404
