"""Nonconformances walked from the finding to the certificate through the API alone."""

from __future__ import annotations

from typing import Any

import pytest

from qcapp.certificates.services.rendering import html_of
from qcapp.production.models import Lot
from qcapp.production.queries import open_holds

from ..cast import FIXED_NOW, Cast
from ..factories.certificates import certified, release_unit
from ..factories.inspections import SECOND, STAGES, Workshop
from ..factories.production import ItemFactory

pytestmark = pytest.mark.django_db
NEEDED = (
    "inspector", "second_inspector", "quality_manager", "second_quality_manager", "engineer", "welding_coordinator",
    "welder", "goods_in", "metrology",
)  # fmt: skip


@pytest.fixture(autouse=True)
def _in_march(monkeypatch: pytest.MonkeyPatch, fixed_now: Any) -> None:
    """The API takes the server's time; the gauges of the workshop are calibrated in 2026."""
    monkeypatch.setattr("django.utils.timezone.now", lambda: fixed_now)


@pytest.fixture
def shop(cast: Cast) -> Workshop:
    for name in NEEDED:
        getattr(cast, name)
    return Workshop.opened(cast)


def measured(api: Any, shop: Workshop, value: str, **changes: Any) -> dict[str, Any]:
    """The answer to a head angle sent as a tablet does."""
    operation = shop.operation("head_angle", value, **changes)
    (answer,) = api.post("operations", {"device": "tablet 7", "operations": [operation]})["operations"]
    assert answer["outcome"] == "applied", answer
    return dict(answer)


def certificate(shop: Workshop) -> str:
    """The rest of the plan answered and signed, the unit released, its certificate as printed."""
    for stage, keys in STAGES.items():
        wanted = [key for key in keys if key != "head_angle"]
        shop.send(*(shop.operation(key) for key in wanted))
        second = shop.cast.second_inspector
        if again := [shop.operation(key, inspection=2, person=second) for key in wanted if key in SECOND]:
            shop.send(*again, by=second)
        shop.sign(stage)
    return html_of(certified(release_unit(shop)))


def test_walks_from_out_of_band_to_the_certificate(shop: Workshop, api_of: Any) -> None:
    cast = shop.cast
    other = shop.another_unit("FR-200-0148")
    other.send(other.operation("head_angle", "62.145"))  # near its limit, with the same gauge
    inspector, manager, welder = api_of(cast.inspector), api_of(cast.quality_manager), api_of(cast.welder)
    number = measured(inspector, shop, "62.40")["report"]
    here = f"reports/{number}"
    assert [hold.source for hold in open_holds(shop.item_id)] == [number]

    assert [one["serial"] for one in manager.get(f"{here}/suspects")["suspects"]] == ["FR-200-0148"]
    manager.post(f"{here}/hold-suspects", {"serials": ["FR-200-0148"], "reason": "Same gauge, near its limit."})
    (suspect,) = open_holds(other.item_id)

    manager.post(f"{here}/contain", {"note": "Frame set aside with its tag."})
    told = {"disposition": "rework", "instruction": "Straighten.", "steps": ["Clamp it.", "Press 0.4 mm over."]}
    told |= {"method": "cold_straightening", "procedure": "CS-3", "max_attempts": 1, "cause": "method"}
    missing = manager.post(f"{here}/propose", told)["proposal"]["missing"]
    assert missing == ["quality_manager", "engineer", "welding_coordinator"]
    for role in missing:
        state = api_of(getattr(cast, role)).signed(f"{here}/sign", role=role)["state"]
    assert state == "decided"

    welder.post(f"{here}/start")
    for position in (1, 2):
        welder.post(f"{here}/step", {"position": position})
    assert welder.post(f"{here}/finish", {"note": "Pressed once."})["state"] == "to_be_verified"
    closing = {"corrective_action": "Second clamp.", "action_number": "CA-7"}
    assert manager.signed(f"{here}/close", **closing)["code"] == "not_proven"
    again = measured(api_of(cast.second_inspector), shop, "62.02", round=2, person=cast.second_inspector)
    assert again["verdict"] == "in_band"
    assert api_of(cast.second_quality_manager).signed(f"{here}/close", **closing)["state"] == "closed"
    assert not open_holds(shop.item_id)

    assert [hold.source for hold in open_holds(other.item_id)] == [number]  # lifted by its own act alone
    manager.signed(f"holds/{suspect.uuid}/lift", reason="Measured again with AG-02: 62.03.")
    assert (manager.status, open_holds(other.item_id)) == (200, [])
    paper = certificate(shop)
    assert number in paper
    assert "rework, procedure CS-3, 1 inspected again" in paper


