"""The quality manager's walk through a plan by a program: what the page does by keys alone, in the same order."""

from __future__ import annotations

import base64
from typing import Any

import pytest
from pypdfium2 import PdfDocument

from qcapp.inspections.services import open_unit, record_operations
from qcapp.lib.fields import uuid7
from tests.cast import Cast
from tests.factories.gauges import GaugeFactory
from tests.factories.plans import FR200, released

pytestmark = pytest.mark.django_db
SERIALS = ("FR-200-0001", "FR-200-0002")
CHANGES = {"107": "+0.10/0", "109": "+0.12/0", "113": "±1.0", "117": "max 0.3", "121": "±0.2"}
SVG = b'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 400 300"><path d="M9 9h300v200" stroke="black"/></svg>'
DERIVED = {
    "title": "Cradle rails, left minus right", "kind": "derived", "nominal": "0", "unit_of_measure": "mm",
    "limits": "±1.0", "frequency": "1 in 5", "criticality": "minor",
    "formula": "cradle_left_length - cradle_right_length",
}  # fmt: skip


@pytest.fixture
def units(cast: Cast, proof_of: Any, fixed_now: Any, settings: Any, tmp_path: Any) -> tuple[str, ...]:
    """FR-200 on revision A with two units in build, each with a notch gap that is in band."""
    settings.QCAPP_DATA_DIR = tmp_path
    card = released(cast, proof_of, fixed_now)
    GaugeFactory(number="FG-01", kind__key="feeler_gauge")
    for serial in SERIALS:
        open_unit(by=cast.inspector, family_code="FR-200", serial=serial, at=fixed_now)
        body = {
            "id": str(uuid7()), "v": 1, "kind": "result", "serial": serial, "revision": str(card.uuid),
            "checkpoint": "notch_gap", "round": 1, "inspection": 1, "purpose": "reading", "answer": {"value": "0.40"},
            "raw": "", "gauge": "FG-01", "recorded_at": fixed_now.isoformat(), "recorded_by": cast.inspector.badge,
            "base": None, "reason": "",
        }  # fmt: skip
        (told,) = record_operations(operations=[body], sent_by=cast.inspector, device="T-1", at=fixed_now)
        assert told.verdict == "in_band"
    return SERIALS


def pages_of(answer: Any) -> str:
    assert (answer.status_code, answer["Content-Type"]) == (200, "application/pdf")
    return "\n".join(page.get_textpage().get_text_range() for page in PdfDocument(answer.content))


def test_walks_a_plan_from_import_to_the_printed_sheet(cast: Cast, api_of: Any, units: tuple[str, ...]) -> None:
    author, releaser = api_of(cast.quality_manager), api_of(cast.second_quality_manager)
    body = {"family": "FR-200", "letter": "B", "text": FR200.read_text(), "filename": "b.csv", "change_note": "Tighter"}
    path = f"plans/{author.post('plans', body)['uuid']}"
    assert author.status == 201
    _change(author, path)
    said = author.get(path)
    changed = {str(one["number"]) for one in said["differences"]}
    assert len(changed) == len(CHANGES) + 1
    assert changed > set(CHANGES)
    _balloon(author, path)
    assert author.get(f"{path}/draft")["complete"]
    assert {one["severity"] for one in said["advice"]} == {"warning", "advice"}  # nothing that keeps it from review
    author.post(f"{path}/review", {})
    assert author.signed(f"{path}/release")["code"] == "released_by_author"
    assert releaser.signed(f"{path}/release")["state"] == "released"
    compared = releaser.get(f"{path}/compare")
    effects = {change["effect"] for one in compared["differences"] for change in one["fields"]}
    assert {"tightened", "loosened"} <= effects
    assert "compared" in pages_of(releaser.client.get(f"/api/v1/{path}/compare/pdf?paper=letter"))
    _move(releaser, path, units)
    sheet = pages_of(releaser.client.get(f"/api/v1/units/{units[0]}/sheets/pdf?stage=1&paper=letter"))
    assert units[0] in sheet
    assert "max 0.30 mm" in sheet


def _change(author: Any, path: str) -> None:
    """Five limits, and a derived checkpoint below 114."""
    rows = {row["cells"]["number"]: row for row in author.get(f"{path}/draft")["rows"]}
    for number, limits in CHANGES.items():
        _write(author, path, rows[number], "limits", limits)
    new = author.post(f"{path}/draft", {"act": "insert", "row": rows["114"]["id"]})
    (row,) = [one for one in new["changed"] if one["id"] == new["focus"]]
    for column, text in DERIVED.items():
        row = _write(author, path, row, column, text)


def _write(author: Any, path: str, row: dict[str, Any], column: str, text: str) -> dict[str, Any]:
    """One cell as it was seen; gives the row as it is afterwards."""
    was = row["cells"].get(column, "")
    if was == text:
        return row
    body = {"act": "cell", "row": row["id"], "column": column, "text": text, "was": was}
    told = author.post(f"{path}/draft", body)
    assert author.status == 200, told
    return {one["id"]: one for one in told["changed"]}[row["id"]]


def _balloon(author: Any, path: str) -> None:
    body = {
        "name": "f.svg", "content": base64.b64encode(SVG).decode(), "number": "FR-200-001", "document_revision": "C",
        "title": "Side view",
    }  # fmt: skip
    sheet = author.post(f"{path}/drawings", body)["sheets"][0]["uuid"]
    keys = [row["cells"]["key"] for row in author.get(f"{path}/draft")["rows"]][:3]
    for place, key in enumerate(keys, start=1):
        spot = {"checkpoint": key, "sheet": sheet, "across": f"0.{place}", "down": "0.5", "was": ""}
        author.post(f"{path}/balloons", spot)
    assert [one["checkpoint"] for one in author.get(f"{path}/drawings")["balloons"]] == keys


def _move(releaser: Any, path: str, units: tuple[str, ...]) -> None:
    """Both units adopt it under one signature; each gap gets worse and raises a report."""
    listed = {one["serial"]: one["covers"] for one in releaser.get(f"{path}/units")["units"]}
    assert set(listed) == set(units)
    done = releaser.signed(f"{path}/units", choice="adopt", reason="Both kits are cut", units=listed)
    assert releaser.status == 201
    assert {serial: len(numbers) for serial, numbers in done["reports"].items()} == dict.fromkeys(units, 1)
