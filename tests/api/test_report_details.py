"""Reports over many units and lots, suspects, papers, deciders, permits and holds, through the API."""

from __future__ import annotations

import base64
import io
from typing import Any

import pytest
from PIL import Image
from pypdf import PdfReader

from qcapp.goods.services import receive_delivery
from qcapp.production.models import Item, Lot, PartFamily
from qcapp.production.queries import open_holds

from ..cast import FIXED_NOW
from ..factories.inspections import SERIAL, Workshop
from ..factories.production import ItemFactory

pytestmark = pytest.mark.django_db
MM = 72 / 25.4  # points


def test_splits_a_lot_into_rework_and_return(workshop: Workshop, api_of: Any) -> None:
    cast = workshop.cast
    manager, welder = api_of(cast.quality_manager), api_of(cast.welder)
    item = Item.objects.create(kind="lot", family=PartFamily.objects.get(code="FR-200"))
    body = {"item": str(item.uuid), "named": "TK-200/118", "quantity": 40, "title": "2 mm short", "severity": "major"}
    number = api_of(cast.goods_in).post("reports/on-lot", body)["number"]
    manager.post(f"reports/{number}/contain", {"note": "Box locked away."})
    split = {"parts": {"rework": 25, "return_to_supplier": 14}, "instruction": "Sort by length."}
    assert manager.post(f"reports/{number}/propose", split)["code"] == "sum_differs"
    split["parts"] = {"rework": 25, "return_to_supplier": 15}
    assert manager.post(f"reports/{number}/propose", split)["proposal"]["parts"][1]["quantity"] == 15
    assert manager.signed(f"reports/{number}/sign", role="quality_manager")["state"] == "decided"
    told = {"supplier": "Tidewell Tube Works", "text": "Credit for 15 tubes."}
    assert manager.post(f"reports/{number}/return", told)["return_note"]["quantity"] == 15
    welder.post(f"reports/{number}/start")
    assert welder.post(f"reports/{number}/finish", {"note": "Sorted."})["code"] == "steps_open"
    assert welder.post(f"reports/{number}/step", {"position": 1})["steps"][0]["by_name"] == "Casimir Voss"
    assert welder.post(f"reports/{number}/finish", {"note": "Sorted."})["state"] == "to_be_verified"
    closing = {"corrective_action": "Stop at the saw renewed.", "action_number": "CA-3"}
    assert manager.signed(f"reports/{number}/close", **closing)["state"] == "closed"


def test_groups_units_and_holds_suspects(workshop: Workshop, api_of: Any) -> None:
    cast = workshop.cast
    for serial in ("FR-200-0148", "FR-200-0149"):
        workshop.another_unit(serial)
    api = api_of(cast.inspector)
    body = {"serials": [SERIAL, "FR-200-0148"], "title": "AG-01 reads high", "severity": "major"}
    report = api.post("reports/grouped", body | {"brought_about_by": "gauge AG-01"})
    number = report["number"]
    assert (api.status, report["serials"]) == (201, [SERIAL, "FR-200-0148"])
    more = {"serials": ["FR-200-0149"], "reason": "Measured the same day."}
    held = api.post(f"reports/{number}/hold-suspects", more)
    assert held["moves"][-1]["data"]["serials"] == ["FR-200-0149"]
    assert api.get(f"reports/{number}/suspects")["suspects"] == []
    assert len(api.post(f"reports/{number}/units", more)["serials"]) == 3
    hold = open_holds(workshop.item_id)[0]
    manager = api_of(cast.quality_manager)
    assert manager.signed(f"holds/{hold.uuid}/lift", reason="Measured with AG-02.")["lift_reason"]
    assert api.signed(f"holds/{hold.uuid}/lift", reason="Again.")["code"] == "not_permitted"


def test_changes_who_decides_and_signs_a_permit(workshop: Workshop, api_of: Any) -> None:
    manager, engineer = api_of(workshop.cast.quality_manager), api_of(workshop.cast.engineer)
    assert manager.get("deciders")["minor"]["scrap"] == ["quality_manager"]
    change = {"severity": "minor", "disposition": "scrap", "roles": ["engineer"], "reason": "Two read it."}
    assert manager.post("deciders", change)["code"] == "too_few_deciders"
    change["roles"] = ["engineer", "quality_manager"]
    assert manager.post("deciders", change)["minor"]["scrap"] == ["quality_manager", "engineer"]
    assert engineer.post("deciders", change)["code"] == "not_permitted"
    asked = {"family": "FR-200", "checkpoint": "101", "statement": "Up to 62.50°.", "upper": "62,50", "quantity": 2}
    number = engineer.post("permits", asked)["number"]
    assert engineer.signed(f"permits/{number}/sign", role="engineer")["missing"] == ["quality_manager"]
    assert manager.signed(f"permits/{number}/sign", role="quality_manager")["code"] == ""
    assert [one["number"] for one in engineer.get("permits")["permits"]] == [number]


