"""Goods, lots and what is in a unit through the API, by the rules of the pages."""

from __future__ import annotations

import base64
from typing import Any

import pytest
from django.utils import timezone

from qcapp.inspections.queries import adopted
from qcapp.inspections.services import record_operations
from qcapp.lib.fields import uuid7
from qcapp.production.models import Unit
from qcapp.production.queries import unit_by_serial
from qcapp.production.services import add_family
from qcapp.production.states import UnitState

from ..cast import PIN, Cast
from ..evidence.files import pdf, picture
from ..factories.inspections import release_plan
from ..factories.production import FamilyFactory, ItemFactory, UnitFactory
from ..goods.conftest import CHEMISTRY, PLAN, STRENGTH
from ..unchanged import unchanged

pytestmark = pytest.mark.django_db
ROOMS = ("goods", "production", "people.Signature")
FRAME, CARRIER = "FR-200-0147", "AX-200-0012"


def in_base64(content: bytes) -> str:
    return base64.b64encode(content).decode()


@pytest.fixture(autouse=True)
def _data_folder(settings: Any, tmp_path: Any) -> None:
    settings.QCAPP_DATA_DIR = tmp_path


@pytest.fixture
def goods(cast: Cast, api_of: Any) -> Any:
    """The program of goods-in, with heat H4711 entered and accepted through it."""
    api = api_of(cast.goods_in)
    told = {
        "supplier": "Millbrook Tube", "number": "MC-1", "name": "mc.pdf", "content": in_base64(pdf()),
        "heats": [
            {
                "number": "H4711", "grade": "4130", "condition": "DOM as drawn", "thickness": "2,11",
                "composition": CHEMISTRY, "properties": STRENGTH,
            }
        ],
    }  # fmt: skip
    (heat,) = api.post("mill-certificates", told)["heats"]
    assert (api.status, heat["conforms"], heat["carbon_equivalent"]) == (201, True, "0.63")
    found = api.signed("heat-decisions", heat="H4711", verdict="accepted")
    assert (api.status, found["heat"]["state"]) == (201, "accepted")
    return api


def test_receives_a_delivery_and_reads_it_again(goods: Any) -> None:
    line = {"description": "tube", "quantity": "48,5", "unit_of_measure": "m", "heat": "H4711"}
    card = goods.post("deliveries", {"supplier": "Millbrook Tube", "note_number": "LS-7", "lines": [line]})
    assert (goods.status, card["lines"][0]["quantity"]) == (201, "48.5")
    assert goods.get(f"deliveries/{card['number']}") == card
    assert goods.get("deliveries")["deliveries"] == [card]


def test_tells_everything_about_a_heat(goods: Any) -> None:
    goods.post("cuts", {"heat": "H4711", "stock": "tube 3", "pieces": 12, "pieces_marked": True})
    goods.post("grade-checks", {"heat": "H4711", "method": "spark", "grade_found": "1020"})
    found = goods.get("heat", number="h4711", supplier="Millbrook Tube")
    assert found["heat"]["state"] == "held"
    assert (len(found["papers"]), len(found["events"]), found["decisions"][0]["verdict"]) == (1, 2, "accepted")
    assert [heat["number"] for heat in goods.get("heats")["heats"]] == ["H4711"]


@pytest.mark.parametrize(
    ("path", "body", "code"),
    [
        ("deliveries", {"supplier": "S", "note_number": "1", "lines": []}, "lines_missing"),
        ("cuts", {"heat": "H4711", "stock": "t", "pieces": 3, "pieces_marked": False}, "mark_not_transferred"),
        ("grade-checks", {"heat": "H9", "method": "spark", "grade_found": "4130"}, "heat_unknown"),
        ("lots", {"family": "TK-9", "quantity": 5, "heats": ["H4711"]}, "family_unknown"),
        (
            "mill-certificates",
            {"supplier": "S", "number": "1", "name": "a", "content": "§", "heats": []},
            "content_unreadable",
        ),
        ("heat-decisions", {"heat": "H4711", "verdict": "liked", "pin": "480592"}, "verdict_unknown"),
    ],
)
def test_refuses_as_the_pages_do_and_changes_nothing(goods: Any, path: str, body: Any, code: str) -> None:
    with unchanged(*ROOMS):
        assert goods.post(path, body)["code"] == code


# ---------------------------------------------------------------------------------------------------- lots