def test_repairs_under_a_concession_that_the_certificate_lists(shop: Workshop, api_of: Any) -> None:
    cast = shop.cast
    manager, welder = api_of(cast.quality_manager), api_of(cast.welder)
    here = f"reports/{measured(api_of(cast.inspector), shop, '62.40')['report']}"
    manager.post(f"{here}/contain", {"note": "Frame set aside with its tag."})
    told = {"disposition": "repair", "instruction": "Shim the lower cup.", "cause": "method"}
    limits = {"concession_upper": "62.30", "ends_on": "2099-12-31"}
    proposal = manager.post(f"{here}/propose", told | limits)["proposal"]
    assert (proposal["concession_lower"], proposal["concession_upper"]) == ("61.85", "62.30")  # a side is the plan's
    for role in proposal["missing"]:
        api_of(getattr(cast, role)).signed(f"{here}/sign", role=role)
    welder.post(f"{here}/start")
    welder.post(f"{here}/step", {"position": 1})
    welder.post(f"{here}/finish", {"note": "Shimmed."})
    measured(api_of(cast.second_inspector), shop, "62.28", round=2, person=cast.second_inspector)
    closed = manager.signed(f"{here}/close", corrective_action="None: a single cup.")
    assert (closed["state"], closed["concession"]["number"]) == ("closed", "CN-2026-0001")
    paper = certificate(shop)
    assert "CN-2026-0001" in paper
    assert "Shim the lower cup. Until 31 December 2099." in paper


def test_splits_a_lot_into_rework_and_return(shop: Workshop, api_of: Any) -> None:
    cast = shop.cast
    lot = Lot.objects.create(
        item=ItemFactory(kind="lot"), code="TK-200-L0007", lookup="TK200L7", number=7, quantity=40, state="accepted",
        opened_by=cast.goods_in, opened_at=FIXED_NOW,
    )  # fmt: skip
    manager, welder = api_of(cast.quality_manager), api_of(cast.welder)
    found = {"lot": "tk-200-l0007", "title": "2 mm short", "severity": "major", "cause": "machine"}
    here = f"reports/{api_of(cast.goods_in).post('reports/on-lot', found)['number']}"
    assert open_holds(lot.item_id)
    manager.post(f"{here}/contain", {"note": "Box locked away."})
    split = {"instruction": "Sort by length; shim the short ones.", "parts": {"rework": 25, "return_to_supplier": 15}}
    manager.post(f"{here}/propose", split)
    manager.signed(f"{here}/sign", role="quality_manager")
    paper = {"supplier": "Tidewell Tube Works", "text": "15 tubes short; credit them."}
    assert manager.post(f"{here}/return", paper)["return_note"]["quantity"] == 15
    welder.post(f"{here}/start")
    welder.post(f"{here}/step", {"position": 1})
    welder.post(f"{here}/finish", {"note": "Sorted and shimmed."})
    closing = {"corrective_action": "Stop at the saw renewed."}
    assert welder.signed(f"{here}/close", **closing)["code"] == "not_permitted"
    closed = api_of(cast.second_quality_manager).signed(f"{here}/close", **closing)
    assert (closed["state"], open_holds(lot.item_id)) == ("closed", [])