def test_gives_the_papers_and_keeps_a_photo(workshop: Workshop, api_of: Any) -> None:
    api = api_of(workshop.cast.inspector)
    body = {"serial": SERIAL, "title": "Dent in the left rail", "severity": "minor"}
    number = api.post("reports", body)["number"]
    into = io.BytesIO()
    Image.new("RGB", (40, 30), "grey").save(into, "PNG")
    photo = {"name": "dent.png", "content": base64.b64encode(into.getvalue()).decode(), "mark": ["0.5", "0.25"]}
    assert api.post(f"reports/{number}/picture", photo)["pictures"][0]["mark_y"] == "0.25"
    assert api.post(f"reports/{number}/picture", photo | {"content": "no base64!"})["code"] == "content_unreadable"
    label = PdfReader(io.BytesIO(api.client.get(f"/api/v1/reports/{number}/tag.pdf?width=62").content))
    assert float(label.pages[0].mediabox.width) == pytest.approx(62 * MM, abs=0.5)
    assert len(label.pages) == 1
    assert {"ON HOLD", SERIAL} <= {line.strip() for line in label.pages[0].extract_text().splitlines()}
    sheet = PdfReader(io.BytesIO(api.client.get(f"/api/v1/reports/{number}/tag.pdf").content))
    assert float(sheet.pages[0].mediabox.height) == pytest.approx(297 * MM, abs=0.5)
    assert api.get(f"reports/{number}/tag.pdf", width="12")["code"] == "width_out_of_range"
    whole = PdfReader(io.BytesIO(api.client.get(f"/api/v1/reports/{number}/report.pdf").content))
    assert "Dent in the left rail" in whole.pages[0].extract_text()
    assert api.get(f"reports/{number}/return.pdf")["code"] == "no_return_note"


def test_raises_on_a_lot_by_its_label_and_on_a_delivery(workshop: Workshop, api_of: Any) -> None:
    cast = workshop.cast
    lot = Lot.objects.create(
        item=ItemFactory(kind="lot"), code="TK-200-L0007", lookup="TK200L7", number=7, quantity=40, state="accepted",
        opened_by=cast.goods_in, opened_at=FIXED_NOW,
    )  # fmt: skip
    api = api_of(cast.goods_in)
    found = {"title": "2 mm short", "severity": "major"}
    report = api.post("reports/on-lot", found | {"lot": lot.code})
    assert (api.status, report["quantity"], report["facts"]["lot"]) == (201, 40, "TK-200-L0007")
    assert api.post("reports/on-lot", found | {"lot": lot.code, "quantity": 41})["code"] == "more_than_the_lot"
    assert api.post("reports/on-lot", found)["code"] == "lot_unknown"
    line = {"description": "Tube 38.1", "quantity": "60", "unit_of_measure": "m", "heat": ""}
    told = {"supplier": "Millbrook Tube", "note_number": "N-77", "lines": [line], "at": FIXED_NOW}
    delivery = receive_delivery(by=cast.goods_in, **told)
    where = {"delivery": delivery.number, "family": "FR-200", "quantity": 15}
    report = api.post("reports/on-delivery", found | where)
    assert (report["quantity"], report["facts"]["supplier"], report["cause"]) == (15, "Millbrook Tube", "material")
    assert api.post("reports/on-delivery", found | where | {"delivery": "GR-9"})["code"] == "delivery_unknown"


def test_concedes_for_a_number_of_units_and_uses_it(workshop: Workshop, api_of: Any) -> None:
    cast = workshop.cast
    engineer, manager = api_of(cast.engineer), api_of(cast.quality_manager)
    numbers = []
    for unit in (workshop, workshop.another_unit("FR-200-0148")):
        numbers.append(unit.send_one("left_length", "251.0").report)
        manager.post(f"reports/{numbers[-1]}/contain", {"note": "Set aside."})
    proposed = {"disposition": "use_as_is", "instruction": "No part bolts there."}
    manager.post(f"reports/{numbers[0]}/propose", proposed | {"concession_upper": "251.2", "units_at_most": 2})
    engineer.signed(f"reports/{numbers[0]}/sign", role="engineer")
    conceded = manager.signed(f"reports/{numbers[0]}/sign", role="quality_manager")["concession"]
    assert (conceded["number"], conceded["units_at_most"]) == ("CN-2026-0001", 2)
    used = manager.post(f"reports/{numbers[1]}/propose", proposed | {"permit": conceded["number"]})
    assert used["proposal"]["missing"] == ["quality_manager"]
    assert manager.signed(f"reports/{numbers[1]}/sign", role="quality_manager")["state"] == "decided"


def test_marks_no_sheet_that_the_drawing_has_not(workshop: Workshop, api_of: Any) -> None:
    number = workshop.send_one("head_angle", "62.40").report
    api = api_of(workshop.cast.inspector)
    mark = {"sheet": "00000000-0000-7000-8000-000000000000", "x": "0.5", "y": "0,25"}
    assert api.post(f"reports/{number}/mark", mark)["code"] == "sheet_unknown"
    assert api.post(f"reports/{number}/mark", mark | {"x": "1.5"})["code"] == "mark_outside"
    assert api.get(f"reports/{number}")["mark"] is None