@pytest.fixture
def kit(cast: Cast, goods: Any) -> str:
    """A lot of a hundred cut tubes."""
    at = timezone.now()
    add_family(
        by=cast.quality_manager, code="TK-200", name="cut-tube kit", serial_pattern="TK-200-{number:4}",
        certificate_prefix="TK", at=at,
    )  # fmt: skip
    release_plan(cast, family_code="TK-200", letter="A", text=PLAN, at=at)
    found = goods.post("lots", {"family": "TK-200", "quantity": 100, "heats": ["H4711"]})
    assert (goods.status, found["heats"][0]["heat"]["number"]) == (201, "H4711")
    return str(found["lot"]["code"])


def answer_pieces(cast: Cast, pieces: list[Any], bad: int = 0) -> None:
    operations = []
    for place, piece in enumerate(pieces):
        serial = piece["unit"]["serial"]
        revision = str(adopted(unit_by_serial(serial).item_id).revision.uuid)
        length = "413.4" if place < bad else "412.1"
        for key, given in (("length", {"value": length}), ("burr", {"conforms": True})):
            operations.append(
                {
                    "id": str(uuid7()), "v": 1, "kind": "result", "serial": serial, "revision": revision,
                    "checkpoint": key, "round": 1, "inspection": 1, "purpose": "reading", "answer": given, "raw": "",
                    "gauge": None, "recorded_at": timezone.now().isoformat(), "recorded_by": cast.inspector.badge,
                    "base": None, "reason": "",
                }
            )  # fmt: skip
    said = record_operations(sent_by=cast.inspector, device="t", operations=operations, at=timezone.now())
    assert {one.outcome for one in said} == {"applied"}


def test_samples_judges_and_sorts_a_lot(goods: Any, cast: Cast, kit: str) -> None:
    sampled = goods.post(f"lots/{kit}/sample", {})
    assert goods.status == 201
    answer_pieces(cast, sampled["pieces"], bad=5)
    assert goods.post(f"lots/{kit}/judge")["lot"]["state"] == "refused"
    found = goods.signed(f"lots/{kit}/sort", removed=7, remark="Every length.")
    assert (found["lot"]["state"], found["sorting"]["checked"], found["sorting"]["removed"]) == ("sorted", 95, 7)
    assert goods.get(f"lots/{kit}") == found
    assert goods.get("lots")["lots"][0]["state"] == "sorted"


def test_sends_a_lot_out_and_asks_for_the_bake_of_high_strength_parts(goods: Any, kit: str) -> None:
    line = {"description": "plated", "quantity": "100", "unit_of_measure": "pcs"}
    number = goods.post("deliveries", {"supplier": "P", "note_number": "1", "lines": [line]})["number"]
    goods.post(f"lots/{kit}/send-out", {"kind": "plating", "supplier": "P", "high_strength": True})
    back = {"delivery_number": number, "name": "c.pdf", "content": in_base64(pdf())}
    with unchanged("goods"):
        assert goods.post(f"lots/{kit}/receive-back", back)["code"] == "bake_time_missing"
    found = goods.post(f"lots/{kit}/receive-back", back | {"bake_hours": "4", "bake_temperature": "200"})
    assert found["outside"][0]["bake"] == "4 h at 200 °C"


def test_sends_a_unit_out_and_receives_it_back(goods: Any, kit: str) -> None:
    fork = UnitFactory(item=ItemFactory(family=FamilyFactory(code="FK-30")), number=31).serial
    line = {"description": "plated", "quantity": "1", "unit_of_measure": "pcs"}
    number = goods.post("deliveries", {"supplier": "P", "note_number": "1", "lines": [line]})["number"]
    out = {"kind": "plating", "supplier": "P", "high_strength": True}
    with unchanged("goods", "production"):
        assert goods.post(f"units/{kit}/outside/send-out", out)["code"] == "serial_unknown"
        assert goods.post(f"lots/{fork}/send-out", out)["code"] == "lot_unknown"
    assert goods.post(f"units/{fork}/outside/send-out", out)["away"] is True
    assert [one["code"] for one in goods.get("outside")["out"]] == [fork]
    back = {"delivery_number": number, "name": "c.pdf", "content": in_base64(pdf())}
    with unchanged("goods", "production"):
        assert goods.post(f"units/{fork}/outside/receive-back", back)["code"] == "bake_time_missing"
    goods.post(f"units/{fork}/outside/receive-back", back | {"bake_hours": "4", "bake_temperature": "200"})
    found = goods.get(f"units/{fork}/outside")
    assert (found["serial"], found["away"], found["outside"][0]["bake"]) == (fork, False, "4 h at 200 °C")


