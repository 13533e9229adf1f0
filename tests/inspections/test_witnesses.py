"""Witness points: asked, present or waived, with who and why; the stage waits for it; floor, history, certificate."""

from __future__ import annotations

from typing import Any

import pytest

from qcapp.core.errors import Refused
from qcapp.inspections.queries import inspection_of
from qcapp.inspections.queries.witnesses import witnesses_of
from qcapp.inspections.services.witnessing import record_witness

from ..factories.inspections import PLAN, Workshop
from ..unchanged import refused

pytestmark = pytest.mark.django_db
WITNESSED = "\n".join(
    line + (",witness_point" if line.startswith("stage_number") else ",yes" if line.startswith("1,") else ",no")
    for line in PLAN.splitlines()
)


@pytest.fixture
def shop(cast) -> Workshop:
    return Workshop.opened(cast, plan=WITNESSED)


def record(shop: Workshop, what: str, **changes: Any) -> None:
    options = {"by": shop.cast.inspector, "serial": shop.serial, "stage_number": 1, "whom": "R. Quill for the orchard"}
    record_witness(what=what, at=shop.at, **(options | changes))


def test_lets_the_stage_wait_until_somebody_was_present(shop: Workshop) -> None:
    shop.answer_stage(1)
    for ask in (False, True):
        if ask:
            record(shop, "asked")
        with pytest.raises(Refused) as refusal:
            shop.sign(1)
        assert refusal.value.code == "witness_open"
    record(shop, "present")
    shop.sign(1)
    stage = inspection_of(shop.serial).stage(1)
    assert stage is not None
    assert stage.signed
    assert stage.witness is not None
    assert (stage.witness.sentence, stage.witness.by_name) == (
        "R. Quill for the orchard was present", shop.cast.inspector.name,
    )  # fmt: skip
    assert [one.what for one in witnesses_of(shop.item_id)] == ["asked", "present"]


def test_signs_a_stage_whose_attendance_was_waived_with_a_reason(shop: Workshop) -> None:
    with refused("text_missing", "inspections"):
        record(shop, "waived")
    record(shop, "waived", note="photos are enough")
    shop.answer_stage(1)
    shop.sign(1)
    assert witnesses_of(shop.item_id)[0].sentence == "R. Quill for the orchard waived attendance: photos are enough"


@pytest.mark.parametrize(
    ("code", "changes"),
    [
        ("witness_unreadable", {"what": "absent"}),
        ("stage_unknown", {"stage_number": 9}),
        ("no_witness_point", {"stage_number": 2}),
        ("text_missing", {"whom": " "}),
        ("serial_unknown", {"serial": "FR-200-9999"}),
    ],
)
def test_refuses_what_cannot_be_recorded(shop: Workshop, code: str, changes: dict[str, Any]) -> None:
    with refused(code, "inspections", "audit"):
        record(shop, **({"what": "present"} | changes))


def test_refuses_whoever_has_no_right_to(shop: Workshop) -> None:
    with refused("not_permitted", "inspections", "audit"):
        record(shop, "present", by=shop.cast.stranger_to_all_roles)


def test_shows_and_records_it_on_a_page_of_the_unit(shop: Workshop, client_of) -> None:
    client = client_of(shop.cast.customer_service)
    address = f"/units/{shop.serial}/witnesses/"
    assert b"nobody asked yet" in client.get(address).content
    given = {"stage_number": "1", "what": "asked", "whom": "Orchard Cooperative", "note": ""}
    assert client.post(address, given).status_code == 302
    assert b"Orchard Cooperative was asked to come" in client.get(address).content
    waived = given | {"what": "waived"}
    answer = client.post(address, waived)
    assert (answer.status_code, len(witnesses_of(shop.item_id))) == (400, 1)
    unit = client.get(f"/units/{shop.serial}/").content.decode()
    assert "Witness point of stage 1: Orchard Cooperative was asked to come" in unit


def test_says_so_on_a_unit_without_a_witness_point(workshop: Workshop, client_of) -> None:
    answer = client_of(workshop.cast.inspector).get(f"/units/{workshop.serial}/witnesses/")
    assert b"has no witness point" in answer.content
