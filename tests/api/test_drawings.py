"""Sheets, balloons and reference pictures through the API, and what the bench gets of them."""

from __future__ import annotations

import base64
from pathlib import Path
from typing import Any

import pytest
from django.utils import timezone

from qcapp.inspections.services import open_unit
from qcapp.plans import services
from qcapp.plans.cards import RevisionCard
from qcapp.plans.services import drawings
from tests.evidence.files import pdf, picture
from tests.factories.plans import attribute, draft, plan_text
from tests.unchanged import rows_of

SVG = b'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 420 297"><script>x</script><path d="M0 0h9"/></svg>'


def encoded(content: bytes) -> str:
    return base64.b64encode(content).decode()


@pytest.fixture(autouse=True)
def own_folder(settings, tmp_path: Path) -> None:
    settings.QCAPP_DATA_DIR = tmp_path


@pytest.fixture
def card(cast, fixed_now) -> RevisionCard:
    return draft(cast, fixed_now, plan_text({}, attribute(102)))


@pytest.fixture
def api(cast, api_of) -> Any:
    return api_of(cast.quality_manager)


@pytest.fixture
def sheet(api, card) -> dict[str, Any]:
    body = {"name": "f.svg", "content": encoded(SVG), "number": "FR-1", "document_revision": "C", "title": "Side view"}
    answer = api.post(f"plans/{card.uuid}/drawings", body)
    assert (api.status, answer["left_out"]) == (201, {"script": 1})
    return answer["sheets"][0]


def test_sets_a_balloon_and_lists_what_lacks_one(api, card, sheet) -> None:
    place = {"checkpoint": "head_angle", "sheet": sheet["uuid"], "across": "0.25", "down": "0.5", "was": ""}
    placed = api.post(f"plans/{card.uuid}/balloons", place)
    assert (placed["across"], placed["down"], placed["number"]) == ("0.25000", "0.50000", 101)
    found = api.get(f"plans/{card.uuid}/drawings")
    assert found["balloons"] == [placed]
    assert found["without_balloon"] == ["checkpoint_102"]
    assert api.post(f"plans/{card.uuid}/balloons", place)["code"] == "changed_meanwhile"
    api.delete(f"plans/{card.uuid}/balloons/head_angle")
    assert api.status == 204
    assert api.get(f"plans/{card.uuid}/drawings")["balloons"] == []


@pytest.mark.parametrize(
    ("path", "body", "status"),
    [
        ("balloons", {"checkpoint": "head_angle", "across": "1.2", "down": "0"}, 400),
        ("balloons", {"checkpoint": "nothing", "across": "1", "down": "0"}, 404),
        ("pictures", {"checkpoint": "head_angle", "name": "x", "content": "!!"}, 400),
        ("pictures", {"checkpoint": "head_angle", "name": "x", "content": "AAAA"}, 400),
        ("drawings", {"name": "f", "content": encoded(SVG), "number": "FR-1", "document_revision": "C"}, 409),
        ("drawings", {"name": "f", "content": encoded(b"<svg"), "number": "FR-2", "document_revision": "C"}, 400),
    ],
)
def test_refuses_with_a_sentence_and_changes_nothing(api, card, sheet, path, body, status) -> None:
    before = rows_of("plans", "evidence")
    answer = api.post(f"plans/{card.uuid}/{path}", {"sheet": sheet["uuid"]} | body if path == "balloons" else body)
    assert api.status == status
    assert answer["message"]
    assert rows_of("plans", "evidence") == before


def test_keeps_a_picture_and_takes_it_away(api, card) -> None:
    body = {"checkpoint": "head_angle", "name": "so.jpg", "content": encoded(picture())}
    address = api.post(f"plans/{card.uuid}/pictures", body)["address"]
    assert api.get(f"plans/{card.uuid}/drawings")["pictures"] == {"head_angle": address}
    assert api.client.get(address)["Content-Type"] == "image/jpeg"
    api.delete(f"plans/{card.uuid}/pictures/head_angle")
    assert api.get(f"plans/{card.uuid}/drawings")["pictures"] == {}


def test_takes_a_sheet_out_and_prints(api, card, sheet) -> None:
    assert api.get(f"plans/{card.uuid}/drawings/pdf").startswith(b"%PDF")
    assert api.delete(f"plans/{card.uuid}/drawings/{sheet['uuid']}") == {"balloons": 0}


def test_only_who_writes_plans_may_change_them(cast, api_of, card, sheet) -> None:
    inspector = api_of(cast.inspector)
    assert inspector.get(f"plans/{card.uuid}/drawings")["sheets"] == [sheet]
    inspector.delete(f"plans/{card.uuid}/drawings/{sheet['uuid']}")
    assert inspector.status == 403


def test_gives_the_bench_each_spot_and_picture(cast, api_of, proof_of) -> None:
    at = timezone.now()
    card = draft(cast, at, plan_text({}, attribute(102)))
    known: dict[str, Any] = {"by": cast.quality_manager, "revision_uuid": card.uuid, "at": at}
    (sheet,) = drawings.add_sheets(number="FR-1", document_revision="C", content=SVG, name="f.svg", **known).cards
    drawings.place_balloon(key="head_angle", sheet_uuid=sheet.uuid, across=25_000, down=1, **known)
    drawings.set_picture(key="checkpoint_102", content=picture(), name="so.jpg", **known)
    services.send_for_review(**known)
    services.approve(proof=proof_of(cast.engineer, at), revision_uuid=card.uuid, at=at)
    services.release(proof=proof_of(cast.second_quality_manager, at), revision_uuid=card.uuid, at=at)
    open_unit(by=cast.inspector, family_code="FR-200", serial="FR-200-0147", at=at)
    bench = api_of(cast.inspector).get("units/FR-200-0147/bench")
    assert [one["uuid"] for one in bench["drawings"]] == [str(sheet.uuid)]
    first, second = bench["checkpoints"]
    assert first["spot"] == {"drawing": str(sheet.uuid), "across": "0.25000", "down": "0.00001"}
    assert (first["picture"], second["spot"]) == (None, None)
    assert second["picture"].startswith("/evidence/")


def test_gives_the_pages_of_a_document_to_choose_from(api: Any, card: RevisionCard) -> None:
    sent = {"name": "frame.pdf", "content": encoded(pdf(2))}
    pages = api.post(f"plans/{card.uuid}/drawings/pages", sent)["pages"]
    assert [(one["page"], one["width"]) for one in pages] == [(1, 240), (2, 240)]
    assert base64.b64decode(pages[0]["picture"]).startswith(b"\x89PNG")
    refused = api.post(f"plans/{card.uuid}/drawings/pages", sent | {"content": encoded(b"x")})
    assert (api.status, refused["code"]) == (400, "not_a_document")