# ------------------------------------------------------------------------------------------------ as built


@pytest.fixture
def builder(cast: Cast, api_of: Any) -> Any:
    """The program of an assembler, a frame in build and a released axle carrier."""
    UnitFactory(item=ItemFactory(family=FamilyFactory(code="FR-200")), number=147, state=UnitState.IN_BUILD)
    UnitFactory(item=ItemFactory(family=FamilyFactory(code="AX-200")), number=12, state=UnitState.RELEASED)
    return api_of(cast.assembler)


def test_builds_in_removes_and_tells_where_used(builder: Any) -> None:
    path = f"units/{FRAME}/components"
    found = builder.post(path, {"component": CARRIER, "link": "trial_fitted"})
    assert (builder.status, found["components"][0]["serial"]) == (201, CARRIER)
    assert found["tree"]["below"][0]["name"] == CARRIER
    assert builder.get("where-used", name=CARRIER)["serials"] == [FRAME]
    out = builder.post(f"{path}/remove", {"component": CARRIER, "reason": "Bush worn."})
    assert out["components"][0]["removed_reason"] == "Bush worn."
    assert builder.get(f"units/{FRAME}/as-built") == out


def test_uses_a_heat_and_stamps_the_vin_read_back_with_a_photo(goods: Any, builder: Any, cast: Cast) -> None:
    used = builder.post(f"units/{FRAME}/materials", {"heat_number": "H4711", "use": "main tubes"})
    assert used["used"][0]["heat"]["number"] == "H4711"
    builder.post(f"units/{FRAME}/marks", {"kind": "tag", "text": "T-881"})
    stamp = {"kind": "vin", "text": "1M8GDM9AXKP042788", "content": in_base64(picture())}
    with unchanged("production"):
        assert builder.post(f"units/{FRAME}/marks", stamp)["code"] == "read_back_missing"
    read = {"read_back_by": cast.inspector.badge, "read_back_text": "1M8GDM9AXKP042788", "read_back_tag": "T-881"}
    wrong = builder.post(f"units/{FRAME}/marks", stamp | read | {"read_back_pin": "000001"})
    assert wrong["code"] == "identity_not_proven"  # nobody is recorded who did not sign
    assert [one["kind"] for one in builder.get(f"units/{FRAME}/as-built")["marks"]] == ["tag"]
    found = builder.post(f"units/{FRAME}/marks", stamp | read | {"read_back_pin": PIN})
    assert [(one["kind"], one["read_back_by_name"]) for one in found["marks"]] == [
        ("vin", cast.inspector.name),
        ("tag", ""),
    ]


def test_names_places_and_moves_a_unit(builder: Any, cast: Cast, api_of: Any) -> None:
    api = api_of(cast.dispatch)
    api.post("places", {"code": "YARD-2", "name": "yard"})
    assert api.post("moves", {"code": FRAME, "place": "yard-2"})["place"]["code"] == "YARD-2"
    assert [one["code"] for one in api.get("places")["places"]] == ["YARD-2"]


@pytest.mark.parametrize(
    ("path", "body", "code"),
    [
        (f"units/{FRAME}/components", {"component": FRAME, "link": "trial_fitted"}, "component_itself"),
        (f"units/{FRAME}/components", {"component": CARRIER, "link": "glued"}, "link_unknown"),
        (f"units/{FRAME}/components/remove", {"component": CARRIER, "reason": "no"}, "not_installed"),
        (f"units/{FRAME}/materials", {}, "lot_or_heat"),
        (f"units/{FRAME}/marks", {"kind": "paint", "text": "1"}, "mark_kind"),
        ("moves", {"code": FRAME, "place": "MOON"}, "place_unknown"),
        ("places", {"code": "A", "name": "a"}, "not_permitted"),
    ],
)
def test_refuses_what_cannot_be_built_so(builder: Any, path: str, body: Any, code: str) -> None:
    with unchanged("production"):
        assert builder.post(path, body)["code"] == code
    assert Unit.objects.count() == 2


def test_answers_where_used_of_nothing_with_not_found(builder: Any) -> None:
    assert builder.get("where-used", name="H9999")["code"] == "nothing_of_that_name"
    assert builder.status == 404
